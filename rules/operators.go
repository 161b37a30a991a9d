package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
)

func (c *compiler) unary(n *ast.UnaryNode) *operand {
	x := c.compile(n.Node)
	if x == nil {
		return nil
	}
	switch n.Operator {
	case "not", "!":
		if x.kind != Bool {
			return c.fail(n.Node, CodeType, "", "\"not\" needs true or false, but this is %s", x.describe())
		}
		in := x.truth
		return (&operand{kind: Bool, truth: func(f *Frame) Truth { return not(in(f)) }}).fold(x)
	}
	if x.kind != Number {
		return c.fail(n.Node, CodeType, "", "%q needs a number, but this is %s", n.Operator, x.describe())
	}
	if n.Operator == "+" {
		return x
	}
	in := x.number
	return (&operand{kind: Number, unit: x.unit, number: func(f *Frame) (float64, bool) {
		v, known := in(f)
		return -v, known
	}}).fold(x)
}

func not(t Truth) Truth {
	switch t {
	case True:
		return False
	case False:
		return True
	}
	return Unknown
}

func (c *compiler) binary(n *ast.BinaryNode) *operand {
	if n.Operator == "in" {
		return c.membership(n)
	}
	x, y := c.compile(n.Left), c.compile(n.Right)
	if x == nil || y == nil {
		return nil
	}
	switch n.Operator {
	case "and", "&&", "or", "||":
		return c.logic(n, x, y)
	case "==", "!=":
		return c.equality(n, x, y)
	case "<", "<=", ">", ">=":
		if c.numbers(n, x, y) && c.comparable(n, x, y) {
			return ordering(n.Operator, x, y).fold(x, y)
		}
		return nil
	case "+", "-", "*", "/", "**", "^":
		if c.numbers(n, x, y) {
			return c.arithmetic(n, x, y)
		}
		return nil
	}
	return c.fail(n, CodeSyntax, "", "%q can't be used in a condition", n.Operator)
}

func (c *compiler) logic(n *ast.BinaryNode, x, y *operand) *operand {
	for _, side := range []struct {
		node ast.Node
		o    *operand
	}{{n.Left, x}, {n.Right, y}} {
		if side.o.kind != Bool {
			return c.fail(side.node, CodeType, "compare it with something", "%q joins what is true or false, but this is %s", n.Operator, side.o.describe())
		}
	}
	a, b := x.truth, y.truth
	decides := False // the value of one side that settles the whole
	if n.Operator == "or" || n.Operator == "||" {
		decides = True
	}
	return (&operand{kind: Bool, truth: func(f *Frame) Truth {
		left := a(f)
		if left == decides {
			return decides
		}
		switch right := b(f); {
		case right == decides:
			return decides
		case left == Unknown:
			return Unknown
		default:
			return right
		}
	}}).fold(x, y)
}

// numbers reports an operand that is not a number.
func (c *compiler) numbers(n *ast.BinaryNode, x, y *operand) bool {
	ok := true
	for _, side := range []struct {
		node  ast.Node
		o     *operand
		other *operand
	}{{n.Left, x, y}, {n.Right, y, x}} {
		if side.o.kind != Number {
			c.fail(side.node, CodeType, "write a number, a fact that holds one, or a parameter", "%q needs numbers on both sides, but this is %s", n.Operator, side.o.describe())
			ok = false
		}
	}
	return ok
}

// comparable reports numbers of different units.
func (c *compiler) comparable(n *ast.BinaryNode, x, y *operand) bool {
	if x.unit.same(y.unit) {
		return true
	}
	verb := map[string]string{"+": "added to", "-": "set off against"}[n.Operator]
	if verb == "" {
		verb = "compared with"
	}
	c.fail(n, CodeUnit, c.likeHint(x.unit, y.unit), "%s can't be %s %s", x.unit, verb, y.unit)
	return false
}

// likeHint names what has the unit of one side, where that is few.
func (c *compiler) likeHint(x, y unit) string {
	const few = 4
	for _, u := range []unit{x, y} {
		var like []string
		for _, name := range c.scope.list() {
			if s := c.scope.names[name]; s.kind == Number && !s.unit.free && s.unit == u && !slices.Contains(c.reads, s) && !slices.Contains(c.params, name) {
				like = append(like, name)
			}
		}
		if len(like) > 0 && len(like) <= few {
			return fmt.Sprintf("both sides need the same unit; in %s there is also %s", u, strings.Join(like, ", "))
		}
	}
	return "both sides need the same unit"
}

var orderings = map[string]func(v, w float64) bool{
	"<":  func(v, w float64) bool { return v < w },
	"<=": func(v, w float64) bool { return v <= w },
	">":  func(v, w float64) bool { return v > w },
	">=": func(v, w float64) bool { return v >= w },
}

func ordering(op string, x, y *operand) *operand {
	a, b, compare := x.number, y.number, orderings[op]
	return &operand{kind: Bool, truth: func(f *Frame) Truth {
		v, known := a(f)
		w, also := b(f)
		if !known || !also {
			return Unknown
		}
		return truth(compare(v, w))
	}}
}

// equality compares two numbers, two words or two truths.
func (c *compiler) equality(n *ast.BinaryNode, x, y *operand) *operand {
	if x.kind != y.kind {
		return c.mixed(n, x, y)
	}
	same := True
	if n.Operator == "!=" {
		same = False
	}
	var out *operand
	switch x.kind {
	case Number:
		if !c.comparable(n, x, y) {
			return nil
		}
		out = equal(x.number, y.number, same)
	case Bool:
		a, b := x.truth, y.truth
		out = &operand{kind: Bool, truth: func(f *Frame) Truth {
			v, w := a(f), b(f)
			if v == Unknown || w == Unknown {
				return Unknown
			}
			return either(v == w, same)
		}}
	default:
		if !c.words(n, x, y) {
			return nil
		}
		out = equal(x.text, y.text, same)
	}
	return out.fold(x, y)
}

func equal[T comparable](a, b func(*Frame) (T, bool), same Truth) *operand {
	return &operand{kind: Bool, truth: func(f *Frame) Truth {
		v, known := a(f)
		w, also := b(f)
		if !known || !also {
			return Unknown
		}
		return either(v == w, same)
	}}
}

func either(yes bool, same Truth) Truth {
	if yes {
		return same
	}
	return not(same)
}

// mixed reports a comparison of different kinds, the commonest slip first.
func (c *compiler) mixed(n *ast.BinaryNode, x, y *operand) *operand {
	number, hint := n.Left, ""
	if y.kind == Number {
		number = n.Right
	}
	if (x.kind == Choice && y.kind == Number || x.kind == Number && y.kind == Choice) && isLiteral(number) {
		hint = fmt.Sprintf("put it in quotes: %q", number.String())
	}
	return c.fail(n, CodeType, hint, "%s can't be compared with %s", x.describe(), y.describe())
}

func isLiteral(n ast.Node) bool {
	switch n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
		return true
	}
	return false
}

// words reports a literal outside the other side's choices.
func (c *compiler) words(n *ast.BinaryNode, x, y *operand) bool {
	switch {
	case x.of == nil || y.of == nil || x.literal && y.literal: // as `for` may write
		return true
	case y.literal && !slices.Contains(x.of, y.of[0]):
		c.notAChoice(n.Right, n.Left, y.of[0], x.of)
		return false
	case x.literal && !slices.Contains(y.of, x.of[0]):
		c.notAChoice(n.Left, n.Right, x.of[0], y.of)
		return false
	}
	for _, word := range x.of {
		if slices.Contains(y.of, word) {
			return true
		}
	}
	c.fail(n, CodeChoice, fmt.Sprintf("one is of %s, the other of %s: compare each with a word in quotes", strings.Join(x.of, ", "), strings.Join(y.of, ", ")), "these two can never be the same: they have no choice in common")
	return false
}

func (c *compiler) notAChoice(literal, of ast.Node, word string, choices []string) {
	subject := "this"
	if name, ok := nameOf(of); ok {
		subject = fmt.Sprintf("%q", name)
	}
	c.fail(literal, CodeChoice, didYouMean(word, choices), "%s is never %q", subject, word)
}

// membership compiles  x in [a, b, c].
func (c *compiler) membership(n *ast.BinaryNode) *operand {
	x := c.compile(n.Left)
	list, ok := n.Right.(*ast.ArrayNode)
	if !ok {
		return c.fail(n.Right, CodeSyntax, `such as  x in ["30", "87"]`, "\"in\" needs a list")
	}
	if x == nil {
		return nil
	}
	if len(list.Nodes) == 0 {
		return c.fail(n, CodeValue, "", "nothing is in an empty list")
	}
	var any *operand
	for _, item := range list.Nodes {
		y := c.compile(item)
		if y == nil {
			return nil
		}
		pair := &ast.BinaryNode{Operator: "==", Left: n.Left, Right: item}
		pair.SetLocation(item.Location())
		one := c.equality(pair, x, y)
		if one == nil {
			return nil
		}
		if any == nil {
			any = one
		} else {
			any = c.logic(&ast.BinaryNode{Operator: "or", Left: n.Left, Right: item}, any, one)
		}
	}
	return any
}

var computations = map[string]func(v, w float64) float64{
	"+":  func(v, w float64) float64 { return v + w },
	"-":  func(v, w float64) float64 { return v - w },
	"*":  func(v, w float64) float64 { return v * w },
	"/":  func(v, w float64) float64 { return v / w },
	"**": math.Pow, "^": math.Pow,
}

func (c *compiler) arithmetic(n *ast.BinaryNode, x, y *operand) *operand {
	u := x.unit.or(y.unit)
	switch n.Operator {
	case "+", "-":
		if !c.comparable(n, x, y) {
			return nil
		}
	case "*", "/":
		u = x.unit.times(y.unit, n.Operator == "/")
	default:
		if !x.unit.same(unit{}) || !y.unit.same(unit{}) {
			return c.fail(n, CodeUnit, "multiply it out", "only bare numbers can be raised to a power")
		}
	}
	a, b, compute := x.number, y.number, computations[n.Operator]
	return (&operand{kind: Number, unit: u, number: func(f *Frame) (float64, bool) {
		v, known := a(f)
		w, also := b(f)
		if !known || !also {
			return 0, false
		}
		out := compute(v, w)
		return out, out == out // 0/0 and OL-OL are unknown, not a number
	}}).fold(x, y)
}

// ternary compiles  cond ? x : y. Where cond is unknown the whole is known only
// if both branches agree.
func (c *compiler) ternary(n *ast.ConditionalNode) *operand {
	cond, x, y := c.compile(n.Cond), c.compile(n.Exp1), c.compile(n.Exp2)
	if cond == nil || x == nil || y == nil {
		return nil
	}
	switch {
	case cond.kind != Bool:
		return c.fail(n.Cond, CodeType, "compare it with something", "what stands before ? is true or false, but this is %s", cond.describe())
	case x.kind != y.kind:
		return c.fail(n, CodeType, "", "both sides of the colon need the same type, but here are %s and %s", x.describe(), y.describe())
	case x.kind == Number && !x.unit.same(y.unit):
		return c.fail(n, CodeUnit, "both sides need the same unit", "one side of the colon is in %s, the other in %s", x.unit, y.unit)
	}
	out := &operand{kind: x.kind, unit: x.unit.or(y.unit)}
	switch x.kind {
	case Number:
		out.number = choose(cond.truth, x.number, y.number)
	case Bool:
		out.truth = chooseTruth(cond.truth, x.truth, y.truth)
	default:
		if x.of != nil && y.of != nil {
			out.of = append(slices.Clone(x.of), y.of...)
		}
		out.text = choose(cond.truth, x.text, y.text)
	}
	return out.fold(cond, x, y)
}

func choose[T comparable](cond func(*Frame) Truth, x, y func(*Frame) (T, bool)) func(*Frame) (T, bool) {
	return func(f *Frame) (T, bool) {
		switch cond(f) {
		case True:
			return x(f)
		case False:
			return y(f)
		}
		v, known := x(f)
		w, also := y(f)
		return v, known && also && v == w
	}
}

func chooseTruth(cond, x, y func(*Frame) Truth) func(*Frame) Truth {
	return func(f *Frame) Truth {
		switch cond(f) {
		case True:
			return x(f)
		case False:
			return y(f)
		}
		if v := x(f); v == y(f) {
			return v
		}
		return Unknown
	}
}
