package rules

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"
)

// condition reports what can never be true, or never false, in the condition of a rule.
func (v *reviewer) condition(r *Rule) {
	if r.When == nil || r.When.node == nil {
		return
	}
	n := r.When.node
	switch {
	case !v.possible(v.whole(r, isTrue)):
		v.blamed[r] = true
		v.never(r.When, n, nil)
	case !v.possible(v.whole(r, notTrue)):
		v.part(r.When, n, CodeAlways, "say when it applies, or drop the rule", "%q always fires", r.ID)
	default:
		v.parts(r.When, n, nil)
	}
}

// never blames the smallest part of a condition that cannot be true.
func (v *reviewer) never(c *Condition, n ast.Node, context []claim) {
	members := conjuncts(n)
	for _, m := range members {
		if !v.possible(v.claim(m, isTrue)) {
			if sides := disjuncts(m); len(sides) > 1 {
				v.never(c, sides[0], nil)
				return
			}
			v.impossiblePart(c, m)
			return
		}
	}
	for i, m := range members {
		for _, other := range members[:i] {
			if !v.possible(v.claim(other, isTrue), v.claim(m, isTrue)) {
				v.part(c, m, CodeNever, v.eitherHint(other, m), "this rule can never fire: %s and %s can't both be true", c.text(other), c.text(m))
				return
			}
		}
	}
	v.part(c, n, CodeNever, "", "this can never be true%s", v.because(n))
}

// impossiblePart says why one comparison cannot be true.
func (v *reviewer) impossiblePart(c *Condition, n ast.Node) {
	message, hint := "this can never be true"+v.because(n), ""
	if facts := v.factsIn(n); len(facts) > 0 {
		hint = v.domainHint(facts[0])
	}
	v.part(c, n, CodeNever, hint, "%s", message)
}

// because adds which value no rule ever sets, where that is the reason.
func (v *reviewer) because(n ast.Node) string {
	for _, i := range v.factsIn(n) {
		if v.setters[i] != nil {
			return fmt.Sprintf(": only rules set %q, and none of them does so then", v.book.Facts[i].ID)
		}
	}
	return ""
}

func (v *reviewer) domainHint(i int) string {
	f := v.book.Facts[i]
	d := v.domains[i]
	switch {
	case v.setters[i] != nil:
		var words []string
		for _, s := range v.setters[i] {
			words = append(words, s.words...)
		}
		slices.Sort(words)
		if words = slices.Compact(words); len(words) > 0 {
			return fmt.Sprintf("rules set %q to %s only", f.ID, quoted(words))
		}
	case f.Kind == Number && d.points != nil:
		return fmt.Sprintf("%q is one of %v", f.ID, d.points)
	case f.Kind == Number && (d.low > anyNumber.low || d.high < anyNumber.high):
		return fmt.Sprintf("%q goes from %s to %s", f.ID, figure(d.low), figure(d.high))
	}
	return ""
}

func figure(f float64) string {
	if f > 1e308 {
		return "OL"
	}
	return strconv.FormatFloat(f, 'g', 6, 64)
}

// eitherHint proposes `or` where two parts ask different things of one fact.
func (v *reviewer) eitherHint(a, b ast.Node) string {
	for _, n := range []ast.Node{a, b} {
		if u, ok := n.(*ast.UnaryNode); ok && strings.HasPrefix(u.Node.String(), "known(") {
			return fmt.Sprintf("did you mean  %s  without  not?", u.Node)
		}
	}
	x, y := v.factsIn(a), v.factsIn(b)
	if len(x) > 0 && slices.Equal(x, y) {
		return "join them with  or  if either will do, else correct one of them"
	}
	for _, i := range append(x, y...) {
		for _, s := range v.setters[i] {
			if !v.possible(v.claim(a, isTrue), v.claim(b, isTrue), v.whole(s.rule, isTrue)) && !v.aside(s, a, b) {
				return fmt.Sprintf("%q (%s) sets %q when  %s", s.rule.ID, s.rule.Pos, v.book.Facts[i].ID, s.rule.When.source)
			}
		}
	}
	return "one of them has to go"
}

// aside says whether a rule sets a fact to a word that neither part asks for.
func (v *reviewer) aside(s setter, parts ...ast.Node) bool {
	return !slices.ContainsFunc(s.words, func(word string) bool {
		return slices.ContainsFunc(parts, func(n ast.Node) bool { return strings.Contains(n.String(), word) })
	})
}

// parts looks at the members of an `and` or an `or`, each beside the others.
func (v *reviewer) parts(c *Condition, n ast.Node, beside []claim) {
	if members := conjuncts(n); len(members) > 1 {
		v.members(c, members, beside, isTrue)
		return
	}
	if members := disjuncts(n); len(members) > 1 {
		v.members(c, members, beside, notTrue)
		return
	}
	v.lone(c, n)
}

// lone reports a comparison that is true whatever its facts say.
func (v *reviewer) lone(c *Condition, n ast.Node) bool {
	facts := v.factsIn(n)
	if v.openToFalse(n) || len(facts) == 0 {
		return false
	}
	hint := v.domainHint(facts[0])
	if hint == "" {
		hint = fmt.Sprintf("write  known(%s)  if that is what you ask", v.book.Facts[facts[0]].ID)
	}
	v.part(c, n, CodeAlways, hint, "this is true whatever %q is", v.book.Facts[facts[0]].ID)
	return true
}

// members reports, of parts joined by `and` (others true) or by `or` (others not
// true), those that cannot be true beside the others, and those that add nothing.
func (v *reviewer) members(c *Condition, members []ast.Node, beside []claim, others want) {
	joined := members[0]
	for _, m := range members[1:] {
		joined = &ast.BinaryNode{Operator: map[want]string{isTrue: "and", notTrue: "or"}[others], Left: joined, Right: m}
	}
	if len(beside) == 0 && !v.openToFalse(joined) && len(v.factsIn(joined)) > 0 {
		v.alwaysTogether(c, members, others)
		return
	}
	for i, m := range members {
		if others == isTrue && len(beside) == 0 && v.apart(m, members) {
			continue
		}
		rest := slices.Clone(beside)
		for j, o := range members {
			if j != i {
				rest = append(rest, v.claim(o, others))
			}
		}
		switch {
		case others == notTrue && !v.possible(append(slices.Clone(beside), v.claim(m, isTrue))...):
			v.impossiblePart(c, m)
			return
		case v.spare(m, rest, others):
			v.spareHint(c, m, members, others)
			return
		}
	}
	for i, m := range members {
		rest := slices.Clone(beside)
		for j, o := range members {
			if j != i {
				rest = append(rest, v.claim(o, others))
			}
		}
		v.parts(c, m, rest)
	}
}

// spare says whether a member follows from the others (and), or is covered by them (or).
func (v *reviewer) spare(m ast.Node, rest []claim, others want) bool {
	if call, ok := m.(*ast.CallNode); ok {
		if name, _ := nameOf(call.Callee); name == "known" {
			return false // said for the reader
		}
	}
	if others == isTrue {
		return !v.possible(append(rest, v.claim(m, notTrue))...)
	}
	return !v.possible(append(rest, v.claim(m, isTrue))...)
}

func (v *reviewer) spareHint(c *Condition, m ast.Node, members []ast.Node, others want) {
	if others == isTrue {
		v.part(c, m, CodeSpare, "leave it out, or correct it", "this adds nothing: it is true whenever the rest of the condition is")
		return
	}
	for _, o := range members {
		if o != m && !v.possible(v.claim(m, isTrue), v.claim(o, notTrue)) {
			v.part(c, m, CodeSpare, "leave it out, or correct it", "this adds nothing: whenever it is true, so is  %s", c.text(o))
			return
		}
	}
	v.part(c, m, CodeSpare, "leave it out, or correct it", "this adds nothing: the rest of the condition covers it")
}

// alwaysTogether reports a condition that is true as soon as its facts are known.
func (v *reviewer) alwaysTogether(c *Condition, members []ast.Node, others want) {
	hint := "correct one of them"
	if others == notTrue {
		hint = "join them with  and  if both must hold, else correct one of them"
	}
	v.part(c, members[len(members)-1], CodeAlways, hint, "together with the rest this is true whatever %s", isOrAre(v.names(v.factsIn(c.node))))
}

func isOrAre(names []string) string {
	if len(names) == 1 {
		return fmt.Sprintf("%q is", names[0])
	}
	return quoted(names) + " are"
}

// openToFalse says whether a condition can be false by its facts alone; that rules happen to
// set a fact to one value only is no reason to complain of who reads it.
func (v *reviewer) openToFalse(n ast.Node) bool {
	v.blind = true
	defer func() { v.blind = false }()
	return v.possible(v.claim(n, isFalse))
}

// apart says whether a member speaks of facts that no other member speaks of, so that they cannot
// decide each other.
func (v *reviewer) apart(m ast.Node, members []ast.Node) bool {
	facts := v.factsIn(m)
	if len(facts) == 0 || slices.ContainsFunc(facts, func(i int) bool { return v.setters[i] != nil }) {
		return false
	}
	return !slices.ContainsFunc(members, func(o ast.Node) bool {
		return o != m && slices.ContainsFunc(v.factsIn(o), func(i int) bool { return v.setters[i] != nil || slices.Contains(facts, i) })
	})
}
