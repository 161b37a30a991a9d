package rules

import (
	"fmt"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
)

// unset reports declared facts that nobody sets or asks, and choices of facts that only
// rules set and none does.
func (v *reviewer) unset() {
	for i, f := range v.book.Facts {
		if f.explicit && !v.settable[i] && v.setters[i] == nil {
			v.add(f.at.of("id"), CodeUnset, fmt.Sprintf("nobody ever sets or asks %q", f.ID), v.setterHint(f))
		}
	}
}

// setterHint names a fact that is set and sounds like it, else what would set it.
func (v *reviewer) setterHint(f *Fact) string {
	var set []string
	for i, g := range v.book.Facts {
		if g.Kind == f.Kind && (v.settable[i] || v.setters[i] != nil) {
			set = append(set, g.ID)
		}
	}
	if near := Nearest(f.ID, set); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return fmt.Sprintf("add a test that asks it (sets: %s) or a rule that sets it", f.ID)
}

// tables is the folder of numbers that programs compute with, and not conditions.
const tables = "tables"

// unread reports facts that rules or questions set and nobody reads, and parameters that
// stand in no expression.
func (v *reviewer) unread(o ReviewOptions) {
	read := map[string]bool{}
	for id := range v.book.used {
		read[id] = true
	}
	params := map[string]bool{}
	for _, r := range v.book.Rules {
		for _, i := range r.reads {
			read[v.book.Facts[i].ID] = true
		}
		for _, c := range conditionsOf(r) {
			for _, p := range c.params {
				params[p] = true
			}
		}
	}
	for i, f := range v.book.Facts {
		if f.explicit && !read[f.ID] && !slices.Contains(o.Given, f.ID) && (v.settable[i] || v.setters[i] != nil) && !v.predicted(f.ID) {
			v.add(f.at.of("id"), CodeUnread, fmt.Sprintf("nobody reads %q: whatever it is, nothing changes", f.ID), v.unusedHint(f, read))
		}
	}
	for _, p := range v.book.Parameters {
		if !params[p.ID] && !v.book.used[p.ID] && !slices.Contains(strings.Split(p.Pos.File, "/"), tables) {
			v.add(p.at.of("id"), CodeUnread, fmt.Sprintf("no expression uses the parameter %q", p.ID), "use it, or drop it")
		}
	}
}

func (v *reviewer) unusedHint(f *Fact, read map[string]bool) string {
	var known []string
	for _, g := range v.book.Facts {
		if read[g.ID] && g.Kind == f.Kind {
			known = append(known, g.ID)
		}
	}
	if near := Nearest(f.ID, known); near != "" {
		return fmt.Sprintf("did you mean %q, which rules do read?", near)
	}
	return "write a rule that reads it, or drop it"
}

func conditionsOf(r *Rule) []*Condition {
	var out []*Condition
	if r.When != nil {
		out = append(out, r.When)
	}
	for _, a := range r.Then {
		if a.To != nil {
			out = append(out, a.To)
		}
	}
	return out
}

// predicted says whether a fact is the answer of a test that moves the ranking by itself.
func (v *reviewer) predicted(fact string) bool {
	for _, t := range v.book.Tests {
		if slices.Contains(t.SetFacts(), fact) && t.moves() {
			return true
		}
	}
	return false
}

// moves says whether an answer weighs suspects without any rule: by the circuit, or by
// figures given by hand.
func (t *Test) moves() bool {
	return t.Measure.Mode != Ask && t.Measure.Mode != Look || len(t.Expect) > 0 || t.Reads != nil
}

// tests reports questions and looks whose answer nothing reads and no figures stand by.
func (v *reviewer) tests() {
	read := v.factsRead()
	for _, t := range v.book.Tests {
		if t.moves() {
			continue
		}
		used := slices.ContainsFunc(t.SetFacts(), func(id string) bool { return read[id] })
		if !used {
			v.add(t.at.of("id"), CodeUseless, fmt.Sprintf("the answer to %q changes nothing: no rule reads it, and it has neither \"reads\" nor \"expect\"", t.ID),
				"give it an \"expect\", or a rule that reads it")
		}
	}
}

func (v *reviewer) factsRead() map[string]bool {
	read := map[string]bool{}
	for id := range v.book.used {
		read[id] = true
	}
	for _, r := range v.book.Rules {
		for _, i := range r.reads {
			read[v.book.Facts[i].ID] = true
		}
	}
	// The circuit knows its wiring by itself.
	for _, c := range v.book.Circuits {
		for _, w := range c.Wiring {
			read[w.ID] = true
		}
	}
	return read
}

// suspects reports those that have no repair, or no test that proves it.
func (v *reviewer) suspects() {
	for _, s := range v.book.Suspects {
		switch {
		case strings.TrimSpace(s.Repair.Do) == "":
			v.add(s.at.of("id"), CodeNoRepair, fmt.Sprintf("suspect %q has no repair: once it is found, nobody is told what to do", s.ID),
				v.meant("suspect", s.ID)+"repair: {do: what to do, verify: the test that proves it}")
		case s.Repair.Verify == "":
			v.add(s.Repair.at.of("do"), CodeNoRepair, fmt.Sprintf("no test proves the repair of %q", s.ID), "verify: the test to do afterwards")
		}
	}
}

// meant asks, of an item that a later layer is the first to have, whether one of an earlier layer was meant
// whose id is much the same; "" where there is none.
func (v *reviewer) meant(kind, id string) string {
	var earlier []string
	for key, at := range v.book.items {
		if key.kind == kind && at.first < v.book.items[itemKey{kind, id}].first {
			earlier = append(earlier, key.id)
		}
	}
	if near := Nearest(id, earlier); near != "" {
		return fmt.Sprintf("did you mean %q, which this then replaces? If not: ", near)
	}
	return ""
}

// thresholds reports numbers that conditions compare facts with and that have no source:
// neither a parameter's nor the rule's.
func (v *reviewer) thresholds(r *Rule) {
	if strings.TrimSpace(r.Source) != "" || r.When == nil || r.When.node == nil {
		return
	}
	var walk func(n ast.Node)
	walk = func(n ast.Node) {
		if b, ok := n.(*ast.BinaryNode); ok && slices.Contains([]string{"<", "<=", ">", ">="}, b.Operator) {
			for _, side := range []ast.Node{b.Left, b.Right} {
				if number, ok := bareNumber(side); ok {
					v.part(r.When, number, CodeUnsourced, v.parameterHint(number, r), "this threshold has no source")
				}
			}
		}
		for _, c := range children(n) {
			walk(c)
		}
	}
	walk(r.When.node)
}

// bareNumber finds a number other than 0 that is written out in a side of a comparison.
func bareNumber(n ast.Node) (ast.Node, bool) {
	switch n := n.(type) {
	case *ast.IntegerNode:
		return n, n.Value != 0
	case *ast.FloatNode:
		return n, n.Value != 0
	}
	for _, c := range children(n) {
		if found, ok := bareNumber(c); ok {
			return found, true
		}
	}
	return nil, false
}

// parameterHint names a parameter of that value and unit, if there is one.
func (v *reviewer) parameterHint(number ast.Node, r *Rule) string {
	value := v.sum(number).constant
	for _, p := range v.book.Parameters {
		if p.Value == value && slices.ContainsFunc(r.When.reads, func(i int) bool { return v.book.Facts[i].Unit == p.Unit }) {
			return fmt.Sprintf("use the parameter %s (%s), or give the rule a source", p.ID, p.Source)
		}
	}
	return "make it a parameter with its source, or give the rule a source:  practice  will do"
}
