package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// pattern reports a pattern of suspects or tests that matches nothing.
func (k *checker) pattern(kind, pattern string, at spot) []string {
	match, all := k.book.MatchSuspects, k.book.suspectIDs
	if kind == "test" {
		match, all = k.book.MatchTests, k.book.testIDs
	}
	ids := match(pattern)
	if len(ids) > 0 {
		return ids
	}
	hint := didYouMean(strings.ReplaceAll(pattern, "*", ""), all())
	if !strings.Contains(pattern, "*") {
		k.add(at, CodeName, fmt.Sprintf("no %s is called %q", kind, pattern), didYouMean(pattern, all()))
		return nil
	}
	if hint == "" {
		hint = "* stands for any run of characters"
	}
	k.add(at, CodePattern, fmt.Sprintf("%q matches no %s", pattern, kind), hint)
	return nil
}

// maxNamed bounds what all patterns of a book together may stand for.
const maxNamed = 5_000_000

// patterns resolves a list field, each id once, in book order.
func (k *checker) patterns(kind, field string, list []string, at spots) []string {
	chosen := map[string]bool{}
	for i, pattern := range list {
		for _, id := range k.pattern(kind, pattern, at.item(field, i)) {
			chosen[id] = true
		}
	}
	all := k.book.suspectIDs()
	if kind == "test" {
		all = k.book.testIDs()
	}
	out := make([]string, 0, len(chosen))
	for _, id := range all {
		if chosen[id] {
			out = append(out, id)
		}
	}
	if k.named += len(out); k.named > maxNamed {
		k.add(at.of(field), CodeBudget, fmt.Sprintf("the patterns of this rulebook stand for more than %d names", maxNamed), "use fewer rules with *")
		return nil
	}
	return out
}

// item gives the place of one member of a list field.
func (s spots) item(field string, i int) spot {
	at := s.of(field)
	if at.node != nil && at.node.Kind == yaml.SequenceNode && i < len(at.node.Content) {
		return at.child(at.node.Content[i])
	}
	return at
}

func (k *checker) complaint(c *Complaint) {
	for _, at := range c.patterns {
		k.pattern("suspect", at.node.Value, at)
	}
	for i, id := range c.Prove {
		if _, ok := k.book.Test(id); !ok {
			k.add(c.at.item("prove", i), CodeName, fmt.Sprintf("no test is called %q", id), didYouMean(id, k.book.testIDs()))
		}
	}
}

func (k *checker) suspect(s *Suspect) {
	words := k.elementWords(s.Element)
	s.Words = strings.ReplaceAll(s.Words, "{element}", words)
	s.Repair.Do = strings.ReplaceAll(s.Repair.Do, "{element}", words)
	for i := range s.Repair.Check {
		s.Repair.Check[i] = strings.ReplaceAll(s.Repair.Check[i], "{element}", words)
	}
	in := *k.all
	in.suspects = nil
	k.formula(s.When, &in, Bool, unit{})
	k.hangsOnOne(s)
	for i := range s.Does {
		k.effect(&s.Does[i], &in)
	}
	if _, ok := k.book.Test(s.Repair.Verify); s.Repair.Verify != "" && !ok {
		k.add(s.Repair.at.of("verify"), CodeName, fmt.Sprintf("no test is called %q", s.Repair.Verify), didYouMean(s.Repair.Verify, k.book.testIDs()))
	}
}

// hangsOnOne sees to it that a suspect's condition ties no unknown that is free of all others
// to another one: how often it can occur is then the product of two shares.
func (k *checker) hangsOnOne(s *Suspect) {
	if s.When == nil || len(s.When.names) < 2 {
		return
	}
	for _, c := range k.book.Circuits {
		free := c.Beside(s.When)
		if free == "" {
			continue
		}
		other := s.When.Names()[0]
		if other == free {
			other = s.When.Names()[1]
		}
		k.add(s.at.of("when"), CodeValue, fmt.Sprintf("this hangs on %s and on %s; %s does not shape the circuit, and a condition on it may hang on nothing else", free, other, free),
			fmt.Sprintf("keep the condition on %s, and leave the other to a rule that weighs %s", free, s.ID))
		return
	}
}

// elementWords gives what the element is called in words.
func (k *checker) elementWords(id string) string {
	for _, c := range k.book.Circuits {
		if e := c.element(id); e != nil && e.Words != "" {
			return e.Words
		}
	}
	return strings.ReplaceAll(id, "_", " ")
}

func (k *checker) effect(e *Effect, in *scope) {
	if e.To != "" {
		k.effectTarget(e)
	}
	if e.Rewire != "" {
		k.rewired(e)
	}
	ohm, _ := parseUnit("ohm")
	k.spread(e.Pulse, in, unit{})
	k.spread(e.AddOhms, in, ohm)
	k.spread(e.Ohms, in, ohm)
	k.spread(e.By, in, unit{})
	k.spread(e.ComesAnd, in, unit{})
	k.chances(e.ComesAnd)
	for i := range e.OneOf {
		k.effect(&e.OneOf[i], in)
	}
	for i := range e.AllOf {
		k.effect(&e.AllOf[i], in)
	}
}

// chances checks that the constants of a spread of chances are some, 0..1.
func (k *checker) chances(s *Spread) {
	if s == nil {
		return
	}
	for _, f := range slices.Concat([]*Formula{s.Exactly, s.About}, s.Between, s.Even) {
		if f == nil || f.op == nil || !f.op.constant {
			continue
		}
		if v, known := f.op.number(nil); known && (v < 0 || v > 1) {
			k.add(f.at, CodeValue, fmt.Sprintf("a chance can't be %v", v), "give a part of the readings, from 0 to 1")
		}
	}
}

func (k *checker) rewired(e *Effect) {
	var known []string
	for _, c := range k.book.Circuits {
		known = append(known, c.surroundingIDs()...)
	}
	if !slices.Contains(known, e.Rewire) {
		k.add(e.at.of("rewire"), CodeName, fmt.Sprintf("no circuit has surroundings %q", e.Rewire), didYouMean(e.Rewire, known))
	}
}

func (k *checker) effectTarget(e *Effect) {
	var parts []string
	var found *Element
	for _, c := range k.book.Circuits {
		parts = append(parts, c.partIDs()...)
		if part := c.element(e.To); part != nil {
			found = part
		}
	}
	switch {
	case found == nil:
		k.add(e.at.of("to"), CodeName, fmt.Sprintf("no circuit has a part %q", e.To), didYouMean(e.To, parts))
	case e.Scale != "" && !slices.Contains(found.order, e.Scale) && !impliedValue(found.Kind, e.Scale):
		k.add(e.at.of("scale"), CodeName, fmt.Sprintf("part %q has no value %q", e.To, e.Scale), didYouMean(e.Scale, found.order))
	}
}

// impliedValue lets an effect on the armature scale what the coil states, and
// one on the coil scale what it needs as a whole.
func impliedValue(kind, value string) bool {
	switch kind {
	case "armature":
		return slices.Contains([]string{"pull_in", "drop_out"}, value)
	case "coil":
		return slices.Contains([]string{"volts", "ohms"}, value)
	}
	return false
}

// drawn is the scope of what a circuit has of its own: its wiring, the names that follow, its
// quantities, and parameters. What is only told of a job is not in it.
func (k *checker) drawn() *scope {
	own := map[string]bool{}
	for _, c := range k.book.Circuits {
		for _, w := range c.Wiring {
			own[w.ID] = true
		}
		for _, n := range c.Names {
			own[n.ID] = true
		}
		for _, q := range c.Vary {
			own[q.ID] = true
		}
	}
	in := *k.all
	in.suspects, in.names = nil, maps.Clone(k.all.names)
	maps.DeleteFunc(in.names, func(id string, s *symbol) bool { return s.constant == nil && !own[id] })
	return &in
}

func (k *checker) test(t *Test) {
	in := *k.all
	in.suspects = nil
	k.formula(t.When, &in, Bool, unit{})
	k.roles(t)
	k.touches(t)
	k.spread(t.Reads, k.drawn(), unit{free: true})
	if t.Reads != nil && t.Reads.Spread.op != nil && !t.Reads.Spread.Constant() {
		k.add(t.Reads.Spread.at, CodeValue, "how far an answer may be off is a number here, the same for all circuits", "spread: 0.15")
	}
	for i := range t.Expect {
		e := &t.Expect[i]
		for j, pattern := range e.Suspects {
			k.pattern("suspect", pattern, e.at.item("suspects", j))
		}
		k.expected(t, e)
	}
}

// expected checks the answers of a hand-given likelihood against the test's own.
func (k *checker) expected(t *Test, e *Expect) {
	answers := t.Answers()
	if e.Number != nil {
		if answers != nil {
			k.add(e.at.of("number"), CodeType, fmt.Sprintf("%q answers with a word, not a number", t.ID), "use \"answers\"")
			return
		}
		u, _ := parseUnit(t.Measure.Mode.Unit())
		facts := *k.facts // what the circuit draws is nothing to figures beside it
		facts.suspects = nil
		k.spread(e.Number, &facts, u)
		return
	}
	for _, at := range e.words {
		switch {
		case answers == nil:
			k.add(at, CodeType, fmt.Sprintf("%q answers with a number", t.ID), "use \"number\"")
		case !slices.Contains(answers, at.node.Value):
			k.add(at, CodeChoice, fmt.Sprintf("%q is not an answer of %q", at.node.Value, t.ID), didYouMean(at.node.Value, answers))
		}
	}
}

// roles reports {names} in places and words that no circuit declares.
func (k *checker) roles(t *Test) {
	var known []string
	for _, c := range k.book.Circuits {
		for _, d := range c.Names {
			known = append(known, d.ID)
		}
	}
	check := func(at spot) {
		if at.node == nil || at.node.Kind != yaml.ScalarNode {
			return
		}
		for _, m := range placeholder.FindAllStringSubmatchIndex(at.node.Value, -1) {
			name := at.node.Value[m[2]:m[3]]
			if !slices.Contains(known, name) {
				from := len([]rune(at.node.Value[:m[0]]))
				k.addRange(at, from, from+len([]rune(name))+2, CodeName, fmt.Sprintf("{%s} is not a name of any circuit", name), didYouMean(name, known))
			}
		}
	}
	for _, field := range []string{"say", "why", "words"} {
		if at, ok := t.at.field(field); ok {
			check(at)
		}
	}
	if at, ok := t.at.field("measure"); ok && at.node.Kind == yaml.MappingNode {
		for i := 1; i < len(at.node.Content); i += 2 {
			check(at.child(at.node.Content[i]))
		}
	}
}

func (k *checker) rule(r *Rule) {
	k.condition(r.When, Bool)
	if r.When != nil {
		r.Late = r.When.late
	}
	for i := range r.Then {
		k.action(&r.Then[i])
	}
	k.links(r)
	k.stages(r)
}

func (k *checker) action(a *Action) {
	switch a.Do {
	case Set:
		k.set(a)
	case Weigh, RuleOut:
		a.Suspects = k.patterns("suspect", "suspects", a.Suspects, a.at)
	case Require, Forbid, Prefer:
		a.Tests = k.patterns("test", "tests", a.Tests, a.at)
	}
}

func (k *checker) set(a *Action) {
	f, ok := k.book.Fact(a.Fact)
	if !ok {
		if a.Fact != "" {
			k.add(a.at.of("fact"), CodeName, fmt.Sprintf("no fact is called %q", a.Fact), didYouMean(a.Fact, k.factIDs()))
		}
		return
	}
	if a.To == nil {
		return
	}
	if (f.Kind == Choice || f.Kind == Text) && k.bareWord(a.To, f) {
		return
	}
	op := k.condition(a.To, "")
	if op == nil {
		return
	}
	want := f.Kind
	if want == Text {
		want = Choice
	}
	u, _ := parseUnit(f.Unit)
	switch {
	case op.kind != want:
		k.add(a.To.at, CodeType, fmt.Sprintf("fact %q takes %s, but this is %s", f.ID, kindWords(want), op.describe()), "")
	case want == Number && !f.loose && !op.unit.same(u):
		k.add(a.To.at, CodeUnit, fmt.Sprintf("fact %q is in %s, but this is in %s", f.ID, u, op.unit), fmt.Sprintf("give it in %s", u))
	case f.Kind == Choice && op.literal && !slices.Contains(f.Of, op.of[0]):
		k.add(a.To.at, CodeChoice, fmt.Sprintf("fact %q is never %q", f.ID, op.of[0]), didYouMean(op.of[0], f.Of))
	}
}

// bareWord lets `to: ground` stand for the choice "ground".
func (k *checker) bareWord(c *Condition, f *Fact) bool {
	if f.Kind != Choice || !slices.Contains(f.Of, c.source) {
		return false
	}
	c.op = constantText(c.source)
	return true
}
