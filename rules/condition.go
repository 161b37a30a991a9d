package rules

import (
	"fmt"
	"slices"

	"github.com/expr-lang/expr/ast"
	"go.yaml.in/yaml/v3"
)

// Condition is a compiled expression over the facts of a book, three-valued. It
// is safe for concurrent use.
type Condition struct {
	source string
	at     spot
	op     *operand
	reads  []int
	late   bool
	params []string
	form   Form
	in     *scope   // of a rule's condition: what it was compiled in
	node   ast.Node // nil for a bare word
}

// Part is one member of a condition that is joined by `and`.
type Part struct {
	Source string
	Reads  []int // indexes into Book.Facts, sorted
	Params []string
	// Members are those of an `or`, where the part is one.
	Members []Part
	op      *operand
}

func (r *reader) condition(n *yaml.Node) *Condition {
	if n == nil {
		return nil
	}
	return &Condition{source: r.text(n, "an expression"), at: r.spot(n)}
}

// Source gives the text of the condition.
func (c *Condition) Source() string { return c.source }

// Reads gives the facts the condition reads, known() included, as sorted indexes
// into Book.Facts. Do not change it.
func (c *Condition) Reads() []int { return c.reads }

// Late says whether the condition asks suspected() or concluded().
func (c *Condition) Late() bool { return c.late }

// Form gives the condition of a rule taken apart. Do not change it.
func (c *Condition) Form() *Form { return &c.form }

// Constant says whether the value is the same whatever is known.
func (c *Condition) Constant() bool { return c.op.constant }

// Truth evaluates the condition of a rule.
func (c *Condition) Truth(f *Frame) Truth { return c.op.truth(f) }

// Parts gives the members joined by `and`, to tell which of them fails. They are compiled
// anew each time: few are ever asked for.
func (c *Condition) Parts() []Part {
	if c.in == nil {
		return nil
	}
	in := *c.in
	in.used = map[string]bool{} // the book's own is written while loading only
	return (&checker{facts: &in}).parts(c, c.node)
}

// Truth evaluates one part.
func (p Part) Truth(f *Frame) Truth { return p.op.truth(f) }

// Cell evaluates the value of a set action; an unknown value is the zero Cell.
func (c *Condition) Cell(f *Frame) Cell {
	switch {
	case c.op.truth != nil:
		switch c.op.truth(f) {
		case True:
			return Cell{Known: true, Number: 1}
		case False:
			return Cell{Known: true}
		}
	case c.op.number != nil:
		if v, known := c.op.number(f); known {
			return Cell{Known: true, Number: v}
		}
	default:
		if v, known := c.op.text(f); known {
			return Cell{Known: true, Text: v}
		}
	}
	return Cell{}
}

// condition compiles an expression over facts; want "" takes any type.
func (k *checker) condition(cond *Condition, want Kind) *operand {
	if cond == nil || cond.source == "" {
		return nil
	}
	if done := k.kept.compiled(want, cond.source); done != nil {
		at := cond.at
		*cond = *done
		cond.at = at
		return cond.op
	}
	c := k.factCompiler(cond, k.problems)
	node := c.parse()
	if node == nil {
		return nil
	}
	op := c.compile(node)
	if op == nil {
		return nil
	}
	if want != "" && op.kind != want {
		k.add(cond.at, CodeType, fmt.Sprintf("this should give %s, but it gives %s", kindWords(want), op.describe()), "compare it with something, with  ==  <  or  >")
		return nil
	}
	cond.op, cond.late, cond.reads, cond.params = op, c.late, factIndexes(c.reads), c.params
	cond.node = node
	if want == Bool {
		cond.in = k.facts
		cond.form = k.form(cond, node)
	}
	k.kept.keepCondition(want, cond)
	return op
}

func (k *checker) factCompiler(cond *Condition, to *problems) *compiler {
	return &compiler{problems: to, at: cond.at, scope: k.facts, source: cond.source, slot: func(s *symbol) int { return s.place }}
}

func factIndexes(of []*symbol) []int {
	if len(of) == 0 {
		return nil
	}
	out := make([]int, len(of))
	for i, s := range of {
		out[i] = s.fact
	}
	slices.Sort(out)
	return out
}

// parts compiles the members of the outermost `and` each on its own.
func (k *checker) parts(cond *Condition, node ast.Node) []Part {
	var out []Part
	for _, n := range conjuncts(node) {
		part := k.part(cond, n)
		if members := disjuncts(n); len(members) > 1 {
			for _, m := range members {
				part.Members = append(part.Members, k.part(cond, m))
			}
		}
		out = append(out, part)
	}
	return out
}

func (k *checker) part(cond *Condition, n ast.Node) Part {
	c := k.factCompiler(cond, &problems{})
	op := c.compile(n)
	from, to := c.span(n)
	return Part{Source: string([]rune(cond.source)[from:to]), Reads: factIndexes(c.reads), Params: c.params, op: op}
}

func conjuncts(n ast.Node) []ast.Node {
	if b, ok := n.(*ast.BinaryNode); ok && (b.Operator == "and" || b.Operator == "&&") {
		return append(conjuncts(b.Left), conjuncts(b.Right)...)
	}
	return []ast.Node{n}
}
