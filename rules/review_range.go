package rules

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
)

// band is the range of one quantity in which a rule fires, beside whatever else its
// condition asks.
type band struct {
	rule  *Rule
	fact  int
	in    domain
	guard string // the rest of the condition, as text
	node  ast.Node
	value string // what the rule does, for rules that do the same beside the range
}

// ranges reports gaps between the ranges of one quantity that rules divide among them,
// and ranges that touch in one point twice.
func (v *reviewer) ranges() {
	groups := map[string][]band{}
	var keys []string
	for _, r := range v.book.Rules {
		if v.blamed[r] || r.When == nil || r.When.node == nil {
			continue
		}
		b, ok := v.band(r)
		if !ok {
			continue
		}
		for _, purpose := range purposes(r) {
			key := fmt.Sprint(b.fact, "|", b.guard, "|", purpose.key)
			if groups[key] == nil {
				keys = append(keys, key)
			}
			b.value = purpose.value
			groups[key] = append(groups[key], b)
		}
	}
	for _, key := range keys {
		v.neighbours(groups[key])
	}
}

// purpose is what ranges are divided for: one fact set, one suspect weighed, advice.
type purpose struct{ key, value string }

func purposes(r *Rule) []purpose {
	var out []purpose
	for _, d := range deeds(r) {
		p := purpose{string(d.do) + " " + d.target, d.value}
		if d.do == Weigh || d.do == Prefer {
			p.value = fmt.Sprint(d.by)
		}
		if !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}

// band reads a condition that is comparisons of one fact with numbers, and a guard.
func (v *reviewer) band(r *Rule) (band, bool) {
	out := band{rule: r, fact: -1, in: anyNumber}
	var guard []string
	for _, n := range conjuncts(r.When.node) {
		i, in, ok := v.limit(n)
		switch {
		case ok && (out.fact < 0 || out.fact == i):
			out.fact, out.in, out.node = i, out.in.meet(in), n
		case ok:
			return out, false // two quantities
		default:
			guard = append(guard, n.String())
		}
	}
	slices.Sort(guard)
	out.guard = strings.Join(guard, " and ")
	return out, out.fact >= 0
}

// limit reads a comparison of one fact with a number.
func (v *reviewer) limit(n ast.Node) (int, domain, bool) {
	b, ok := n.(*ast.BinaryNode)
	if !ok || !slices.Contains([]string{"<", "<=", ">", ">="}, b.Operator) {
		return 0, domain{}, false
	}
	c := v.ordering(b, isTrue)
	for len(c.all) > 0 {
		c = c.all[0]
	}
	if len(c.any) == 1 {
		c = c.any[0]
	}
	if c.lit == nil || c.lit.linear == nil || len(c.lit.linear.terms) != 1 {
		return 0, domain{}, false
	}
	t := c.lit.linear.terms[0]
	if t.id >= len(v.book.Facts) || v.domains[t.id].points != nil {
		return 0, domain{}, false
	}
	return t.id, c.lit.linear.in, true
}

// neighbours looks at the ranges of one group in order.
func (v *reviewer) neighbours(group []band) {
	slices.SortStableFunc(group, func(a, b band) int {
		return cmp.Or(cmp.Compare(a.in.low, b.in.low), cmp.Compare(a.in.high, b.in.high))
	})
	for i := 1; i < len(group); i++ {
		below, above := group[0], group[i]
		for _, b := range group[1:i] {
			if b.in.high > below.in.high || b.in.high == below.in.high && below.in.openHigh {
				below = b
			}
		}
		pair := pairOf(below.rule, above.rule)
		if v.told[pair] || below.rule == above.rule || below.value == above.value {
			continue
		}
		if v.seam(below, above) {
			v.told[pair] = true
		}
	}
}

// seam reports what is wrong where one range ends and the next begins.
func (v *reviewer) seam(below, above band) bool {
	end, start := below.in.high, above.in.low
	name := v.book.Facts[above.fact].ID
	setting := slices.ContainsFunc(above.rule.Then, func(a Action) bool { return a.Do == Set })
	switch {
	case math.IsInf(end, 0) || math.IsInf(start, 0):
		return false
	case end == start && below.in.openHigh && above.in.openLow:
		v.part(above.rule.When, above.node, CodeGap, "let one of the two include it, with  <=  or  >=",
			"when %q is exactly %s, neither this rule nor %q (%s) fires", name, figure(end), below.rule.ID, below.rule.Pos)
	case end == start && !below.in.openHigh && !above.in.openLow && !setting:
		v.part(above.rule.When, above.node, CodeOverlap, "let only one of the two include it",
			"when %q is exactly %s, both this rule and %q (%s) fire", name, figure(end), below.rule.ID, below.rule.Pos)
	case end < start && setting:
		v.part(above.rule.When, above.node, CodeGap, "let the ranges meet, or set it in between as well",
			"from %s to %s of %q neither this rule nor %q (%s) fires", figure(end), figure(start), name, below.rule.ID, below.rule.Pos)
	case end > start && !setting && above.in.high > end && below.in.low < start && v.sameScale(below, above):
		v.part(above.rule.When, above.node, CodeOverlap, "let the ranges meet",
			"from %s to %s of %q both this rule and %q (%s) fire", figure(start), figure(end), name, below.rule.ID, below.rule.Pos)
	default:
		return false
	}
	return true
}

// sameScale says whether two rules that weigh or prefer the same divide its range among
// them, so that an overlap is a slip.
func (v *reviewer) sameScale(a, b band) bool {
	for _, x := range deeds(a.rule) {
		for _, y := range deeds(b.rule) {
			if x.do == y.do && x.target == y.target && (x.do == Weigh || x.do == Prefer) {
				return true
			}
		}
	}
	return false
}

// between gives, where two rules are ranges of one quantity beside the same guard, the
// range in which both fire.
func (v *reviewer) between(a, b *Rule) string {
	x, ok := v.band(a)
	y, also := v.band(b)
	if !ok || !also || x.fact != y.fact || x.guard != y.guard {
		return ""
	}
	in := x.in.meet(y.in)
	name := v.book.Facts[x.fact].ID
	switch {
	case in.low == in.high:
		return fmt.Sprintf("both fire when %q is exactly %s", name, figure(in.low))
	case math.IsInf(in.low, 0):
		return fmt.Sprintf("both fire when %q is below %s", name, figure(in.high))
	case math.IsInf(in.high, 0):
		return fmt.Sprintf("both fire when %q is above %s", name, figure(in.low))
	}
	return fmt.Sprintf("both fire from %s to %s of %q", figure(in.low), figure(in.high), name)
}

// crossing says where the ranges of two rules over one quantity overlap though neither
// holds the other; "" where they do not.
func (v *reviewer) crossing(a, b *Rule) string {
	x, ok := v.band(a)
	y, also := v.band(b)
	if !ok || !also || x.fact != y.fact || x.guard != y.guard {
		return ""
	}
	in := x.in.meet(y.in)
	if in.empty() || !v.together(a, b) {
		return ""
	}
	return fmt.Sprintf("from %s to %s of %q", figure(in.low), figure(in.high), v.book.Facts[x.fact].ID)
}
