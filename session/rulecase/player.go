package rulecase

import (
	"fmt"
	"maps"
	"slices"
	"sync"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// Player plays cases on one rulebook. It is safe for concurrent use.
type Player struct {
	book      *rules.Book
	knowledge func() (*diagnosis.Knowledge, error) // compiled when a whole job is first played
}

// NewPlayer makes a player of cases.
func NewPlayer(book *rules.Book) *Player {
	return &Player{book: book, knowledge: sync.OnceValues(func() (*diagnosis.Knowledge, error) { return diagnosis.Compile(book) })}
}

// Outcome is what came of a case.
type Outcome struct {
	Case     Case
	Misses   []string // in what it came out otherwise than expected
	Err      error    // why it could not be played
	Fired    []string // rules, sorted
	Suspects []string // that it expects something of, sorted
	Tests    []string // that it answers or expects something of, sorted

	result *result // nil where it could not be played
}

// Passed reports whether the case came out as expected.
func (o Outcome) Passed() bool { return o.Err == nil && len(o.Misses) == 0 }

// Play plays one case.
func (p *Player) Play(c Case) Outcome {
	o := Outcome{Case: c}
	if o.Err = c.namesExist(p.book); o.Err != nil {
		return o
	}
	var r *result
	if c.Whole() {
		r, o.Err = p.job(c)
	} else {
		r, o.Err = c.play(p.book)
	}
	if o.Err != nil {
		return o
	}
	o.result = r
	o.Misses = c.misses(p.book, r)
	o.Fired = slices.Sorted(maps.Keys(r.fired))
	o.Suspects, o.Tests = c.touches(p.book, r)
	return o
}

// namesExist refuses names that the book does not have.
func (c Case) namesExist(book *rules.Book) error {
	for _, id := range append(slices.Clone(c.Quiet), c.namedRules()...) {
		if _, ok := book.Rule(id); !ok {
			return fmt.Errorf("there is no rule %q%s", id, near(id, book.Rules, func(r *rules.Rule) string { return r.ID }))
		}
	}
	for _, id := range c.namedSuspects() {
		if _, ok := book.Suspect(id); !ok {
			return fmt.Errorf("there is no suspect %q%s", id, near(id, book.Suspects, func(s *rules.Suspect) string { return s.ID }))
		}
	}
	for _, id := range c.namedTests() {
		if _, ok := book.Test(id); !ok {
			return fmt.Errorf("there is no test %q%s", id, near(id, book.Tests, func(t *rules.Test) string { return t.ID }))
		}
	}
	return nil
}

// namedSuspects are the suspects that a case names by id.
func (c Case) namedSuspects() []string {
	x := c.Expect
	out := slices.Concat(c.Suspected, c.Concluded, x.Suspects, x.Among, x.Rises, x.Falls)
	if x.Conclusion != nil {
		out = append(out, *x.Conclusion...)
	}
	for _, r := range c.Readings {
		if n, ok := r["repair"]; ok {
			out = append(out, n.Value)
		}
	}
	return out
}

// namedTests are the tests that a case names by id.
func (c Case) namedTests() []string {
	var out []string
	for _, r := range c.Readings {
		if id, _ := r.test(); id != "" {
			out = append(out, id)
		}
	}
	if n := c.Expect.Next; n != nil && *n != "" {
		out = append(out, *n)
	}
	return out
}

// touches lists what a case says something about, beside the rules that fire.
func (c Case) touches(book *rules.Book, r *result) (suspects, tests []string) {
	x := c.Expect
	suspects, tests = c.namedSuspects(), c.namedTests()
	if x.Weights != nil {
		suspects = slices.AppendSeq(suspects, maps.Keys(r.weights))
	}
	if x.Preferred != nil {
		tests = slices.AppendSeq(tests, maps.Keys(r.preferred))
	}
	for _, list := range []*[]string{x.Required, x.Forbidden} {
		if list != nil {
			tests = append(tests, *list...)
		}
	}
	tests = append(tests, x.SomeForbidden...)
	if !c.Whole() { // a whole job's facts are told at the opening; here they stand for answers
		tests = append(tests, c.answered(book)...)
	}
	slices.Sort(suspects)
	slices.Sort(tests)
	return slices.Compact(suspects), slices.Compact(tests)
}

// answered lists the tests whose answers are among the facts.
func (c Case) answered(book *rules.Book) []string {
	var out []string
	for _, t := range book.Tests {
		for _, fact := range []string{t.Sets, t.Sets + "_min", t.Sets + "_max"} {
			if c.Facts[fact] != nil {
				out = append(out, t.ID)
			}
		}
	}
	return out
}
