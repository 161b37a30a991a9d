package engine

import (
	"slices"

	"coilside/rules"
)

// Support is one fact that something stands on, and where it came from.
type Support struct {
	Fact  string
	Known bool
	Value rules.Value // when Known
	Given bool        // by Entry; else, when known, derived by Rules
	Entry int
	Rules []string // that derive the value, or that disagree about it when Conflict
	// Conflict says that the fact is unknown because rules derive different values.
	Conflict bool
}

// Firing is one rule whose condition is true.
type Firing struct {
	Rule    *rules.Rule
	Actions []rules.Action
	Behind  []Support // the facts its condition and values read, absent ones included
	entries []int
}

// Entries gives the log entries the rule stands on, directly or through facts
// that other rules derived; sorted. The opening of a job is an entry too.
func (f Firing) Entries() []int { return f.entries }

// Firings gives the first-stage rules that fire, in book order.
func (m *Memory) Firings() []Firing {
	var out []Firing
	for i, r := range m.book.Rules {
		if m.fires(int32(i)) {
			out = append(out, m.firing(r))
		}
	}
	return out
}

func (m *Memory) firing(r *rules.Rule) Firing {
	return Firing{Rule: r, Actions: r.Then, Behind: m.supports(r.Reads()), entries: m.entriesBehind(r.Reads())}
}

// entriesBehind gives the sorted entries among all that the facts stand on.
func (m *Memory) entriesBehind(facts []int) []int {
	var out []int
	for _, s := range m.chain(facts) {
		if s.Given {
			out = append(out, s.Entry)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Fires says whether a first-stage rule fires.
func (m *Memory) Fires(rule string) bool {
	i, ok := m.book.RuleIndex(rule)
	return ok && m.fires(int32(i))
}

// Late gives the second-stage rules that fire, in book order, with the ranking
// answering what is suspected and concluded.
func (m *Memory) Late(suspected, concluded func(suspect string) bool) []Firing {
	var out []Firing
	frame := m.frame
	frame.Suspected, frame.Concluded = suspected, concluded
	for _, i := range m.late {
		if r := m.book.Rules[i]; r.When.Truth(&frame) == rules.True {
			out = append(out, m.firing(r))
		}
	}
	return out
}

func (m *Memory) supports(facts []int) []Support {
	out := make([]Support, len(facts))
	for i, fact := range facts {
		out[i] = m.support(fact)
	}
	return out
}

func (m *Memory) support(fact int) Support {
	f := m.book.Facts[fact]
	s := Support{Fact: f.ID}
	if cell := m.frame.Cell(f); cell.Known {
		s.Known, s.Value = true, cell.Value(f.Kind)
	}
	if m.given.is(int32(fact)) {
		s.Given, s.Entry = true, m.given.topEntry(int32(fact))
		return s
	}
	standing := m.standing(fact)
	s.Conflict = !s.Known && len(standing) > 0
	for _, id := range standing {
		s.Rules = append(s.Rules, m.book.Rules[m.slots[id].rule].ID)
	}
	return s
}

// standing gives the slots that have a say about a fact and are not beaten.
func (m *Memory) standing(fact int) []int32 {
	var out []int32
	setters := m.facts[fact].setters
	for id := setters.from; id < setters.to; id++ {
		if m.say(int32(fact), id).Known && !m.beaten(int32(fact), id) {
			out = append(out, id)
		}
	}
	return out
}

// Claim is what one rule derives for a fact.
type Claim struct {
	Rule  string
	Value rules.Value
}

// Conflict is a fact left unknown because rules derive different values for it
// and none states that it goes over the others.
type Conflict struct {
	Fact   string
	Claims []Claim
}

// Conflicts gives the facts that rules disagree about, in book order.
func (m *Memory) Conflicts() []Conflict {
	var out []Conflict
	for fact, f := range m.book.Facts {
		if m.frame.Cell(f).Known || m.given.is(int32(fact)) {
			continue
		}
		standing := m.standing(fact)
		if len(standing) == 0 {
			continue
		}
		c := Conflict{Fact: f.ID}
		for _, id := range standing {
			c.Claims = append(c.Claims, Claim{m.book.Rules[m.slots[id].rule].ID, m.say(int32(fact), id).Value(f.Kind)})
		}
		out = append(out, c)
	}
	return out
}

// Why gives what a fact stands on, the fact itself first, then what its rules
// read, and so on down to what was given. Every fact appears once.
func (m *Memory) Why(fact string) []Support {
	start, ok := m.book.FactIndex(fact)
	if !ok {
		return nil
	}
	return m.chain([]int{start})
}

// chain gives the facts and everything they stand on, breadth first, each once.
func (m *Memory) chain(facts []int) []Support {
	var out []Support
	seen := make(map[int]bool)
	todo := slices.Clone(facts)
	for len(todo) > 0 {
		f := todo[0]
		todo = todo[1:]
		if seen[f] {
			continue
		}
		seen[f] = true
		s := m.support(f)
		out = append(out, s)
		for _, id := range s.Rules {
			r, _ := m.book.Rule(id)
			todo = append(todo, r.Reads()...)
		}
	}
	return out
}

// Part is one member of a condition and how it stands.
type Part struct {
	Source  string
	Truth   rules.Truth
	Facts   []Support
	Params  []string // parameters it reads
	Members []Part   // those of an `or`, where the part is one
}

// Diagnosis says how a rule's condition stands, part by part.
type Diagnosis struct {
	Rule  *rules.Rule
	Truth rules.Truth
	Parts []Part
}

// WhyNot tells which parts of a rule's condition are false or unknown, with the
// values they read; false when there is no such rule. What a second-stage rule
// asks of the ranking counts as unknown here.
func (m *Memory) WhyNot(rule string) (Diagnosis, bool) { return m.WhyNotOn(rule, nil, nil) }

// WhyNotOn is WhyNot with the ranking answering what is suspected and concluded.
func (m *Memory) WhyNotOn(rule string, suspected, concluded func(suspect string) bool) (Diagnosis, bool) {
	r, ok := m.book.Rule(rule)
	if !ok {
		return Diagnosis{}, false
	}
	frame := m.frame
	frame.Suspected, frame.Concluded = suspected, concluded
	return Diagnosis{Rule: r, Truth: r.When.Truth(&frame), Parts: m.partsOn(r.When.Parts(), &frame)}, true
}

func (m *Memory) partsOn(parts []rules.Part, frame *rules.Frame) []Part {
	var out []Part
	for _, p := range parts {
		out = append(out, Part{Source: p.Source, Truth: p.Truth(frame), Facts: m.supports(p.Reads), Params: p.Params,
			Members: m.partsOn(p.Members, frame)})
	}
	return out
}

// Given lists the entries that gave a value for a fact, lowest first; the last
// one counts.
func (m *Memory) Given(fact string) []int {
	i, ok := m.book.FactIndex(fact)
	if !ok {
		return nil
	}
	return m.given.all(int32(i))
}
