package rules

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// checker resolves every name of a merged book and compiles its expressions.
type checker struct {
	*problems
	book   *Book
	named  int      // suspects and tests that patterns stand for
	facts  *scope   // facts and parameters: what rules may read
	all    *scope   // and the names of every circuit
	places []string // that some wiring of some circuit has, sorted
	kept   *Loader
}

func check(m *merge, found *problems, kept *Loader) {
	b := m.book
	k := &checker{problems: found, book: b, kept: kept}
	k.parameters()
	k.declare()
	b.buildIndex()
	k.facts = k.factScope()
	k.all = k.facts
	kept.conditionsIn(k.facts, len(b.Rules))
	for _, c := range b.Circuits {
		k.all = k.circuit(c)
	}
	k.places = k.knownPlaces()
	each(k, b.Complaints, k.complaint)
	each(k, b.Suspects, k.suspect)
	each(k, b.Tests, k.test)
	k.switches(m.offs)
	k.safety(m.history, m.removed)
	k.changed(m)
	each(k, b.Rules, k.rule)
	each(k, b.Rules, func(r *Rule) { k.fixed(r, m) })
	k.precedence()
	k.order()
	b.used = k.facts.used
}

// maxErrors is how many errors are worth telling at once.
const maxErrors = 1_000

// each checks the items of a list, unless far too much is wrong already.
func each[T any](k *checker, items []T, check func(T)) {
	for _, item := range items {
		if len(k.list) >= maxErrors {
			return
		}
		check(item)
	}
}

// unitOf reads a unit field, reporting one that does not exist.
func (k *checker) unitOf(text string, at spots) unit {
	u, ok := parseUnit(text)
	if !ok {
		k.add(at.of("unit"), CodeUnit, fmt.Sprintf("%q is not a unit", text), didYouMean(text, Units()[:len(Units())-1]))
		return unit{free: true}
	}
	return u
}

func (k *checker) parameters() {
	for _, p := range k.book.Parameters {
		k.unitOf(p.Unit, p.at)
		k.plainName(p.ID, p.at)
	}
}

var (
	exprName = regexp.MustCompile(`^[a-z_][a-z0-9_]*(\.[a-z_][a-z0-9_]*)*$`)
	reserved = []string{
		"and", "or", "not", "in", "true", "false", "nil", "let", "matches", "contains",
		"known", "suspected", "concluded", "abs", "min", "max", "round",
	}
)

// plainName reports an id that an expression could not name.
func (k *checker) plainName(id string, at spots) {
	switch {
	case slices.Contains(reserved, id):
		k.add(at.of("id"), CodeValue, fmt.Sprintf("%q means something else in conditions", id), "choose another name")
	case !exprName.MatchString(id) && validID(id):
		k.add(at.of("id"), CodeValue, fmt.Sprintf("conditions could not name %q", id), "start it with a letter")
	}
}

func (k *checker) factScope() *scope {
	names := make(map[string]*symbol, len(k.book.Parameters)+len(k.book.Facts))
	for _, p := range k.book.Parameters {
		u, _ := parseUnit(p.Unit)
		value := p.Value
		names[p.ID] = &symbol{name: p.ID, kind: Number, unit: u, constant: &value, fact: -1}
	}
	for i, f := range k.book.Facts {
		if p, taken := names[f.ID]; taken && p.constant != nil {
			k.add(f.at.of("id"), CodeDuplicate, fmt.Sprintf("%q is a parameter already", f.ID), "choose another name")
		}
		names[f.ID] = k.factSymbol(i, f)
	}
	return &scope{names: names, suspects: k.book.MatchSuspects, known: k.book.suspectIDs(), used: map[string]bool{}}
}

func (k *checker) factSymbol(i int, f *Fact) *symbol {
	u, _ := parseUnit(f.Unit)
	if f.loose {
		u = unit{free: true}
	}
	s := &symbol{name: f.ID, kind: f.Kind, unit: u, fact: i, place: f.place}
	if f.Kind == Choice {
		s.of = f.Of
	}
	return s
}

// circuit checks one circuit and gives the scope with its names added. What an expression
// may name stands above it, so each name is added after what it is made of was checked.
func (k *checker) circuit(c *Circuit) *scope {
	in := k.all.copy()
	in.suspects = nil
	k.unique(c)
	for _, w := range c.Wiring {
		declared, ok := in.names[w.ID]
		if !ok { // it has no id
			continue
		}
		s := *declared
		s.of = w.Of
		if w.Number {
			s.of = nil
		}
		in.add(s)
	}
	for _, d := range c.Names {
		k.formula(d.Is, in, Choice, unit{})
		s := symbol{name: d.ID, kind: Choice, fact: -1}
		if d.Is != nil && d.Is.op != nil {
			s.of = d.Is.op.of
		}
		in.add(s)
	}
	for _, f := range c.Allow {
		k.formula(f, in, Bool, unit{})
	}
	for _, q := range c.Vary {
		u := k.unitOf(q.Unit, q.at)
		k.spread(&q.Value, in, u)
		k.formula(q.KnownSpread, in, Number, unit{free: true})
		if _, ok := k.book.Fact(q.Known); q.Known != "" && !ok {
			k.add(q.at.of("known"), CodeName, fmt.Sprintf("no fact is called %q", q.Known), didYouMean(q.Known, k.factIDs()))
		}
		in.used[q.Known] = true
		in.add(symbol{name: q.ID, kind: Number, unit: u, fact: -1})
	}
	for _, e := range c.Parts {
		for _, key := range e.order {
			s := e.Values[key]
			k.spread(&s, in, valueUnit(key))
		}
	}
	for _, chain := range c.allChains() {
		k.formula(chain.When, in, Bool, unit{})
		k.chain(c, chain)
	}
	c.shaping = c.findShaping()
	return in
}

// valueUnit gives the unit that the name of an element's value implies.
func valueUnit(key string) unit {
	for _, u := range []struct{ part, unit string }{
		{"ohms", "ohm"}, {"volts", "volt"}, {"amps", "ampere"}, {"celsius", "celsius"}, {"pull_in", "volt"}, {"drop_out", "volt"},
	} {
		if strings.Contains(key, u.part) {
			out, _ := parseUnit(u.unit)
			return out
		}
	}
	return unit{free: true}
}

// unique reports names declared twice inside one circuit.
func (k *checker) unique(c *Circuit) {
	seen := map[string]Pos{}
	note := func(kind, id string, at spots) {
		if id == "" {
			return
		}
		if first, twice := seen[kind+id]; twice {
			k.add(at.of("id"), CodeDuplicate, fmt.Sprintf("%q is declared twice in this circuit; the first is at %s", id, first), "")
			return
		}
		seen[kind+id] = at.of("id").pos()
	}
	for _, w := range c.Wiring {
		note("", w.ID, w.at)
	}
	for _, d := range c.Names {
		note("", d.ID, d.at)
		k.plainName(d.ID, d.at)
	}
	for _, q := range c.Vary {
		note("", q.ID, q.at)
		k.plainName(q.ID, q.at)
	}
	for _, e := range c.Parts {
		note("part ", e.ID, e.at)
	}
}

func (k *checker) spread(s *Spread, in *scope, u unit) {
	if s == nil {
		return
	}
	k.formula(s.Exactly, in, Number, u)
	k.formula(s.About, in, Number, u)
	k.formula(s.Spread, in, Number, unit{free: true})
	k.formula(s.PlusMinus, in, Number, u)
	for _, f := range s.Between {
		k.formula(f, in, Number, u)
	}
	for _, f := range s.Even {
		k.formula(f, in, Number, u)
	}
	k.numbers(s)
}

// numbers checks what can be checked of constants.
func (k *checker) numbers(s *Spread) {
	low := func(f *Formula, least float64, strict bool, what string) {
		if f == nil || f.op == nil || !f.op.constant {
			return
		}
		if v, known := f.op.number(nil); known && (v < least || strict && v == least) {
			k.add(f.at, CodeValue, fmt.Sprintf("%s can't be %v", what, v), "")
		}
	}
	low(s.Spread, 0, false, "a spread")
	low(s.PlusMinus, 0, false, "a spread")
	for _, f := range s.Between {
		low(f, 0, true, "an end of \"between\"")
	}
	for _, pair := range [][]*Formula{s.Between, s.Even} {
		if len(pair) == 2 && pair[0].Constant() && pair[1].Constant() {
			a, _ := pair[0].op.number(nil)
			low(pair[1], a, false, "the high end")
		}
	}
}

var placeholder = regexp.MustCompile(`\{([^{}]*)\}`)

// chain checks the elements and roles that a chain names.
func (k *checker) chain(c *Circuit, chain *Chain) {
	at := chain.at.of("chain")
	for i, step := range chain.Steps {
		from := strings.Index(at.node.Value, step)
		from = len([]rune(at.node.Value[:max(from, 0)]))
		to := from + len([]rune(step))
		roles := placeholder.FindAllStringSubmatch(step, -1)
		for _, m := range roles {
			k.role(c, m[1], at, from, to)
		}
		if i%2 == 1 && len(roles) == 0 && c.element(step) == nil {
			k.addRange(at, from, to, CodeName, fmt.Sprintf("this circuit has no part %q", step), didYouMean(step, c.partIDs()))
		}
	}
}

func (k *checker) role(c *Circuit, name string, at spot, from, to int) {
	known := make([]string, len(c.Names))
	for i, d := range c.Names {
		known[i] = d.ID
	}
	if !slices.Contains(known, name) {
		k.addRange(at, from, to, CodeName, fmt.Sprintf("{%s} is not a name of this circuit", name), didYouMean(name, known))
	}
}

func (c *Circuit) partIDs() []string {
	out := make([]string, len(c.Parts))
	for i, e := range c.Parts {
		out[i] = e.ID
	}
	return out
}

func (k *checker) factIDs() []string {
	out := make([]string, len(k.book.Facts))
	for i, f := range k.book.Facts {
		out[i] = f.ID
	}
	return out
}
