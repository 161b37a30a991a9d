package diagnosis

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"coilside/engine"
	"coilside/rules"
)

// Ground is everything that the ranking, the tests and the conclusion read off the
// rules, as text: where it is the same on two rulebooks that differ in their
// first-stage rules only (rules.SameButRules), the job is the same on both.
func Ground(m *engine.Memory) string {
	var b strings.Builder
	e := m.Effects()
	factors := func(what string, of map[string]engine.Weights) {
		for _, id := range slices.Sorted(maps.Keys(of)) {
			fmt.Fprintf(&b, "%s %s %g\n", what, id, of[id].Factor)
		}
	}
	factors("weigh", e.Weights)
	factors("prefer", e.Preferred)
	for _, id := range slices.Sorted(maps.Keys(e.Required)) {
		fmt.Fprintf(&b, "require %s\n", id)
	}
	for _, id := range slices.Sorted(maps.Keys(e.Forbidden)) {
		fmt.Fprintf(&b, "forbid %s\n", id)
	}
	for _, o := range e.RuledOut {
		fmt.Fprintf(&b, "out %s\n", o.Suspect)
	}
	for _, n := range e.Cautions {
		fmt.Fprintf(&b, "caution %s\n", n.Say)
	}
	for _, n := range e.Advice {
		fmt.Fprintf(&b, "advise %s\n", n.Say)
	}
	env := m.Env()
	for _, id := range slices.Sorted(maps.Keys(env)) {
		fmt.Fprintf(&b, "fact %s %v\n", id, env[id])
	}
	for _, f := range m.Firings() {
		for _, a := range f.Rule.Then {
			if a.Do == rules.Weigh {
				fmt.Fprintf(&b, "word %v on %v\n", a.Suspects, f.Entries())
			}
		}
	}
	return b.String()
}
