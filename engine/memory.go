package engine

import (
	"fmt"
	"slices"

	"coilside/rules"
)

// Memory is what is known about one job. After every call it is at the
// fixpoint: everything that follows from what was given has been derived. It is
// not safe for concurrent use.
type Memory struct {
	*Program
	frame    rules.Frame
	given    [][]input     // by fact, by rising entry
	truths   []rules.Truth // by rule: its condition
	says     []rules.Cell  // by slot: the value a firing rule derives
	conflict []bool        // by fact: rules derive different values and none goes first
	work     agenda
	looked   int // conditions evaluated since New, to hold the engine to "only what a change touches"
}

// input is one value given for a fact.
type input struct {
	entry int
	value rules.Value
}

// New gives an empty Memory over a book, at its fixpoint.
func New(book *rules.Book) *Memory { return Compile(book).Memory() }

// Memory gives an empty Memory at its fixpoint: rules may fire on absence alone.
func (p *Program) Memory() *Memory {
	m := &Memory{
		Program:  p,
		frame:    rules.Frame{Cells: make([]rules.Cell, len(p.book.Facts))},
		given:    make([][]input, len(p.book.Facts)),
		truths:   make([]rules.Truth, len(p.rules)),
		says:     make([]rules.Cell, len(p.slots)),
		conflict: make([]bool, len(p.book.Facts)),
		work:     newAgenda(p),
	}
	for i := range p.rules {
		if !p.rules[i].late {
			m.work.rule(int32(i), p.rules[i].level)
		}
	}
	m.settle()
	return m
}

// Give states a value for a fact under the number of the log entry that holds
// it. The highest entry for a fact counts; lower ones stay and count again when
// it is taken back. The same entry and fact again replaces. The error says what
// does not fit: an unknown fact, the kind, the range, the choice.
func (m *Memory) Give(entry int, fact string, v rules.Value) error {
	i, ok := m.book.FactIndex(fact)
	if !ok {
		return m.noFact(fact)
	}
	if err := m.book.Facts[i].CheckValue(v); err != nil {
		return err
	}
	list := m.given[i]
	at, found := slices.BinarySearchFunc(list, entry, func(x input, e int) int { return x.entry - e })
	if found {
		list[at].value = v
	} else {
		m.given[i] = slices.Insert(list, at, input{entry, v})
	}
	m.resolve(int32(i))
	m.settle()
	return nil
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
	for i, list := range m.given {
		at, found := slices.BinarySearchFunc(list, entry, func(x input, e int) int { return x.entry - e })
		if found {
			m.given[i] = slices.Delete(list, at, at+1)
			m.resolve(int32(i))
		}
	}
	m.settle()
}

// Value gives what is known of a fact; false when it is unknown or not declared.
func (m *Memory) Value(fact string) (rules.Value, bool) {
	i, ok := m.book.FactIndex(fact)
	if !ok || !m.frame.Cells[i].Known {
		return rules.Value{}, false
	}
	return m.valueAt(i), true
}

func (m *Memory) valueAt(i int) rules.Value { return m.frame.Cells[i].Value(m.book.Facts[i].Kind) }

// Env gives all known facts by id, for formulas: float64, string or bool.
func (m *Memory) Env() map[string]any {
	env := make(map[string]any, 16)
	for i, cell := range m.frame.Cells {
		if !cell.Known {
			continue
		}
		switch f := m.book.Facts[i]; f.Kind {
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

// settle fires what the agenda holds, level by level. A rule reads only facts
// that rules of lower levels set, so one pass reaches the fixpoint, whatever
// the order within a level.
func (m *Memory) settle() {
	for level := int32(0); level < int32(m.levels); level++ {
		for _, r := range m.work.takeRules(level) {
			m.evaluate(r)
		}
		for _, fact := range m.work.takeFacts(level) {
			m.resolve(fact)
		}
	}
}

// evaluate brings one rule up to date and notes the facts it changes its mind about.
func (m *Memory) evaluate(r int32) {
	t := &m.rules[r]
	m.looked++
	m.truths[r] = t.when.Truth(&m.frame)
	for _, id := range t.slots {
		var say rules.Cell
		s := &m.slots[id]
		if m.truths[r] == rules.True {
			say = m.fitting(s, s.to.Cell(&m.frame))
		}
		if say != m.says[id] {
			m.says[id] = say
			m.work.fact(s.fact, m.settled[s.fact])
		}
	}
}

// fitting drops a derived number outside its fact's range: it says nothing.
func (m *Memory) fitting(s *slot, say rules.Cell) rules.Cell {
	f := m.book.Facts[s.fact]
	if say.Known && f.CheckValue(say.Value(f.Kind)) != nil {
		return rules.Cell{}
	}
	return say
}

// resolve settles one fact from what was given and what rules derive, and puts
// its readers on the agenda if it changed.
func (m *Memory) resolve(fact int32) {
	cell, conflict := rules.Cell{}, false
	if list := m.given[fact]; len(list) > 0 {
		cell = list[len(list)-1].value.Cell()
	} else {
		cell, conflict = m.derive(fact)
	}
	m.conflict[fact] = conflict
	if cell == m.frame.Cells[fact] {
		return
	}
	m.frame.Cells[fact] = cell
	for _, r := range m.readers[fact] {
		m.work.rule(r, m.rules[r].level)
	}
}

// derive gives the value on which all rules that have a say agree. When they
// differ the fact stays unknown, and the second result is true.
func (m *Memory) derive(fact int32) (rules.Cell, bool) {
	var out rules.Cell
	for _, id := range m.setters[fact] {
		say := m.says[id]
		if !say.Known || m.beaten(fact, id) {
			continue
		}
		if out.Known && out != say {
			return rules.Cell{}, true
		}
		out = say
	}
	return out, false
}

// beaten says whether another rule that has a say goes over this slot's rule.
func (m *Memory) beaten(fact, id int32) bool {
	for _, other := range m.setters[fact] {
		if other != id && m.says[other].Known && slices.Contains(m.slots[other].over, id) {
			return true
		}
	}
	return false
}
