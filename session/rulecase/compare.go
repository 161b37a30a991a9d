package rulecase

import (
	"maps"
	"slices"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// Unaffected reports whether a case is bound to come out the same on two rulebooks,
// without playing it: only what the rules say on the way was looked at.
func (c Case) Unaffected(was, now *rules.Book) bool {
	if !rules.SameButRules(was, now) {
		return false
	}
	a, err := c.ground(was)
	if err != nil {
		return false
	}
	b, err := c.ground(now)
	return err == nil && slices.Equal(a, b)
}

// ground is what the ranking reads off the rules before and after each reading.
func (c Case) ground(book *rules.Book) ([]string, error) {
	m, err := c.memory(book)
	if err != nil {
		return nil, err
	}
	out := []string{diagnosis.Ground(m)}
	for i, r := range c.Readings {
		id, skipped := r.test()
		t, ok := book.Test(id)
		if !ok || skipped {
			continue
		}
		answer, err := answerOf(t, r[id])
		if err != nil {
			return nil, err
		}
		if err := diagnosis.Give(m, book, diagnosis.Reading{Entry: i + 1, Test: id, Answer: answer}); err != nil {
			return nil, err
		}
		out = append(out, diagnosis.Ground(m))
	}
	return out, nil
}

// State says how a case came out: passes, fails, cannot be run.
func (o Outcome) State() string {
	switch {
	case o.Err != nil:
		return "cannot be run"
	case len(o.Misses) > 0:
		return "fails"
	}
	return "passes"
}

// Compare says in what a case comes out otherwise than it did.
func Compare(was, now Outcome) []string {
	var d differences
	if was.State() != now.State() {
		d.add("it %s, and now it %s", was.State(), now.State())
	}
	switch {
	case now.Err != nil && was.Err == nil:
		d.add("%v", now.Err)
	case now.Err == nil && len(was.Misses) == 0:
		d = append(d, now.Misses...)
	}
	if was.result == nil || now.result == nil {
		return d
	}
	a, b := was.result, now.result
	d.moved("weights", plainly(a.weights), plainly(b.weights))
	d.moved("preferred", plainly(a.preferred), plainly(b.preferred))
	d.moved("facts", a.facts, b.facts)
	for _, list := range []struct {
		what     string
		was, now []string
	}{
		{"fires", was.Fired, now.Fired}, {"cautions", a.cautions, b.cautions}, {"advice", a.advice, b.advice}, {"required", a.required, b.required},
		{"forbidden", a.forbidden, b.forbidden}, {"conclusion", a.concluded, b.concluded},
	} {
		for _, id := range list.now {
			if !slices.Contains(list.was, id) {
				d.add("%s: %s is new", list.what, id)
			}
		}
		for _, id := range list.was {
			if !slices.Contains(list.now, id) {
				d.add("%s: %s is lost", list.what, id)
			}
		}
	}
	return d
}

func (d *differences) moved(what string, was, now map[string]string) {
	keys := map[string]bool{}
	for id := range was {
		keys[id] = true
	}
	for id := range now {
		keys[id] = true
	}
	for _, id := range slices.Sorted(maps.Keys(keys)) {
		if was[id] != now[id] {
			d.add("%s: %s was %s, now %s", what, id, orNone(was[id]), orNone(now[id]))
		}
	}
}

func orNone(text string) string {
	if text == "" {
		return "none"
	}
	return text
}
