package rules

import (
	"fmt"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
)

// switches reports rules that can't be switched off, because they do not exist
// in an earlier layer.
func (k *checker) switches(offs []off) {
	for _, o := range offs {
		k.add(o.at, CodeName, fmt.Sprintf("no earlier ruleset has a rule %q to switch off", o.id), didYouMean(o.id, k.ruleIDs()))
	}
}

// safety holds every rule that replaced a safety rule against what it replaced:
// it may tighten, never loosen.
func (k *checker) safety(history map[string][]*Rule, removed map[string]spot) {
	ids := make([]string, 0, len(history))
	for id := range history {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	for _, id := range ids {
		for _, old := range history[id] {
			if !old.Safety {
				continue
			}
			if at, off := removed[id]; off {
				k.add(at, CodeSafety, fmt.Sprintf("%q is a safety rule (%s) and can't be switched off", id, old.Pos), "it may be tightened: forbid more, or add an  or  to its condition")
				continue
			}
			if now, ok := k.book.Rule(id); ok {
				k.tighter(old, now)
			}
		}
	}
}

// tighter reports in what way a replaced safety rule would be loosened.
func (k *checker) tighter(old, now *Rule) {
	loosened := func(at spot, what string) {
		k.add(at, CodeSafety, fmt.Sprintf("this loosens the safety rule %q (%s): %s", old.ID, old.Pos, what), "repeat all of it; then forbid more, or add an  or  to its condition")
	}
	if !now.Safety {
		loosened(now.at.of("safety"), "it is no longer marked  safety: true")
	}
	if old.When != nil && now.When != nil && !widens(old.When.source, now.When.source) {
		loosened(now.at.of("when"), fmt.Sprintf("it no longer fires whenever  %s", old.When.source))
	}
	for _, do := range []Do{Forbid, Require} {
		for _, id := range k.testsOf(old, do) {
			if !slices.Contains(k.testsOf(now, do), id) {
				loosened(now.at.of("then"), fmt.Sprintf("it does not %s %q", do, id))
				break
			}
		}
	}
	for _, a := range old.Then {
		if a.Do != Forbid && a.Do != Require && !slices.ContainsFunc(now.Then, a.sameAs) {
			loosened(now.at.of("then"), "it leaves out  "+a.brief())
		}
	}
}

// fixed reports a parameter that a later layer replaced although a safety rule of
// an earlier one stands on it: which way is looser can't be told.
func (k *checker) fixed(r *Rule, m *merge) {
	if !r.Safety || r.When == nil {
		return
	}
	for _, name := range r.When.params {
		at, retuned := m.retuned[name]
		if retuned && m.book.items[itemKey{"parameter", name}].layer > m.book.items[itemKey{"rule", r.ID}].layer {
			k.add(at, CodeSafety, fmt.Sprintf("%q can't be replaced: the safety rule %q (%s) stands on it", name, r.ID, r.Pos), "declare a parameter of your own")
		}
	}
}

// testsOf resolves the tests a rule requires or forbids, whether it has been
// checked already or not.
func (k *checker) testsOf(r *Rule, do Do) []string {
	var out []string
	for _, a := range r.Then {
		if a.Do != do {
			continue
		}
		for _, pattern := range a.Tests {
			out = append(out, k.book.MatchTests(pattern)...)
		}
	}
	return out
}

// sameAs compares what two actions were written to do.
func (a Action) sameAs(b Action) bool {
	to := func(c *Condition) string {
		if c == nil {
			return ""
		}
		return c.source
	}
	return a.Do == b.Do && a.Fact == b.Fact && to(a.To) == to(b.To) && a.Say == b.Say && a.By == b.By &&
		slices.Equal(a.written, b.written)
}

func (a Action) brief() string {
	switch a.Do {
	case Set:
		return fmt.Sprintf("%s %s", a.Do, a.Fact)
	case Advise, Caution:
		return fmt.Sprintf("%s: %s", a.Do, clip(a.Say))
	}
	return fmt.Sprintf("%s %s", a.Do, strings.Join(a.written, ", "))
}

// widens says whether the new condition is the old one, or the old one joined
// to more by `or`.
func widens(old, now string) bool {
	was, err := parser.Parse(old)
	if err != nil {
		return true // reported where it stands
	}
	is, err := parser.Parse(now)
	if err != nil {
		return true
	}
	want := was.Node.String()
	return slices.ContainsFunc(disjuncts(is.Node), func(n ast.Node) bool { return n.String() == want }) || contains(disjuncts(is.Node), disjuncts(was.Node))
}

// contains says whether every member of the old `or` is in the new one.
func contains(now, old []ast.Node) bool {
	for _, o := range old {
		if !slices.ContainsFunc(now, func(n ast.Node) bool { return n.String() == o.String() }) {
			return false
		}
	}
	return true
}

func disjuncts(n ast.Node) []ast.Node {
	if b, ok := n.(*ast.BinaryNode); ok && (b.Operator == "or" || b.Operator == "||") {
		return append(disjuncts(b.Left), disjuncts(b.Right)...)
	}
	return []ast.Node{n}
}
