package rulecase

import (
	"slices"

	"coilside/rules"
)

// Coverage is how much of a ruleset its cases look at. A rule is covered when it
// fires in a case that passes; a suspect when such a case expects something of
// it; a test when such a case answers it or expects something of it.
type Coverage struct{ Rules, Suspects, Tests Share }

// Share is how many of one kind of item are covered.
type Share struct {
	All     int
	Missing []string // ids, in book order
}

// Percent is the share covered, 0 to 100, rounded down; 100 where there is nothing to cover.
func (s Share) Percent() int {
	if s.All == 0 {
		return 100
	}
	return 100 * (s.All - len(s.Missing)) / s.All
}

// Cover works out the coverage of the items that stand in files for which own holds.
func Cover(book *rules.Book, outcomes []Outcome, own func(file string) bool) Coverage {
	fired, suspects, tests := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for _, o := range outcomes {
		if !o.Passed() {
			continue
		}
		note(fired, o.Fired)
		note(suspects, o.Suspects)
		note(tests, o.Tests)
	}
	var c Coverage
	for _, r := range book.Rules {
		c.Rules.count(r.ID, fired, own(r.Pos.File))
	}
	for _, s := range book.Suspects {
		c.Suspects.count(s.ID, suspects, own(s.Pos.File))
	}
	for _, t := range book.Tests {
		if t.Proof {
			continue // asked for after a repair only, which is no matter of the rules
		}
		c.Tests.count(t.ID, tests, own(t.Pos.File))
	}
	return c
}

func note(in map[string]bool, ids []string) {
	for _, id := range ids {
		in[id] = true
	}
}

func (s *Share) count(id string, covered map[string]bool, own bool) {
	if !own {
		return
	}
	s.All++
	if !covered[id] && !slices.Contains(s.Missing, id) {
		s.Missing = append(s.Missing, id)
	}
}
