package rules

import (
	"math"
	"slices"

	"github.com/expr-lang/expr/ast"
)

// call compiles known(f), suspected("x") and concluded("x").
func (c *compiler) call(n *ast.CallNode) *operand {
	name, _ := nameOf(n.Callee)
	switch name {
	case "known":
		return c.known(n)
	case "suspected", "concluded":
		return c.asked(n, name)
	}
	functions := []string{"known", "suspected", "concluded", "abs", "min", "max", "round"}
	return c.fail(n.Callee, CodeName, didYouMean(name, functions), "there is no function %q", name)
}

func (c *compiler) known(n *ast.CallNode) *operand {
	if len(n.Arguments) != 1 {
		return c.fail(n, CodeSyntax, "known(a_fact)", "known() takes one fact")
	}
	name, ok := nameOf(n.Arguments[0])
	if !ok {
		return c.fail(n.Arguments[0], CodeType, "known(a_fact)", "known() takes the name of a fact")
	}
	s, ok := c.scope.names[name]
	if !ok {
		return c.fail(n.Arguments[0], CodeName, didYouMean(name, c.scope.list()), "%q is not a known name here", name)
	}
	if s.constant != nil {
		return c.fail(n.Arguments[0], CodeType, "", "%q is a parameter and always known", name)
	}
	c.scope.used[name] = true
	c.read(s)
	i := c.slot(s)
	if s.kind == Choice || s.kind == Text {
		return &operand{kind: Bool, truth: func(f *Frame) Truth { return truth(f.Words[i].Known) }}
	}
	return &operand{kind: Bool, truth: func(f *Frame) Truth { v := f.Numbers[i]; return truth(v == v) }}
}

func (c *compiler) asked(n *ast.CallNode, name string) *operand {
	if c.scope.suspects == nil {
		return c.fail(n, CodeType, "", "%s() belongs in the condition of a rule", name)
	}
	var pattern *ast.StringNode
	if len(n.Arguments) == 1 {
		pattern, _ = n.Arguments[0].(*ast.StringNode)
	}
	if pattern == nil {
		return c.fail(n, CodeType, name+`("coil.open")`, "%s() takes a suspect's id in quotes", name)
	}
	ids := c.scope.suspects(pattern.Value)
	if len(ids) == 0 {
		return c.fail(pattern, CodeName, didYouMean(pattern.Value, c.scope.known), "no suspect is called %q", pattern.Value)
	}
	c.late = true
	concluded := name == "concluded"
	return &operand{kind: Bool, truth: func(f *Frame) Truth {
		ask := f.Suspected
		if concluded {
			ask = f.Concluded
		}
		if ask == nil {
			return Unknown
		}
		return truth(slices.ContainsFunc(ids, ask))
	}}
}

// builtin compiles abs, min, max and round.
func (c *compiler) builtin(n *ast.BuiltinNode) *operand {
	least, most := 1, 1
	switch n.Name {
	case "min", "max":
		least, most = 2, 8
	case "abs", "round":
	default:
		return c.fail(n, CodeSyntax, "there are abs, min, max and round", "%q can't be used in a condition", n.Name)
	}
	if len(n.Arguments) < least || len(n.Arguments) > most {
		return c.fail(n, CodeSyntax, "", "%s() takes %d to %d numbers, but here are %d", n.Name, least, most, len(n.Arguments))
	}
	u := unit{free: true}
	parts := make([]*operand, len(n.Arguments))
	for i, arg := range n.Arguments {
		x := c.compile(arg)
		switch {
		case x == nil:
			return nil
		case x.kind != Number:
			return c.fail(arg, CodeType, "", "%s() takes numbers, but this is %s", n.Name, x.describe())
		case !u.same(x.unit):
			return c.fail(arg, CodeUnit, "all need the same unit", "%s() got %s beside %s", n.Name, x.unit, u)
		}
		u = u.or(x.unit)
		parts[i] = x
	}
	return (&operand{kind: Number, unit: u, number: function(n.Name, parts)}).fold(parts...)
}

func function(name string, parts []*operand) func(*Frame) (float64, bool) {
	first := parts[0].number
	if name == "abs" || name == "round" {
		apply := math.Abs
		if name == "round" {
			apply = math.Round
		}
		return func(f *Frame) (float64, bool) {
			v, known := first(f)
			return apply(v), known
		}
	}
	pick := math.Min
	if name == "max" {
		pick = math.Max
	}
	return func(f *Frame) (float64, bool) {
		out, known := first(f)
		for _, p := range parts[1:] {
			v, also := p.number(f)
			out, known = pick(out, v), known && also
		}
		return out, known
	}
}
