package rules

import (
	"math"

	"github.com/expr-lang/expr/ast"
)

// Form is a condition taken apart, for an engine that keeps the truth of every part and
// looks again only at parts whose facts changed. It is either a join of parts, or a comparison of
// one fact, or a whole: anything else, to be evaluated anew when one of its facts changes.
// Its truth is that of the condition, whatever is known.
type Form struct {
	Join       Join
	Parts      []Form // of All and Any
	Comparison Comparison
	Whole      func(*Frame) Truth
	Reads      []int // of a whole: indexes into Book.Facts, sorted
}

// Join says what a Form is.
type Join uint8

// The joins.
const (
	IsComparison Join = iota
	IsWhole
	All // false if a part is; else unknown if a part is
	Any // true if a part is; else unknown if a part is
)

// Comparison compares one fact with a constant: Number for numbers and bools (0 or 1), Text for
// choices and texts, neither for IsKnown and IsUnknown.
type Comparison struct {
	Fact   int // index into Book.Facts
	Op     Op
	Number float64
	Text   string
}

// Op is how a Comparison compares: the four truths, two bits each, that it has while its fact
// is below the constant, equal to it, above it, or unknown. Evaluating it so takes no branch,
// and what a technician reads is not to be predicted.
type Op uint8

// The comparisons.
const (
	Less      = Op(True<<whenBelow | False<<whenEqual | False<<whenAbove)
	AtMost    = Op(True<<whenBelow | True<<whenEqual | False<<whenAbove)
	Equal     = Op(False<<whenBelow | True<<whenEqual | False<<whenAbove)
	AtLeast   = Op(False<<whenBelow | True<<whenEqual | True<<whenAbove)
	More      = Op(False<<whenBelow | False<<whenEqual | True<<whenAbove)
	Unequal   = Op(True<<whenBelow | False<<whenEqual | True<<whenAbove)
	IsKnown   = Op(True<<whenBelow | True<<whenEqual | True<<whenAbove | False<<whenUnknown)
	IsUnknown = Op(False<<whenBelow | False<<whenEqual | False<<whenAbove | True<<whenUnknown)
)

// Standing is how a fact stands to a constant.
type Standing uint8

const (
	whenBelow   = 0
	whenEqual   = 2
	whenAbove   = 4
	whenUnknown = 6
)

// Stands tells how a number, NaN for an unknown one, stands to a constant.
func Stands(v, constant float64) Standing {
	return whenEqual*(bit(v >= constant)+bit(v > constant)) + whenUnknown*bit(v != v)
}

// StandsAs is the same of a word: one that is not the constant counts as below it.
func StandsAs(w Word, constant string) Standing {
	return whenEqual*bit(w.Known && w.Text == constant) + whenUnknown*bit(!w.Known)
}

func bit(v bool) Standing {
	if v {
		return 1
	}
	return 0
}

// Of gives the truth of the comparison.
func (op Op) Of(s Standing) Truth { return Truth(op>>s) & 3 }

func (op Op) contrary() Op {
	const falses, trues = 0x55, 0xaa // as False is 1 and True is 2
	return op&falses<<1 | op&trues>>1
}

// mirrored is the comparison with its sides exchanged.
func (op Op) mirrored() Op {
	out := op & (3<<whenEqual | 3<<whenUnknown)
	return out | Op(op.Of(whenBelow))<<whenAbove | Op(op.Of(whenAbove))<<whenBelow
}

// negated is `not` of a form: it passes into the parts, as it does in three-valued logic.
func (f Form) negated() Form {
	switch f.Join {
	case IsComparison:
		f.Comparison.Op = f.Comparison.Op.contrary()
	case IsWhole:
		whole := f.Whole
		f.Whole = func(frame *Frame) Truth { return not(whole(frame)) }
	default:
		f.Join = All + Any - f.Join
		parts := make([]Form, len(f.Parts))
		for i, p := range f.Parts {
			parts[i] = p.negated()
		}
		f.Parts = parts
	}
	return f
}

var (
	joins       = map[string]Join{"and": All, "&&": All, "or": Any, "||": Any}
	comparisons = map[string]Op{"<": Less, ">=": AtLeast, ">": More, "<=": AtMost, "==": Equal, "!=": Unequal}
)

// form takes a condition apart that has compiled.
func (k *checker) form(cond *Condition, n ast.Node) Form {
	switch n := n.(type) {
	case *ast.UnaryNode: // `not`: nothing else gives true or false
		return k.form(cond, n.Node).negated()
	case *ast.BinaryNode:
		if join, ok := joins[n.Operator]; ok {
			return Form{Join: join, Parts: k.members(make([]Form, 0, 2), join, cond, n)}
		}
		if list, ok := n.Right.(*ast.ArrayNode); ok && n.Operator == "in" {
			return k.membershipForm(cond, n, list)
		}
		if c, ok := k.comparison(cond, n.Operator, n.Left, n.Right); ok {
			return Form{Comparison: c}
		}
	case *ast.IdentifierNode, *ast.MemberNode:
		if s, ok := k.factNamed(n); ok {
			return Form{Comparison: Comparison{Fact: s.fact, Op: Equal, Number: 1}}
		}
	case *ast.CallNode:
		if name, _ := nameOf(n.Callee); name == "known" {
			s, _ := k.factNamed(n.Arguments[0])
			return Form{Comparison: Comparison{Fact: s.fact, Op: IsKnown}}
		}
	}
	part := k.part(cond, n)
	return Form{Join: IsWhole, Whole: part.op.truth, Reads: part.Reads}
}

// members adds what a node has to give to a join; nested joins of the same kind become one.
func (k *checker) members(to []Form, join Join, cond *Condition, n ast.Node) []Form {
	if b, ok := n.(*ast.BinaryNode); ok && joins[b.Operator] == join {
		return k.members(k.members(to, join, cond, b.Left), join, cond, b.Right)
	}
	f := k.form(cond, n)
	if f.Join == join { // of a list, or a negated one
		return append(to, f.Parts...)
	}
	return append(to, f)
}

// membershipForm is `x in [a, b]`: any of x == a, x == b.
func (k *checker) membershipForm(cond *Condition, n *ast.BinaryNode, list *ast.ArrayNode) Form {
	parts := make([]Form, 0, len(list.Nodes))
	for _, item := range list.Nodes {
		c, ok := k.comparison(cond, "==", n.Left, item)
		if !ok {
			part := k.part(cond, n)
			return Form{Join: IsWhole, Whole: part.op.truth, Reads: part.Reads}
		}
		parts = append(parts, Form{Comparison: c})
	}
	return Form{Join: Any, Parts: parts}
}

// comparison is that of one fact with a constant, on whichever side it stands.
func (k *checker) comparison(cond *Condition, operator string, left, right ast.Node) (Comparison, bool) {
	op, ok := comparisons[operator]
	if !ok {
		return Comparison{}, false
	}
	fact, ok := k.factNamed(left)
	if !ok {
		left, right, op = right, left, op.mirrored()
		if fact, ok = k.factNamed(left); !ok {
			return Comparison{}, false
		}
	}
	c := Comparison{Fact: fact.fact, Op: op}
	ok = k.constant(cond, right, &c)
	return c, ok
}

// constant evaluates what reads no fact into a comparison's Number or Text.
func (k *checker) constant(cond *Condition, n ast.Node, into *Comparison) bool {
	op := k.factCompiler(cond, &problems{}).compile(n)
	if op == nil || !op.constant {
		return false
	}
	known := true
	switch {
	case op.number != nil:
		into.Number, known = op.number(nil)
	case op.truth != nil:
		t := op.truth(nil)
		into.Number, known = BoolValue(t == True).Cell().Number, t != Unknown
	default:
		into.Text, known = op.text(nil)
	}
	return known && !math.IsNaN(into.Number)
}

func (k *checker) factNamed(n ast.Node) (*symbol, bool) {
	name, ok := nameOf(n)
	if !ok {
		return nil, false
	}
	s, ok := k.facts.names[name]
	return s, ok && s.constant == nil
}
