package rules

import (
	"fmt"
	"slices"
	"strings"
	"sync"
)

// maxPairs bounds how many pairs of rules are compared; the review says so when it
// gets there.
const maxPairs = 300_000

// deed is one thing a rule does to one item.
type deed struct {
	do     Do
	target string // suspect, test or fact
	value  string // what is set, or what is said
	by     float64
	action int
}

func deeds(r *Rule) []deed {
	var out []deed
	for i, a := range r.Then {
		switch a.Do {
		case Set:
			out = append(out, deed{Set, a.Fact, a.To.Source(), 1, i})
		case Advise, Caution:
			out = append(out, deed{a.Do, "", a.Say, 1, i})
		case Weigh, RuleOut:
			for _, id := range a.Suspects {
				out = append(out, deed{a.Do, id, "", a.By, i})
			}
		default:
			for _, id := range a.Tests {
				out = append(out, deed{a.Do, id, "", a.By, i})
			}
		}
	}
	return out
}

// does is what one rule does, ready to be compared.
type does struct {
	rule  *Rule
	deeds []deed
	reads []int
}

// pairs compares the rules that do something to the same thing and read a fact in common.
func (v *reviewer) pairs() {
	byTarget := map[string][]*does{}
	var targets []string
	for _, r := range v.book.Rules {
		if v.blamed[r] || r.When == nil || r.When.node == nil {
			continue
		}
		d := &does{r, deeds(r), v.reach(r)}
		seen := map[string]bool{}
		for _, x := range d.deeds {
			key := x.key()
			if seen[key] {
				continue
			}
			seen[key] = true
			if byTarget[key] == nil {
				targets = append(targets, key)
			}
			byTarget[key] = append(byTarget[key], d)
		}
	}
	v.comparePairs(targets, byTarget)
}

// key groups deeds that can help or undo each other.
func (d deed) key() string {
	switch d.do {
	case Weigh, RuleOut:
		return "suspect " + d.target
	case Require, Forbid, Prefer:
		return "test " + d.target
	case Set:
		return "fact " + d.target
	}
	return string(d.do) + " " + d.value
}

func (v *reviewer) comparePairs(targets []string, byTarget map[string][]*does) {
	done := map[[2]*Rule]bool{}
	for _, key := range targets {
		list := byTarget[key]
		for i, a := range list {
			for _, b := range list[i+1:] {
				pair := [2]*Rule{a.rule, b.rule}
				apart := !shares(a.reads, b.reads)
				if done[pair] || apart && !strings.HasPrefix(key, "fact ") {
					continue
				}
				if done[pair] = true; len(done) > maxPairs {
					v.add(a.rule.at.of("id"), CodeBudget, fmt.Sprintf("only the first %d pairs of rules were compared", maxPairs), "let fewer rules speak of the same thing with *")
					return
				}
				if apart {
					v.conflict(a.rule, b.rule)
				} else {
					v.pair(a, b)
				}
			}
		}
	}
}

// reach is what a rule reads, directly or through facts that only rules set.
func (v *reviewer) reach(r *Rule) []int {
	out := slices.Clone(r.When.reads)
	for at := 0; at < len(out) && len(out) < 64; at++ {
		for _, s := range v.setters[out[at]] {
			for _, i := range s.rule.reads {
				if !slices.Contains(out, i) {
					out = append(out, i)
				}
			}
		}
	}
	return out
}

// pair reports at most one thing about two rules.
func (v *reviewer) pair(a, b *does) {
	if !v.together(a.rule, b.rule) {
		return
	}
	ab := sync.OnceValue(func() bool { return v.implies(a.rule, b.rule) })
	ba := sync.OnceValue(func() bool { return v.implies(b.rule, a.rule) })
	switch {
	case v.hidden(a, b, ab, ba), v.hidden(b, a, ba, ab):
	case v.undone(a, b, ab, ba):
	default:
		v.conflict(a.rule, b.rule)
	}
}

// hidden reports a where b does all that a does, whenever a does it.
func (v *reviewer) hidden(a, b *does, ab, ba func() bool) bool {
	if a.rule.Late != b.rule.Late || a.rule.Safety && !b.rule.Safety {
		return false
	}
	if v.beaten(a.rule, b.rule) && ab() {
		v.rule(a.rule, "id", CodeHidden, fmt.Sprintf("drop it, or take it out of  over  in %q", b.rule.ID),
			"%q never counts: %q (%s) goes over it whenever it fires", a.rule.ID, b.rule.ID, b.rule.Pos)
		return true
	}
	adds := false // does something that counts again when done twice
	for _, x := range a.deeds {
		if !slices.ContainsFunc(b.deeds, func(y deed) bool { return x.do == y.do && x.target == y.target && x.value == y.value && x.by == y.by }) {
			return false
		}
		adds = adds || x.do == Weigh || x.do == Prefer
	}
	switch {
	case !ab() || adds && !ba():
		return false
	case adds:
		v.rule(a.rule, "id", CodeHidden, "keep one of them", "%q and %q (%s) fire together and do the same, so it counts twice", a.rule.ID, b.rule.ID, b.rule.Pos)
	default:
		v.rule(a.rule, "id", CodeHidden, "drop it, or correct its condition", "%q adds nothing: whenever it fires, %q (%s) does the same", a.rule.ID, b.rule.ID, b.rule.Pos)
	}
	return true
}

// beaten says whether all that a does is set facts for which b, going over it, always
// has a value.
func (v *reviewer) beaten(a, b *Rule) bool {
	at, ok := v.book.RuleIndex(a.ID)
	if !ok || !slices.Contains(b.over, at) {
		return false
	}
	for _, x := range a.Then {
		if x.Do != Set {
			return false
		}
		i := slices.IndexFunc(b.Then, func(y Action) bool { return y.Do == Set && y.Fact == x.Fact })
		if i < 0 {
			return false
		}
		for _, f := range b.Then[i].To.reads {
			if v.possible(v.whole(b, isTrue), unknownFact(f)) {
				return false
			}
		}
	}
	return true
}

// undone reports weights and demands of two rules that work against each other whenever
// one of them fires.
func (v *reviewer) undone(a, b *does, ab, ba func() bool) bool {
	if a.rule.Late != b.rule.Late {
		return false
	}
	for _, x := range a.deeds {
		for _, y := range b.deeds {
			if x.target != y.target || x.target == "" || !x.against(y) {
				continue
			}
			if crossing := v.crossing(a.rule, b.rule); ab() || ba() || crossing != "" {
				v.against(a, b, x, y, ab(), ba(), crossing)
				v.told[pairOf(a.rule, b.rule)] = true
				return true
			}
		}
	}
	return false
}

func (d deed) against(e deed) bool {
	switch [2]Do{d.do, e.do} {
	case [2]Do{Weigh, Weigh}, [2]Do{Prefer, Prefer}:
		return d.by > 1 && e.by < 1 || d.by < 1 && e.by > 1
	case [2]Do{Weigh, RuleOut}:
		return d.by > 1
	case [2]Do{RuleOut, Weigh}:
		return e.by > 1
	case [2]Do{Require, Forbid}, [2]Do{Forbid, Require}:
		return true
	}
	return false
}

func (d deed) words() string {
	switch d.do {
	case Weigh:
		return fmt.Sprintf("weighs %q by %v", d.target, d.by)
	case Prefer:
		return fmt.Sprintf("prefers %q by %v", d.target, d.by)
	case RuleOut:
		return fmt.Sprintf("rules %q out", d.target)
	case Require:
		return fmt.Sprintf("requires %q", d.target)
	}
	return fmt.Sprintf("forbids %q", d.target)
}

// against blames the rule that always has the other with it.
func (v *reviewer) against(a, b *does, x, y deed, ab, ba bool, crossing string) {
	if !ab {
		a, b, x, y = b, a, y, x
	}
	when := "whenever it fires"
	if !ab && !ba {
		when = crossing
	}
	field := "by"
	if x.do != Weigh && x.do != Prefer {
		field = "do"
	}
	v.add(a.rule.Then[x.action].at.of(field), CodeAgainst,
		fmt.Sprintf("%q %s, but %s %q (%s) %s", a.rule.ID, x.words(), when, b.rule.ID, b.rule.Pos, y.words()),
		"correct one of them, or let their conditions exclude each other")
}

// conflict reports rules that set one fact to different values at once, with no word on
// which goes before.
func (v *reviewer) conflict(a, b *Rule) {
	ia, _ := v.book.RuleIndex(a.ID)
	ib, _ := v.book.RuleIndex(b.ID)
	if slices.Contains(a.over, ib) || slices.Contains(b.over, ia) {
		return
	}
	for _, x := range a.Then {
		for _, y := range b.Then {
			if x.Do != Set || y.Do != Set || x.Fact != y.Fact || x.To.source == y.To.source {
				continue
			}
			s := v.example(v.whole(a, isTrue), v.whole(b, isTrue))
			if s == nil {
				return
			}
			second, first := b, a
			if sortPairs(b, a) < 0 {
				second, first = a, b
			}
			where := v.between(a, b)
			if where == "" {
				where = "both can fire at once"
			}
			v.rule(second, "when", CodeOverlap, fmt.Sprintf("let the ranges or conditions exclude each other, or say  over: [%s]", first.ID),
				"%q and %q (%s) set %q to different values: %s, and the fact is then unknown", second.ID, first.ID, first.Pos, x.Fact, where)
			return
		}
	}
}

// pairOf is the same for two rules in either order.
func pairOf(a, b *Rule) [2]*Rule {
	if sortPairs(b, a) < 0 {
		a, b = b, a
	}
	return [2]*Rule{a, b}
}
