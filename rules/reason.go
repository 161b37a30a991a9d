package rules

import (
	"slices"

	"github.com/expr-lang/expr/ast"
)

// The reasoner answers whether conditions can hold together, from intervals of
// numbers, sets of words and the signs of expressions. It errs on one side only: what it
// cannot follow it takes as possible. So "impossible" is proven, and nothing is
// reported that could happen after all.

// want is what is asked of a condition: under three truths, "not true" is more
// than "false".
type want uint8

const (
	isTrue want = iota
	isFalse
	notTrue  // false or unknown
	notFalse // true or unknown
)

// turned is what `not` asks of what stands behind it.
func (w want) turned() want {
	return [...]want{isTrue: isFalse, isFalse: isTrue, notTrue: notFalse, notFalse: notTrue}[w]
}

// claim is a formula over literals: all or any of several, or one literal. The zero
// claim is always possible.
type claim struct {
	all, any []claim
	lit      *literal
	never    bool
}

// literal is one thing claimed of the facts.
type literal struct {
	fact    int      // of known and words; -1 otherwise
	unknown bool     // the fact is unknown
	words   []string // the fact is known and one of these; nil = only known
	linear  *linear  // a comparison of numbers, whose facts are known
	asked   string   // suspected("…") or concluded("…"), which has the truth
	truth   Truth
}

var always, impossible = claim{}, claim{never: true}

func both(of ...claim) claim  { return claim{all: of} }
func oneOf(of ...claim) claim { return claim{any: of, never: len(of) == 0} }
func one(l literal) claim     { return claim{lit: &l} }
func unknownFact(i int) claim { return one(literal{fact: i, unknown: true}) }
func knownFact(i int) claim   { return one(literal{fact: i}) }
func asked(key string, t Truth) claim {
	return one(literal{fact: -1, asked: key, truth: t})
}

// reasoner knows the facts that conditions speak of.
type reasoner struct {
	book    *Book
	domains []domain
	setters [][]setter // by fact: rules that set a fact which nothing else sets

	settable []bool         // by fact: may be given by someone
	opaques  map[string]int // expressions taken as one number: index into domains
	claims   map[wholeKey]claim
	binaries map[nodeKey]claim // claims made already
	steps    int               // left for the question being answered
	blind    bool              // do not follow facts to the rules that set them
}

// setter is a rule that may give a fact a value: words it may be, nil = any.
type setter struct {
	rule  *Rule
	words []string
}

// nodeKey is a part of a condition and what is asked of it.
type nodeKey struct {
	node *ast.BinaryNode
	want want
}

// claim says what it takes for a condition to be as wanted.
func (r *reasoner) claim(n ast.Node, w want) claim {
	switch n := n.(type) {
	case *ast.BoolNode:
		if n.Value == (w == isTrue || w == notFalse) {
			return always
		}
		return impossible
	case *ast.IdentifierNode, *ast.MemberNode:
		return r.flag(n, w)
	case *ast.UnaryNode:
		return r.claim(n.Node, w.turned())
	case *ast.BinaryNode:
		key := nodeKey{n, w}
		c, ok := r.binaries[key]
		if !ok {
			c = r.binary(n, w)
			r.binaries[key] = c
		}
		return c
	case *ast.ConditionalNode:
		return r.ternary(n, w)
	case *ast.CallNode:
		return r.call(n, w)
	}
	return always
}

func (r *reasoner) flag(n ast.Node, w want) claim {
	name, _ := nameOf(n)
	i, ok := r.book.FactIndex(name)
	if !ok {
		return always
	}
	word := "false"
	if w == isTrue || w == notFalse {
		word = "true"
	}
	return r.orUnknown(one(literal{fact: i, words: []string{word}}), w, i)
}

// orUnknown adds the ways in which a claim about facts is merely unknown.
func (r *reasoner) orUnknown(c claim, w want, facts ...int) claim {
	if w == isTrue || w == isFalse {
		return c
	}
	ways := []claim{c}
	for _, i := range facts {
		ways = append(ways, unknownFact(i))
	}
	return oneOf(ways...)
}

func (r *reasoner) binary(n *ast.BinaryNode, w want) claim {
	switch n.Operator {
	case "and", "&&":
		return r.joined(n, w, w == isTrue || w == notFalse)
	case "or", "||":
		return r.joined(n, w, w == isFalse || w == notTrue)
	case "in":
		return r.membership(n, w)
	case "==", "!=":
		if n.Operator == "!=" {
			w = w.turned()
		}
		return r.equality(n.Left, n.Right, w)
	case "<", "<=", ">", ">=":
		return r.ordering(n, w)
	}
	return always
}

func (r *reasoner) joined(n *ast.BinaryNode, w want, all bool) claim {
	x, y := r.claim(n.Left, w), r.claim(n.Right, w)
	if all {
		return both(x, y)
	}
	return oneOf(x, y)
}

func (r *reasoner) membership(n *ast.BinaryNode, w want) claim {
	list, ok := n.Right.(*ast.ArrayNode)
	if !ok {
		return always
	}
	var of []claim
	for _, item := range list.Nodes {
		of = append(of, r.equality(n.Left, item, w))
	}
	if w == isTrue || w == notFalse {
		return oneOf(of...)
	}
	return both(of...)
}

// ternary follows  a ? b : c  where the whole is true or false; where a is unknown
// both branches must agree.
func (r *reasoner) ternary(n *ast.ConditionalNode, w want) claim {
	if w == notTrue || w == notFalse {
		return always
	}
	x, y := r.claim(n.Exp1, w), r.claim(n.Exp2, w)
	return oneOf(both(r.claim(n.Cond, isTrue), x), both(r.claim(n.Cond, isFalse), y),
		both(r.claim(n.Cond, notTrue), r.claim(n.Cond, notFalse), x, y))
}

func (r *reasoner) call(n *ast.CallNode, w want) claim {
	name, _ := nameOf(n.Callee)
	if name == "known" {
		fact, _ := nameOf(n.Arguments[0])
		i, ok := r.book.FactIndex(fact)
		switch {
		case !ok:
			return always
		case w == isTrue || w == notFalse:
			return knownFact(i)
		}
		return unknownFact(i)
	}
	pattern, ok := n.Arguments[0].(*ast.StringNode)
	if !ok {
		return always
	}
	return r.askedOf(name, r.book.MatchSuspects(pattern.Value), w)
}

// askedOf spells suspected("a.*") out: true if it is of any.
func (r *reasoner) askedOf(name string, ids []string, w want) claim {
	var of []claim
	for _, id := range ids {
		key := name + " " + id
		switch w {
		case isTrue:
			of = append(of, asked(key, True))
		case isFalse:
			of = append(of, asked(key, False))
		case notTrue:
			of = append(of, oneOf(asked(key, False), asked(key, Unknown)))
		case notFalse:
			of = append(of, oneOf(asked(key, True), asked(key, Unknown)))
		}
	}
	if w == isTrue || w == notFalse {
		return oneOf(of...)
	}
	return both(of...)
}

// equality follows the comparison of two truths, numbers or words.
func (r *reasoner) equality(x, y ast.Node, w want) claim {
	if truthy(r.book, x) || truthy(r.book, y) {
		return r.sameTruth(x, y, w)
	}
	if r.wordy(x) || r.wordy(y) {
		return r.sameWord(x, y, w)
	}
	return r.compare(x, y, "==", w)
}

// truthy says whether a node gives true or false.
func truthy(b *Book, n ast.Node) bool {
	switch n := n.(type) {
	case *ast.BoolNode, *ast.CallNode:
		return true
	case *ast.IdentifierNode, *ast.MemberNode:
		name, _ := nameOf(n)
		f, ok := b.Fact(name)
		return ok && f.Kind == Bool
	case *ast.UnaryNode:
		return n.Operator == "not" || n.Operator == "!"
	case *ast.BinaryNode:
		return !slices.Contains([]string{"+", "-", "*", "/", "**", "^"}, n.Operator)
	case *ast.ConditionalNode:
		return truthy(b, n.Exp1)
	}
	return false
}

func (r *reasoner) sameTruth(x, y ast.Node, w want) claim {
	pair := func(v, u want) claim { return both(r.claim(x, v), r.claim(y, u)) }
	same := oneOf(pair(isTrue, isTrue), pair(isFalse, isFalse))
	other := oneOf(pair(isTrue, isFalse), pair(isFalse, isTrue))
	unsure := oneOf(both(r.claim(x, notTrue), r.claim(x, notFalse)), both(r.claim(y, notTrue), r.claim(y, notFalse)))
	switch w {
	case isTrue:
		return same
	case isFalse:
		return other
	case notTrue:
		return oneOf(other, unsure)
	}
	return oneOf(same, unsure)
}

// wordy says whether a node is a word or a fact that holds one.
func (r *reasoner) wordy(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.StringNode:
		return true
	case *ast.IdentifierNode, *ast.MemberNode:
		name, _ := nameOf(n)
		f, ok := r.book.Fact(name)
		return ok && (f.Kind == Choice || f.Kind == Text)
	case *ast.ConditionalNode:
		return r.wordy(n.Exp1)
	}
	return false
}

// sameWord follows fact == "word" and fact == fact.
func (r *reasoner) sameWord(x, y ast.Node, w want) claim {
	if _, literal := x.(*ast.StringNode); literal {
		x, y = y, x
	}
	name, plain := nameOf(x)
	i, ok := r.book.FactIndex(name)
	if !plain || !ok {
		return always
	}
	if word, literal := y.(*ast.StringNode); literal {
		return r.hasWord(i, word.Value, w)
	}
	other, plain := nameOf(y)
	j, ok := r.book.FactIndex(other)
	if !plain || !ok || r.book.Facts[i].Of == nil || r.book.Facts[j].Of == nil {
		return always
	}
	var ways []claim
	for _, word := range r.book.Facts[i].Of {
		v := isTrue
		if w == isFalse || w == notTrue {
			v = isFalse
		}
		ways = append(ways, both(one(literal{fact: i, words: []string{word}}), r.hasWord(j, word, v)))
	}
	return r.orUnknown(oneOf(ways...), w, i, j)
}

func (r *reasoner) hasWord(i int, word string, w want) claim {
	if w == isTrue || w == notFalse {
		return r.orUnknown(one(literal{fact: i, words: []string{word}}), w, i)
	}
	f := r.book.Facts[i]
	if f.Kind == Text || f.Of == nil {
		return always
	}
	var rest []string
	for _, o := range f.Of {
		if o != word {
			rest = append(rest, o)
		}
	}
	if len(rest) == 0 {
		return r.orUnknown(impossible, w, i)
	}
	return r.orUnknown(one(literal{fact: i, words: rest}), w, i)
}
