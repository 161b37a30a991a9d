package diagnosis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/engine"
	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// AnswerError says that an answer does not fit its measurement.
type AnswerError struct{ Message string }

func (e *AnswerError) Error() string { return e.Message }

// checkReading completes a reading from its test and refuses what can't be.
func (c *Case) checkReading(r *Reading) error {
	var of []string
	byHand := false
	if r.Test != "" {
		t, ok := c.knowledge.book.Test(r.Test)
		if !ok {
			return fmt.Errorf("no test is called %q", r.Test)
		}
		m, filled := fillRoles(t.Measure, c.roles())
		if asked, ok := c.asked[r.Test]; !filled && ok {
			m, filled = asked, true // it was sure when the test was proposed
		}
		if !filled && r.Measure.Mode == t.Measure.Mode {
			m, filled = r.Measure, true // the caller says where
		}
		if !filled {
			return fmt.Errorf("%s speaks of a terminal that is not known yet; say what was measured where instead", r.Test)
		}
		r.Measure, r.Setup, of = m, t.Setup, t.Of
		byHand = rank.ByHand(t)
	}
	if r.Measure.Mode == "" {
		return fmt.Errorf("a reading needs a test, or a measure with a mode")
	}
	if of == nil {
		of = rank.Choices(r.Measure.Mode)
	}
	r.Setup = circuit.SetupFor(r.Measure, r.Setup)
	for _, place := range r.Measure.Places() {
		if !byHand && c.knowledge.model != nil && !c.belief.Has(place) {
			return fmt.Errorf("this circuit has no place %s", place)
		}
	}
	if r.Measure.Mode == rules.Ohms && r.Test == "" {
		if why := c.OhmsSafe(r.Measure, r.Setup); why != "" {
			return &UnsafeError{"Ohms are never measured on a live place: " + why + ". Take the lead off, and read volts there first."}
		}
	}
	return checkAnswer(r.Measure.Mode, of, r.Answer)
}

// UnsafeError refuses something that can hurt somebody or something.
type UnsafeError struct{ Message string }

func (e *UnsafeError) Error() string { return e.Message }

func checkAnswer(mode rules.Mode, of []string, a Answer) error {
	number := of == nil && mode != rules.MinMax
	takes := "a number"
	switch {
	case mode == rules.Ohms || mode == rules.PullIn || mode == rules.DropOut:
		takes = "a number or OL"
	case mode == rules.MinMax:
		takes = "two numbers, min and max"
	case !number:
		takes = strings.Join(of, ", ")
	}
	wrong := &AnswerError{fmt.Sprintf("this test takes %s, or unsure", takes)}
	switch {
	case a.Unsure:
		return nil
	case a.Over:
		if !number {
			return wrong
		}
		return nil
	case a.Number != nil:
		if !number || math.IsNaN(*a.Number) || math.IsInf(*a.Number, 0) {
			return wrong
		}
		if mode == rules.Ohms && *a.Number < 0 {
			return &AnswerError{"ohms can't be negative; check that the place is dead and the leads are right"}
		}
		return nil
	case a.MinMax != nil:
		if mode != rules.MinMax || a.MinMax[0] > a.MinMax[1] {
			return wrong
		}
		return nil
	}
	if !slices.Contains(of, a.Choice) {
		return wrong
	}
	return nil
}

// giveReading puts what a reading says into the working memory. A fuse that went while a
// jumper was on, wherever it lay, is what the tests with a jumper would have told: the
// rules about it hold.
func (c *Case) giveReading(r *Reading) error {
	if r.Test != "" || r.Measure.Mode != rules.Bridge || r.Answer.Choice != "trips" {
		return Give(c.memory, c.knowledge.book, *r)
	}
	for _, t := range c.knowledge.book.Tests {
		if t.Measure.Mode != rules.Bridge {
			continue
		}
		if err := Give(c.memory, c.knowledge.book, Reading{Entry: r.Entry, Test: t.ID, Answer: r.Answer}); err != nil {
			return err
		}
	}
	return nil
}

// Give puts what a reading says into a working memory, as the fact its test sets.
func Give(m *engine.Memory, book *rules.Book, r Reading) error {
	t, ok := book.Test(r.Test)
	if !ok || r.Answer.Unsure {
		return nil
	}
	a := r.Answer
	switch {
	case a.MinMax != nil:
		if err := m.Give(r.Entry, t.Sets+"_min", rules.Value{Kind: rules.Number, Number: a.MinMax[0]}); err != nil {
			return err
		}
		return m.Give(r.Entry, t.Sets+"_max", rules.Value{Kind: rules.Number, Number: a.MinMax[1]})
	case a.Over:
		return m.Give(r.Entry, t.Sets, rules.Value{Kind: rules.Number, Number: math.Inf(1)})
	case a.Number != nil:
		return m.Give(r.Entry, t.Sets, rules.Value{Kind: rules.Number, Number: *a.Number})
	}
	return m.Give(r.Entry, t.Sets, rules.Value{Kind: rules.Choice, Text: a.Choice})
}
