package engine

import (
	"fmt"
	"math"
	"slices"

	"coilside/rules"
)

// Memory is what is known about one job. After every call it is at the
// fixpoint: everything that follows from what was given has been derived. It is
// not safe for concurrent use.
type Memory struct {
	*Program
	frame  rules.Frame
	gates  []gateState
	wholes []rules.Truth
	given  given
	work   agenda
	looked int // parts of conditions looked at since New, to hold the engine to "only what a change touches"
}

// New gives an empty Memory over a book, at its fixpoint.
func New(book *rules.Book) *Memory { return Compile(book).Memory() }

// Memory gives an empty Memory at its fixpoint: rules may fire on absence alone.
func (p *Program) Memory() *Memory {
	m := *p.empty
	m.frame.Numbers, m.frame.Words = slices.Clone(m.frame.Numbers), slices.Clone(m.frame.Words)
	m.gates, m.wholes = slices.Clone(m.gates), slices.Clone(m.wholes)
	m.given.latest = slices.Clone(m.given.latest)
	m.work.words = slices.Clone(m.work.words)
	return &m
}

// Given is one value for a fact, under the number of the log entry that holds it.
type Given struct {
	Entry int
	Fact  string
	Value rules.Value
}

// Give states a value for a fact under the number of the log entry that holds
// it. The highest entry for a fact counts; lower ones stay and count again when
// it is taken back. The same entry and fact again replaces. The error says what
// does not fit: an unknown fact, the kind, the range, the choice.
func (m *Memory) Give(entry int, fact string, v rules.Value) error {
	i, err := m.fitFor(fact, v)
	if err != nil {
		return err
	}
	m.give(entry, i, v)
	m.settle()
	return nil
}

// GiveAll is Give for many values at once, which costs less than one after another. Either
// all are taken or, on an error, none.
func (m *Memory) GiveAll(list []Given) error {
	facts := make([]int32, len(list))
	for i, g := range list {
		var err error
		if facts[i], err = m.fitFor(g.Fact, g.Value); err != nil {
			return err
		}
	}
	m.given.grow(len(list))
	for i, g := range list {
		m.give(g.Entry, facts[i], g.Value)
	}
	m.settle()
	return nil
}

// fitFor gives the place of a fact that may have the value.
func (m *Memory) fitFor(fact string, v rules.Value) (int32, error) {
	i, ok := m.book.FactIndex(fact)
	if !ok {
		return 0, m.noFact(fact)
	}
	return int32(i), m.book.Facts[i].CheckValue(v)
}

func (m *Memory) give(entry int, fact int32, v rules.Value) {
	m.given.put(entry, fact, v.Cell())
	m.put(fact, m.given.top(fact))
}

func (m *Memory) noFact(fact string) error {
	ids := make([]string, len(m.book.Facts))
	for i, f := range m.book.Facts {
		ids[i] = f.ID
	}
	if near := rules.Nearest(fact, ids); near != "" {
		return fmt.Errorf("no fact is called %q; did you mean %q?", fact, near)
	}
	return fmt.Errorf("no fact is called %q", fact)
}

// TakeBack withdraws everything given under an entry, and all that stood on it.
// An entry that gave nothing changes nothing.
func (m *Memory) TakeBack(entry int) {
	m.given.remove(entry, func(fact int32) {
		if m.given.is(fact) {
			m.put(fact, m.given.top(fact))
		} else {
			m.put(fact, m.derive(fact))
		}
	})
	m.settle()
}

// Value gives what is known of a fact; false when it is unknown or not declared.
func (m *Memory) Value(fact string) (rules.Value, bool) {
	i, ok := m.book.FactIndex(fact)
	if !ok {
		return rules.Value{}, false
	}
	f := m.book.Facts[i]
	cell := m.frame.Cell(f)
	if !cell.Known {
		return rules.Value{}, false
	}
	return cell.Value(f.Kind), true
}

// Env gives all known facts by id, for formulas: float64, string or bool.
func (m *Memory) Env() map[string]any {
	env := make(map[string]any, 16)
	for _, f := range m.book.Facts {
		cell := m.frame.Cell(f)
		if !cell.Known {
			continue
		}
		switch f.Kind {
		case rules.Bool:
			env[f.ID] = cell.Number != 0
		case rules.Number:
			env[f.ID] = cell.Number
		default:
			env[f.ID] = cell.Text
		}
	}
	return env
}

// settle derives the facts on the agenda. A fact comes after all that it depends on, so one
// pass reaches the fixpoint.
func (m *Memory) settle() {
	for rank := m.work.take(); rank != nothing; rank = m.work.take() {
		m.rederive(&m.order[rank])
	}
}

// rederive makes what rules say of a fact its state, unless it is given.
func (m *Memory) rederive(d *derived) {
	switch {
	case m.given.is(d.fact):
	case d.sole < 0:
		m.put(d.fact, m.derive(d.fact))
	case m.fires(d.sole):
		m.putNumber(d.on, d.says)
	default:
		m.putNumber(d.on, math.NaN())
	}
}

// derive gives the value on which all rules that have a say agree; unknown when they differ.
func (m *Memory) derive(fact int32) rules.Cell {
	setters := m.facts[fact].setters
	var out rules.Cell
	for id := setters.from; id < setters.to; id++ {
		say := m.say(fact, id)
		if !say.Known || m.beaten(fact, id) {
			continue
		}
		if out.Known && out != say {
			return rules.Cell{}
		}
		out = say
	}
	return out
}

// say gives what a rule derives for a fact at present, unknown unless it fires.
func (m *Memory) say(fact, id int32) rules.Cell {
	s := &m.slots[id]
	switch {
	case !m.fires(s.rule):
		return rules.Cell{}
	case s.constant:
		return s.says
	}
	return fitting(m.book.Facts[fact], s.to.Cell(&m.frame))
}

// beaten says whether a rule that goes over this slot's rule has a say.
func (m *Memory) beaten(fact, id int32) bool {
	for _, over := range m.slots[id].under {
		if m.say(fact, over).Known {
			return true
		}
	}
	return false
}
