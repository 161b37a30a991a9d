package engine

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing/fstest"

	"coilside/rules"
)

// generated is a random rulebook and what its maker knows about it.
type generated struct {
	text  string
	facts []fakeFact
	rules []fakeRule
}

type fakeFact struct {
	id, unit string
	kind     rules.Kind
}

type fakeRule struct {
	id    string
	reads map[string]bool
	sets  map[string]bool
	over  []int
}

var choiceWords = []string{"x", "y", "z"}

// generator writes well-typed rulebooks. A rule mostly sets facts that come
// after those it reads, so that most books have no loop and some do.
type generator struct {
	*rand.Rand
	out    generated
	values []string // expressions set by the rule being written
	limit  int      // facts before this one may be read
}

func newGenerator(seed uint64) *generator {
	g := &generator{Rand: rand.New(rand.NewPCG(seed, 1))}
	for i := range 4 {
		n := strconv.Itoa(i)
		g.out.facts = append(g.out.facts,
			fakeFact{"flag" + n, "", rules.Bool}, fakeFact{"volts" + n, "volt", rules.Number},
			fakeFact{"word" + n, "", rules.Choice}, fakeFact{"ohms" + n, "ohm", rules.Number})
	}
	g.Shuffle(len(g.out.facts), func(i, j int) { g.out.facts[i], g.out.facts[j] = g.out.facts[j], g.out.facts[i] })
	return g
}

// book writes a whole rulebook of so many rules.
func (g *generator) book(count int) generated {
	var b strings.Builder
	b.WriteString("parameters:\n  - {id: limit, value: 2.5, unit: volt, source: practice}\nfacts:\n")
	for _, f := range g.out.facts {
		switch {
		case f.kind == rules.Choice:
			fmt.Fprintf(&b, "  - {id: %s, of: [x, y, z]}\n", f.id)
		case f.id == "volts0":
			fmt.Fprintf(&b, "  - {id: %s, unit: volt, range: [-2, 2]}\n", f.id)
		default:
			fmt.Fprintf(&b, "  - {id: %s, kind: %s, unit: %q}\n", f.id, f.kind, f.unit)
		}
	}
	b.WriteString("suspects:\n")
	for _, id := range []string{"a.one", "a.two", "b.one"} {
		fmt.Fprintf(&b, "  - {id: %s}\n", id)
	}
	b.WriteString("tests:\n")
	for _, id := range []string{"quiz1", "quiz2"} {
		fmt.Fprintf(&b, "  - {id: %s, measure: {mode: ask}, of: [a, b], say: Say.}\n", id)
	}
	b.WriteString("rules:\n")
	for i := range count {
		b.WriteString(g.rule(i))
	}
	g.out.text = b.String()
	return g.out
}

func (g *generator) rule(i int) string {
	g.values = nil
	g.limit = 1 + g.IntN(len(g.out.facts))
	r := fakeRule{id: fmt.Sprintf("rule%02d", i), sets: map[string]bool{}}
	when := g.truth(3)
	var then []string
	for range 1 + g.IntN(2) {
		then = append(then, g.action(&r))
	}
	r.reads = map[string]bool{}
	for _, word := range words(strings.Join(append(g.values, when), " ")) {
		r.reads[word] = true
	}
	over := ""
	for j, other := range g.out.rules {
		if g.IntN(3) == 0 && overlaps(r.sets, other.sets) {
			r.over = append(r.over, j)
			over = fmt.Sprintf("    over: [%s]\n", strings.Join(append(names(g.out.rules, r.over[:len(r.over)-1]), other.id), ", "))
		}
	}
	g.out.rules = append(g.out.rules, r)
	return fmt.Sprintf("  - id: %s\n    when: %q\n    then: [%s]\n    because: a reason\n%s", r.id, when, strings.Join(then, ", "), over)
}

func names(list []fakeRule, of []int) []string {
	out := make([]string, len(of))
	for i, j := range of {
		out[i] = list[j].id
	}
	return out
}

func overlaps(a, b map[string]bool) bool {
	for x := range a {
		if b[x] {
			return true
		}
	}
	return false
}

func (g *generator) action(r *fakeRule) string {
	switch g.IntN(8) {
	case 0:
		return fmt.Sprintf("{do: weigh, suspects: [%s], by: %d}", g.pick("a.one", "a.*", "b.one"), 2+g.IntN(30))
	case 1:
		return fmt.Sprintf("{do: %s, tests: [%s]}", g.pick("forbid", "require"), g.pick("quiz1", "quiz*"))
	case 2:
		return fmt.Sprintf("{do: %s, say: Mind.}", g.pick("advise", "caution"))
	case 3:
		return g.pick("{do: rule_out, suspects: [a.two]}", "{do: prefer, tests: [quiz2], by: 0.5}")
	}
	at := g.limit + g.IntN(len(g.out.facts)) // mostly after what it reads
	if g.IntN(25) == 0 {
		at = g.IntN(len(g.out.facts))
	}
	if at >= len(g.out.facts) {
		at = len(g.out.facts) - 1 - g.IntN(min(3, len(g.out.facts)-g.limit+1))
	}
	f := g.out.facts[at]
	if r.sets[f.id] {
		return "{do: advise, say: Again.}"
	}
	r.sets[f.id] = true
	value := g.value(f)
	g.values = append(g.values, value)
	return fmt.Sprintf("{do: set, fact: %s, to: %q}", f.id, value)
}

func (g *generator) pick(of ...string) string { return of[g.IntN(len(of))] }

// value writes an expression of a fact's type.
func (g *generator) value(f fakeFact) string {
	switch f.kind {
	case rules.Bool:
		if g.IntN(2) == 0 {
			return g.pick("true", "false")
		}
		return g.truth(2)
	case rules.Number:
		return g.number(f.unit, 2)
	}
	return g.word(1)
}

// fact reads a fact of a type, if one may be read.
func (g *generator) fact(kind rules.Kind, unit string) (string, bool) {
	var fit []string
	for _, f := range g.out.facts[:g.limit] {
		if f.kind == kind && f.unit == unit {
			fit = append(fit, f.id)
		}
	}
	if len(fit) == 0 {
		return "", false
	}
	return fit[g.IntN(len(fit))], true
}

// truth writes a condition of at most so many levels.
func (g *generator) truth(depth int) string {
	if depth == 0 {
		if id, ok := g.fact(rules.Bool, ""); ok && g.IntN(4) > 0 {
			return id
		}
		return g.pick("true", "false", `"x" == "x"`)
	}
	switch g.IntN(9) {
	case 0, 1:
		return fmt.Sprintf("(%s %s %s)", g.truth(depth-1), g.pick("and", "or", "&&", "||"), g.truth(depth-1))
	case 2:
		return fmt.Sprintf("%s (%s)", g.pick("not", "!"), g.truth(depth-1))
	case 3, 4:
		unit := g.pick("volt", "ohm")
		return fmt.Sprintf("(%s %s %s)", g.number(unit, depth-1), g.pick("<", "<=", ">", ">=", "==", "!="), g.number(unit, depth-1))
	case 5:
		return fmt.Sprintf("(%s %s %s)", g.word(depth-1), g.pick("==", "!="), g.word(0))
	case 6:
		return fmt.Sprintf(`(%s %s ["x", "%s"])`, g.word(depth-1), g.pick("in", "not in"), g.pick("y", "z"))
	case 7:
		f := g.out.facts[g.IntN(g.limit)]
		return fmt.Sprintf("known(%s)", f.id)
	}
	return fmt.Sprintf("(%s ? %s : %s)", g.truth(depth-1), g.truth(depth-1), g.truth(depth-1))
}

func (g *generator) number(unit string, depth int) string {
	if depth == 0 {
		if id, ok := g.fact(rules.Number, unit); ok && g.IntN(4) > 0 {
			return id
		}
		// Written as fractions: the expression language's own machine fails on some
		// mixes of whole and fractional constants in min and max.
		return g.pick("0.0", "1.0", "2.5", "-3.0")
	}
	switch g.IntN(6) {
	case 0:
		return fmt.Sprintf("(%s %s %s)", g.number(unit, depth-1), g.pick("+", "-"), g.number(unit, depth-1))
	case 1:
		return fmt.Sprintf("%s * %s", g.pick("2.0", "0.5", "-1.0"), g.number(unit, 0))
	case 2:
		return fmt.Sprintf("%s(%s, %s)", g.pick("min", "max"), g.number(unit, depth-1), g.number(unit, depth-1))
	case 3:
		return fmt.Sprintf("%s(%s)", g.pick("abs", "round"), g.number(unit, depth-1))
	case 4:
		return fmt.Sprintf("(%s ? %s : %s)", g.truth(depth-1), g.number(unit, depth-1), g.number(unit, depth-1))
	}
	if unit == "volt" && g.IntN(3) == 0 {
		return "limit"
	}
	return g.number(unit, 0)
}

func (g *generator) word(depth int) string {
	id, ok := g.fact(rules.Choice, "")
	switch {
	case ok && depth > 0 && g.IntN(3) == 0:
		return fmt.Sprintf("(%s ? %s : %s)", g.truth(depth-1), id, g.word(0))
	case ok && g.IntN(4) > 0:
		return id
	}
	return strconv.Quote(g.pick(choiceWords...))
}

// input draws a value that fits a fact.
func (g *generator) input(f fakeFact) rules.Value {
	switch f.kind {
	case rules.Bool:
		return rules.BoolValue(g.IntN(2) == 0)
	case rules.Number:
		if f.id == "volts0" { // has a range
			return rules.NumberValue(float64(g.IntN(9)-4) / 2)
		}
		return rules.NumberValue(float64(g.IntN(15)-7) / 2)
	}
	return rules.ChoiceValue(choiceWords[g.IntN(3)])
}

// loops says whether the facts feed each other, by reachability.
func (b *generated) loops() bool {
	reach := map[string]map[string]bool{}
	for _, f := range b.facts {
		reach[f.id] = map[string]bool{}
	}
	for _, r := range b.rules {
		for from := range r.reads {
			if reach[from] == nil {
				continue // not a fact
			}
			for to := range r.sets {
				reach[from][to] = true
			}
		}
	}
	for _, k := range b.facts {
		for _, i := range b.facts {
			for _, j := range b.facts {
				if reach[i.id][k.id] && reach[k.id][j.id] {
					reach[i.id][j.id] = true
				}
			}
		}
	}
	for _, f := range b.facts {
		if reach[f.id][f.id] {
			return true
		}
	}
	return false
}

func loadText(text string) (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "generated", FS: fstest.MapFS{"a.yaml": {Data: []byte(text)}}})
}
