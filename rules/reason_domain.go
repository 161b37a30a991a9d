package rules

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"
)

// newReasoner prepares a book. settable says which facts may come from elsewhere than rules.
func newReasoner(b *Book, o ReviewOptions) *reasoner {
	r := &reasoner{book: b, opaques: map[string]int{}, claims: map[wholeKey]claim{}, binaries: map[nodeKey]claim{}}
	r.settable = settableFacts(b, o)
	for _, f := range b.Facts {
		r.domains = append(r.domains, numberDomain(f))
	}
	for _, t := range b.Tests {
		for _, id := range t.SetFacts() {
			if i, ok := b.FactIndex(id); ok {
				r.domains[i] = readingDomain(t, b.Facts[i], o)
			}
		}
	}
	r.setters = make([][]setter, len(b.Facts))
	for _, rule := range b.Rules {
		for _, a := range rule.Then {
			if i, ok := b.FactIndex(a.Fact); ok && a.Do == Set && !r.settable[i] {
				r.setters[i] = append(r.setters[i], setter{rule, constantWord(a.To, b.Facts[i])})
			}
		}
	}
	return r
}

func numberDomain(f *Fact) domain {
	if f.Kind != Number {
		return anyNumber
	}
	d := anyNumber
	if f.Range != [2]float64{} {
		d.low, d.high = f.Range[0], f.Range[1]
	}
	for _, of := range f.Of {
		if v, err := strconv.ParseFloat(of, 64); err == nil {
			d.points = append(d.points, v)
		}
	}
	return d
}

// readingDomain is what a meter can show in that mode; OL where it can be over range.
func readingDomain(t *Test, f *Fact, o ReviewOptions) domain {
	d := numberDomain(f)
	limits, ok := o.Readings[t.Measure.Mode]
	if !ok || f.Kind != Number {
		return d
	}
	d = d.meet(domain{low: limits[0], high: limits[1]})
	if t.Measure.Mode == Ohms || t.Measure.Mode == PullIn || t.Measure.Mode == DropOut {
		d.high = math.Inf(1)
	}
	return d
}

// constantWord gives the word that a set action always writes, as a list; nil when
// it depends.
func constantWord(to *Condition, f *Fact) []string {
	switch {
	case to == nil:
		return nil
	case to.node == nil && f.Kind == Choice:
		return []string{to.source}
	}
	switch n := to.node.(type) {
	case *ast.BoolNode:
		return []string{strconv.FormatBool(n.Value)}
	case *ast.StringNode:
		return []string{n.Value}
	}
	return nil
}

// settableFacts marks what a technician or a program may give: the opening, readings and
// answers, the wiring, and what plain words can say.
func settableFacts(b *Book, o ReviewOptions) []bool {
	out := make([]bool, len(b.Facts))
	mark := func(id string) {
		if i, ok := b.FactIndex(id); ok {
			out[i] = true
		}
	}
	mark(ComplaintFact)
	for _, id := range o.Given {
		mark(id)
	}
	for _, c := range b.Circuits {
		for _, w := range c.Wiring {
			mark(w.ID)
		}
	}
	for _, t := range b.Tests {
		for _, id := range t.SetFacts() {
			mark(id)
		}
	}
	for _, w := range b.Words {
		if id, _, says := strings.Cut(w.Means, "="); says {
			mark(id)
		}
	}
	return out
}

// plainFacts gives, for messages, the ids of facts by index.
func (r *reasoner) names(facts []int) []string {
	var out []string
	for _, i := range facts {
		out = append(out, r.book.Facts[i].ID)
	}
	slices.Sort(out)
	return slices.Compact(out)
}
