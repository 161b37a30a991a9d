package rulecase

import (
	"fmt"
	"maps"
	"math"
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
}

func (c Case) play(book *rules.Book) (*result, error) {
	m := engine.New(book)
	entry := 0
	for _, id := range slices.Sorted(maps.Keys(c.Facts)) {
		word := c.Facts[id]
		if word == nil {
			continue
		}
		fact, ok := book.Fact(id)
		if !ok {
			return nil, fmt.Errorf("no fact %q", id)
		}
		value, err := fact.Parse(*word)
		if err != nil {
			return nil, err
		}
		entry++
		if err := m.Give(entry, id, value); err != nil {
			return nil, err
		}
	}
	late := m.Late(in(c.Suspected), in(c.Concluded))
	r := &result{fired: map[string]bool{}, facts: map[string]string{}, weights: map[string]float64{}, preferred: map[string]float64{}}
	for _, f := range append(m.Firings(), late...) {
		r.fired[f.Rule.ID] = true
	}
	for _, fact := range book.Facts {
		if v, known := m.Value(fact.ID); known && c.Facts[fact.ID] == nil {
			r.facts[fact.ID] = v.String()
		}
	}
	r.add(m.Effects())
	r.add(engine.EffectsOf(late))
	return r, nil
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
// it names a fact, value or rule that the book does not have.
func (c Case) Run(book *rules.Book) ([]string, error) {
	for _, rule := range append(slices.Clone(c.Quiet), c.namedRules()...) {
		if _, ok := book.Rule(rule); !ok {
			return nil, fmt.Errorf("there is no rule %q%s", rule, near(rule, book))
		}
	}
	r, err := c.play(book)
	if err != nil {
		return nil, err
	}
	return c.misses(book, r), nil
}

func near(rule string, book *rules.Book) string {
	known := make([]string, len(book.Rules))
	for i, r := range book.Rules {
		known[i] = r.ID
	}
	if n := rules.Nearest(rule, known); n != "" {
		return fmt.Sprintf("; did you mean %q?", n)
	}
	return ""
}

// misses lists in what the result differs from the expectation.
func (c Case) misses(book *rules.Book, r *result) []string {
	var out []string
	miss := func(what string, ok bool, want, got any) {
		if !ok {
			out = append(out, fmt.Sprintf("%s: want %v, got %v", what, want, got))
		}
	}
	x := c.Expect
	if x.Facts != nil {
		miss("facts", maps.Equal(x.Facts, r.facts), x.Facts, r.facts)
	}
	if x.Weights != nil {
		want := spell(x.Weights, book.MatchSuspects)
		miss("weights", sameFactors(want, r.weights), want, r.weights)
	}
	if x.Preferred != nil {
		want := spell(x.Preferred, book.MatchTests)
		miss("preferred", sameFactors(want, r.preferred), want, r.preferred)
	}
	for _, list := range []struct {
		what string
		want *[]string
		got  []string
	}{
		{"required", x.Required, r.required}, {"forbidden", x.Forbidden, r.forbidden},
		{"cautions", x.Cautions, r.cautions}, {"advice", x.Advice, r.advice},
	} {
		if list.want != nil {
			miss(list.what, sameSet(*list.want, list.got), *list.want, list.got)
		}
	}
	miss("cautions", within(x.SomeCautions, r.cautions), x.SomeCautions, r.cautions)
	miss("advice", within(x.SomeAdvice, r.advice), x.SomeAdvice, r.advice)
	miss("forbidden", within(x.SomeForbidden, r.forbidden), x.SomeForbidden, r.forbidden)
	for _, rule := range c.Quiet {
		miss("quiet", !r.fired[rule], rule+" silent", "it fired")
	}
	return out
}

// spell writes a table of patterns out by id.
func spell(patterns map[string]float64, match func(string) []string) map[string]float64 {
	out := map[string]float64{}
	for pattern, factor := range patterns {
		for _, id := range match(pattern) {
			out[id] = factor
		}
	}
	return out
}

func sameFactors(a, b map[string]float64) bool {
	return maps.EqualFunc(a, b, func(x, y float64) bool { return math.Abs(x-y) < 1e-9 })
}

func sameSet(a, b []string) bool { return within(a, b) && within(b, a) }

func within(a, b []string) bool {
	return !slices.ContainsFunc(a, func(s string) bool { return !slices.Contains(b, s) })
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
