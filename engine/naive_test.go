package engine

import (
	"math"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"

	"coilside/rules"
)

// naive is what rules mean, written down with no thought for speed: every
// question is answered anew from what was given. It shares nothing with Memory
// but the book's lists and the texts of its conditions. nil is unknown.
type naive struct {
	book  *rules.Book
	given map[string]map[int]rules.Value // by fact and entry
}

// value is what is known of a fact: the latest given, else what all standing
// rules agree on.
func (n *naive) value(fact string) any {
	if entry, ok := n.latest(fact); ok {
		return plain(n.given[fact][entry])
	}
	standing := n.standing(fact)
	if len(standing) == 0 {
		return nil
	}
	for _, c := range standing {
		if c.value != standing[0].value {
			return nil
		}
	}
	return standing[0].value
}

func (n *naive) latest(fact string) (int, bool) {
	best, ok := 0, false
	for entry := range n.given[fact] {
		if !ok || entry > best {
			best, ok = entry, true
		}
	}
	return best, ok
}

func plain(v rules.Value) any {
	switch v.Kind {
	case rules.Bool:
		return v.Bool
	case rules.Number:
		return v.Number
	}
	return v.Text
}

type naiveClaim struct {
	rule  *rules.Rule
	value any
}

// claims are the values that firing rules derive for a fact.
func (n *naive) claims(fact string) []naiveClaim {
	var out []naiveClaim
	f, _ := n.book.Fact(fact)
	for _, r := range n.book.Rules {
		for _, a := range r.Then {
			if a.Do != rules.Set || a.Fact != fact || !n.fires(r) {
				continue
			}
			if v := n.text(a.To.Source()); v != nil && fits(f, v) {
				out = append(out, naiveClaim{r, v})
			}
		}
	}
	return out
}

func fits(f *rules.Fact, v any) bool {
	number, ok := v.(float64)
	return !ok || f.Range == [2]float64{} || number >= f.Range[0] && number <= f.Range[1]
}

// standing are the claims that no other claim goes over.
func (n *naive) standing(fact string) []naiveClaim {
	all := n.claims(fact)
	var out []naiveClaim
	for _, c := range all {
		if !slices.ContainsFunc(all, func(d naiveClaim) bool { return n.over(d.rule, c.rule.ID) }) {
			out = append(out, c)
		}
	}
	return out
}

func (n *naive) over(r *rules.Rule, id string) bool {
	for _, beaten := range r.Over {
		other, _ := n.book.Rule(beaten)
		if beaten == id || n.over(other, id) {
			return true
		}
	}
	return false
}

func (n *naive) conflict(fact string) bool {
	if _, ok := n.latest(fact); ok {
		return false
	}
	return len(n.standing(fact)) > 0 && n.value(fact) == nil
}

func (n *naive) fires(r *rules.Rule) bool {
	if strings.Contains(r.When.Source(), "suspected(") || strings.Contains(r.When.Source(), "concluded(") {
		return false
	}
	return n.text(r.When.Source()) == true
}

func (n *naive) text(source string) any {
	tree, err := parser.Parse(source)
	if err != nil {
		panic(err)
	}
	return n.eval(tree.Node)
}

func (n *naive) eval(node ast.Node) any {
	switch x := node.(type) {
	case *ast.BoolNode:
		return x.Value
	case *ast.IntegerNode:
		return float64(x.Value)
	case *ast.FloatNode:
		return x.Value
	case *ast.StringNode:
		return x.Value
	case *ast.IdentifierNode:
		if p, ok := n.book.Parameter(x.Value); ok {
			return p.Value
		}
		return n.value(x.Value)
	case *ast.UnaryNode:
		return unaryMeaning(x.Operator, n.eval(x.Node))
	case *ast.BinaryNode:
		if x.Operator == "in" {
			return n.member(n.eval(x.Left), x.Right.(*ast.ArrayNode))
		}
		return binaryMeaning(x.Operator, n.eval(x.Left), n.eval(x.Right))
	case *ast.ConditionalNode:
		return conditionalMeaning(n.eval(x.Cond), n.eval(x.Exp1), n.eval(x.Exp2))
	case *ast.CallNode: // known(f)
		return n.value(x.Arguments[0].(*ast.IdentifierNode).Value) != nil
	case *ast.BuiltinNode:
		return n.function(x)
	}
	panic(node)
}

func unaryMeaning(op string, v any) any {
	switch v := v.(type) {
	case bool:
		return !v
	case float64:
		if op == "-" {
			return -v
		}
		return v
	}
	return nil
}

func conditionalMeaning(cond, x, y any) any {
	switch {
	case cond == true:
		return x
	case cond == false:
		return y
	case x == y:
		return x
	}
	return nil
}

func binaryMeaning(op string, x, y any) any {
	switch op {
	case "and", "&&":
		return kleene(x, y, false)
	case "or", "||":
		return kleene(x, y, true)
	}
	if x == nil || y == nil {
		return nil
	}
	switch op {
	case "==":
		return x == y
	case "!=":
		return x != y
	}
	a, b := x.(float64), y.(float64)
	switch op {
	case "<":
		return a < b
	case "<=":
		return a <= b
	case ">":
		return a > b
	case ">=":
		return a >= b
	}
	out := map[string]float64{"+": a + b, "-": a - b, "*": a * b, "/": a / b}[op]
	if math.IsNaN(out) {
		return nil
	}
	return out
}

// kleene is three-valued and/or: the deciding value on either side decides.
func kleene(x, y any, decides bool) any {
	switch {
	case x == decides || y == decides:
		return decides
	case x == nil || y == nil:
		return nil
	}
	return !decides
}

func (n *naive) member(x any, list *ast.ArrayNode) any {
	var out any = false
	for _, item := range list.Nodes {
		out = kleene(out, binaryMeaning("==", x, n.eval(item)), true)
	}
	return out
}

func (n *naive) function(x *ast.BuiltinNode) any {
	var args []float64
	for _, arg := range x.Arguments {
		v, ok := n.eval(arg).(float64)
		if !ok {
			return nil
		}
		args = append(args, v)
	}
	switch x.Name {
	case "min":
		return slices.Min(args)
	case "max":
		return slices.Max(args)
	case "abs":
		return math.Abs(args[0])
	}
	return math.Round(args[0])
}

// entries are what a rule stands on, through whatever derives the facts it reads.
func (n *naive) entries(r *rules.Rule) []int {
	found := map[int]bool{}
	done := map[string]bool{}
	var walk func(r *rules.Rule)
	fact := func(id string) {
		if done[id] {
			return
		}
		done[id] = true
		if entry, ok := n.latest(id); ok {
			found[entry] = true
			return
		}
		for _, c := range n.standing(id) {
			walk(c.rule)
		}
	}
	walk = func(r *rules.Rule) {
		sources := r.When.Source()
		for _, a := range r.Then {
			if a.To != nil {
				sources += " " + a.To.Source()
			}
		}
		for _, f := range n.book.Facts {
			if slices.Contains(words(sources), f.ID) {
				fact(f.ID)
			}
		}
	}
	walk(r)
	out := []int{}
	for entry := range found {
		out = append(out, entry)
	}
	slices.Sort(out)
	return out
}

func words(source string) []string {
	return strings.FieldsFunc(source, func(c rune) bool { return !(c == '_' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z') })
}

// weights are the capped odds factors by suspect.
func (n *naive) weights() map[string]float64 {
	out := map[string]float64{}
	for _, r := range n.book.Rules {
		for _, a := range r.Then {
			if a.Do == rules.Weigh && n.fires(r) {
				for _, id := range a.Suspects {
					if out[id] == 0 {
						out[id] = 1
					}
					out[id] *= a.By
				}
			}
		}
	}
	for id, v := range out {
		out[id] = min(max(v, 1/rules.MaxWeight), rules.MaxWeight)
	}
	return out
}
