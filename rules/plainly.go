package rules

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"
)

// Plainly puts a condition into words, for people who read no expressions.
func (b *Book) Plainly(c *Condition) string {
	if c == nil {
		return "always"
	}
	if c.node == nil {
		return c.source
	}
	return b.plainly(c.node, false)
}

var saidOf = map[string]string{
	"==": "is", "!=": "is not", "<": "is below", ">": "is above", "<=": "is at most", ">=": "is at least",
	"and": "and", "&&": "and", "or": "or", "||": "or", "+": "+", "-": "−", "*": "×", "/": "÷",
}

func (b *Book) plainly(n ast.Node, inside bool) string {
	switch n := n.(type) {
	case *ast.StringNode:
		return strings.ReplaceAll(n.Value, "_", " ")
	case *ast.BoolNode:
		return map[bool]string{true: "yes", false: "no"}[n.Value]
	case *ast.IdentifierNode, *ast.MemberNode:
		return b.plainName(n)
	case *ast.UnaryNode:
		return b.plainNot(n)
	case *ast.BinaryNode:
		return b.plainBinary(n, inside)
	case *ast.ArrayNode:
		var of []string
		for _, item := range n.Nodes {
			of = append(of, b.plainly(item, true))
		}
		return strings.Join(of, " or ")
	case *ast.ConditionalNode:
		return fmt.Sprintf("(%s, if %s, else %s)", b.plainly(n.Exp1, true), b.plainly(n.Cond, true), b.plainly(n.Exp2, true))
	case *ast.CallNode:
		return b.plainCall(n)
	}
	return n.String()
}

func (b *Book) plainName(n ast.Node) string {
	name, _ := nameOf(n)
	if p, ok := b.Parameter(name); ok {
		return strings.TrimSpace(strconv.FormatFloat(p.Value, 'g', -1, 64) + " " + unitSigns[p.Unit])
	}
	if f, ok := b.Fact(name); ok && f.Words != "" {
		return "[" + f.Words + "]"
	}
	return "[" + strings.ReplaceAll(name, "_", " ") + "]"
}

var unitSigns = map[string]string{"volt": "V", "ohm": "Ω", "ampere": "A", "celsius": "°C", "watt": "W", "minute": "min", "metre": "m"}

func (b *Book) plainNot(n *ast.UnaryNode) string {
	if call, ok := n.Node.(*ast.CallNode); ok && len(call.Arguments) == 1 {
		if name, _ := nameOf(call.Callee); name == "known" {
			return b.plainly(call.Arguments[0], true) + " is not known"
		}
	}
	if n.Operator == "-" {
		return "−" + b.plainly(n.Node, true)
	}
	return "not (" + b.plainly(n.Node, false) + ")"
}

func (b *Book) plainBinary(n *ast.BinaryNode, inside bool) string {
	if n.Operator == "in" {
		return b.plainly(n.Left, true) + " is " + b.plainly(n.Right, true)
	}
	joins := n.Operator == "and" || n.Operator == "or" || n.Operator == "&&" || n.Operator == "||"
	out := fmt.Sprintf("%s %s %s", b.plainSide(n, n.Left), saidOf[n.Operator], b.plainSide(n, n.Right))
	if inside && joins {
		return "(" + out + ")"
	}
	return out
}

// plainSide puts brackets round an `or` inside an `and` and the other way round.
func (b *Book) plainSide(n *ast.BinaryNode, side ast.Node) string {
	inner, ok := side.(*ast.BinaryNode)
	return b.plainly(side, ok && inner.Operator != n.Operator)
}

func (b *Book) plainCall(n *ast.CallNode) string {
	name, _ := nameOf(n.Callee)
	if name == "known" {
		return b.plainly(n.Arguments[0], true) + " is known"
	}
	pattern, _ := n.Arguments[0].(*ast.StringNode)
	var words []string
	for _, id := range b.MatchSuspects(pattern.Value) {
		s, _ := b.Suspect(id)
		words = append(words, "“"+s.Words+"”")
	}
	return strings.Join(words, " or ") + map[string]string{"suspected": " is suspected", "concluded": " is concluded"}[name]
}
