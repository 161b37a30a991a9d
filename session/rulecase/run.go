package rulecase

import (
	"fmt"
	"maps"
	"slices"

	"coilside/engine"
	"coilside/rules"
)

// result is what the rules made of a case, in the words of an expectation.
type result struct {
	fired               map[string]bool
	facts               map[string]string
	weights, preferred  map[string]float64
	required, forbidden []string
	cautions, advice    []string

	// of a whole job
	ranking, concluded []string
	next               string
	before, after      map[string]float64 // how probable each suspect is, before and after the last reading
}

// play fires the rules on the facts of a case.
func (c Case) play(book *rules.Book) (*result, error) {
	m, err := c.memory(book)
	if err != nil {
		return nil, err
	}
	return c.resultOf(book, m, m.Late(in(c.Suspected), in(c.Concluded))), nil
}

// memory knows the facts of a case, as told at the opening.
func (c Case) memory(book *rules.Book) (*engine.Memory, error) {
	facts, err := c.facts(book)
	if err != nil {
		return nil, err
	}
	m := engine.New(book)
	var given []engine.Given
	for _, id := range slices.Sorted(maps.Keys(facts)) {
		given = append(given, engine.Given{Fact: id, Value: facts[id]})
	}
	return m, m.GiveAll(given)
}

// Why says how a rule's condition stands in a case, and gives what is known there.
// Errors: those of playing the case. The rule is one of the book's.
func (p *Player) Why(c Case, rule string) (engine.Diagnosis, *engine.Memory, error) {
	if err := c.namesExist(p.book); err != nil {
		return engine.Diagnosis{}, nil, err
	}
	if !c.Whole() {
		m, err := c.memory(p.book)
		if err != nil {
			return engine.Diagnosis{}, nil, err
		}
		d, _ := m.WhyNotOn(rule, in(c.Suspected), in(c.Concluded))
		return d, m, nil
	}
	job, err := p.Open(c)
	if err == nil {
		err = c.Take(job, p.book)
	}
	if err != nil {
		return engine.Diagnosis{}, nil, err
	}
	d, _ := job.WhyRule(rule)
	return d, job.Memory(), nil
}

// facts reads the values of a case's facts.
func (c Case) facts(book *rules.Book) (map[string]rules.Value, error) {
	out := map[string]rules.Value{}
	for _, id := range slices.Sorted(maps.Keys(c.Facts)) {
		word := c.Facts[id]
		if word == nil {
			continue
		}
		fact, ok := book.Fact(id)
		if !ok {
			return nil, fmt.Errorf("no fact %q%s", id, near(id, book.Facts, func(f *rules.Fact) string { return f.ID }))
		}
		value, err := fact.Parse(*word)
		if err != nil {
			return nil, err
		}
		out[id] = value
	}
	return out, nil
}

func (c Case) resultOf(book *rules.Book, m *engine.Memory, late []engine.Firing) *result {
	r := &result{fired: map[string]bool{}, facts: map[string]string{}, weights: map[string]float64{}, preferred: map[string]float64{}}
	for _, f := range append(m.Firings(), late...) {
		r.fired[f.Rule.ID] = true
	}
	for _, fact := range book.Facts {
		if v, known := m.Value(fact.ID); known && c.Facts[fact.ID] == nil && len(m.Given(fact.ID)) == 0 {
			r.facts[fact.ID] = v.String()
		}
	}
	r.add(m.Effects())
	r.add(engine.EffectsOf(late))
	return r
}

func in(list []string) func(string) bool {
	return func(id string) bool { return slices.Contains(list, id) }
}

func (r *result) add(e engine.Effects) {
	for id, w := range e.Weights {
		r.weights[id] = w.Factor
	}
	for id, w := range e.Preferred {
		r.preferred[id] = max(r.preferred[id], 1) * w.Factor
	}
	r.required = append(r.required, slices.Sorted(maps.Keys(e.Required))...)
	r.forbidden = append(r.forbidden, slices.Sorted(maps.Keys(e.Forbidden))...)
	for _, n := range e.Cautions {
		r.cautions = append(r.cautions, n.Rule.ID)
	}
	for _, n := range e.Advice {
		r.advice = append(r.advice, n.Rule.ID)
	}
}

// Run plays a case on a rulebook and lists in what it comes out otherwise than
// expected; nothing where it passes. The error is of a case that cannot be played:
// it names a fact, value or rule that the book does not have. Whoever runs many
// cases makes a Player.
func (c Case) Run(book *rules.Book) ([]string, error) {
	o := NewPlayer(book).Play(c)
	return o.Misses, o.Err
}

func near[T any](id string, of []T, name func(T) string) string {
	known := make([]string, len(of))
	for i, x := range of {
		known[i] = name(x)
	}
	if n := rules.Nearest(id, known); n != "" {
		return fmt.Sprintf("; did you mean %q?", n)
	}
	return ""
}

// namedRules are the rules that the expectation names.
func (c Case) namedRules() []string {
	x := c.Expect
	out := append(slices.Clone(x.SomeCautions), x.SomeAdvice...)
	for _, list := range []*[]string{x.Cautions, x.Advice} {
		if list != nil {
			out = append(out, *list...)
		}
	}
	return out
}
