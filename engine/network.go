package engine

import (
	"math"
	"sort"

	"coilside/rules"
)

// gateState is how a gate stands in one Memory: the count of its members that are unknown,
// false and true, a byte each from the lowest, and in the highest byte its own truth. A
// condition has at most 200 parts, so a byte counts them.
type gateState uint32

const ownTruth = 24 // bits below a gate's own truth

func (s gateState) truth() rules.Truth { return rules.Truth(s >> ownTruth) }

func (s gateState) has(member rules.Truth) bool { return uint8(s>>(8*member&31)) > 0 }

// one is a single member of a truth, to be added or taken away.
func one(member rules.Truth) gateState { return 1 << (8 * member & 31) }

// decided is the state with the gate's own truth worked out anew; one member with the truth
// `decides` settles it.
func (s gateState) decided(decides rules.Truth) gateState {
	truth := rules.True + rules.False - decides
	switch {
	case s.has(decides):
		truth = decides
	case s.has(rules.Unknown):
		truth = rules.Unknown
	}
	return s&(1<<ownTruth-1) | gateState(truth)<<ownTruth
}

func (m *Memory) fires(rule int32) bool { return m.gates[rule].truth() == rules.True }

// put makes a cell the state of a fact and takes the change to whatever reads it.
func (m *Memory) put(fact int32, cell rules.Cell) {
	on := &m.facts[fact]
	switch {
	case on.worded:
		m.putWord(on, rules.Word{Text: cell.Text, Known: cell.Known})
	case cell.Known:
		m.putNumber(on, cell.Number)
	default:
		m.putNumber(on, math.NaN())
	}
}

// putNumber looks at the tests that can turn: those whose constant lies between the two
// values, or all when one of them is unknown.
func (m *Memory) putNumber(on *factTable, is float64) {
	was := m.frame.Numbers[on.place]
	if is == was || is != is && was != was {
		return
	}
	m.frame.Numbers[on.place] = is
	tests := m.numbers[on.numbers.from:on.numbers.to]
	if was == was && is == is {
		low, high := min(was, is), max(was, is)
		tests = tests[from(tests, low):]
		tests = tests[:above(tests, high)]
	}
	m.looked += len(tests)
	for i := range tests {
		t := &tests[i]
		before, after := t.op.Of(rules.Stands(was, t.constant)), t.op.Of(rules.Stands(is, t.constant))
		if before != after {
			m.turn(t.gate, before, after)
		}
	}
	if on.evaluated {
		m.evaluateReaders(on)
	}
}

// from counts the tests whose constant is below a value; above, those up to it.
func from(tests []numberTest, low float64) int {
	return sort.Search(len(tests), func(i int) bool { return tests[i].constant >= low })
}

func above(tests []numberTest, high float64) int {
	return sort.Search(len(tests), func(i int) bool { return tests[i].constant > high })
}

func (m *Memory) putWord(on *factTable, is rules.Word) {
	was := m.frame.Words[on.place]
	if is == was {
		return
	}
	m.frame.Words[on.place] = is
	for i := on.words.from; i < on.words.to; i++ {
		m.looked++
		t := &m.words[i]
		before, after := t.op.Of(rules.StandsAs(was, t.constant)), t.op.Of(rules.StandsAs(is, t.constant))
		if before != after {
			m.turn(t.gate, before, after)
		}
	}
	if on.evaluated {
		m.evaluateReaders(on)
	}
}

// evaluateReaders looks anew at whatever reads a changed fact and is no plain comparison.
func (m *Memory) evaluateReaders(on *factTable) {
	for i := on.readers.from; i < on.readers.to; i++ {
		m.looked++
		id := m.readers[i]
		w := &m.Program.wholes[id]
		if is, was := w.truth(&m.frame), m.wholes[id]; is != was {
			m.wholes[id] = is
			m.turn(w.gate, was, is)
		}
	}
	for i := on.feeds.from; i < on.feeds.to; i++ {
		if f := m.feeds[i]; m.fires(f.rule) {
			m.work.add(f.rank)
		}
	}
}

// turn tells a gate that a member went from one truth to another, and so on upwards as far
// as that changes a truth. A rule that begins or ceases to fire puts its facts on the agenda.
func (m *Memory) turn(g int32, was, is rules.Truth) {
	gates := m.Program.gates
	for {
		at, before := &gates[g], m.gates[g]
		after := (before - one(was) + one(is)).decided(at.decides)
		m.gates[g] = after
		was, is = before.truth(), after.truth()
		if was == is {
			return
		}
		if at.parent < 0 {
			break
		}
		g = at.parent
	}
	if was == rules.True || is == rules.True {
		marks := gates[g].marks
		for _, rank := range m.marks[marks.from:marks.to] {
			m.work.add(rank)
		}
	}
}

// fromNothing gives the Memory that every other one of this program starts from.
func (p *Program) fromNothing() *Memory {
	m := &Memory{
		Program: p,
		frame:   p.book.NewFrame(),
		gates:   make([]gateState, len(p.gates)),
		wholes:  make([]rules.Truth, len(p.wholes)),
		given:   given{latest: make([]int32, len(p.facts))},
		work:    newAgenda(len(p.order)),
	}
	m.countMembers()
	for g := len(p.gates) - 1; g >= 0; g-- { // a gate stands before those that feed it
		m.gates[g] = m.gates[g].decided(p.gates[g].decides)
		if parent := p.gates[g].parent; parent >= 0 {
			m.gates[parent] += one(m.gates[g].truth())
		}
	}
	for _, rule := range p.late { // they have no members and never fire here
		m.gates[rule] = gateState(rules.Unknown) << ownTruth
	}
	for rank := range p.order {
		m.work.add(int32(rank))
	}
	m.settle()
	return m
}

// countMembers counts how the comparisons and wholes stand with nothing known.
func (m *Memory) countMembers() {
	for _, t := range m.numbers {
		m.gates[t.gate] += one(t.op.Of(rules.Stands(math.NaN(), t.constant)))
	}
	for _, t := range m.words {
		m.gates[t.gate] += one(t.op.Of(rules.StandsAs(rules.Word{}, t.constant)))
	}
	for i, w := range m.Program.wholes {
		m.wholes[i] = w.truth(&m.frame)
		m.gates[w.gate] += one(m.wholes[i])
	}
}
