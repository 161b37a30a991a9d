// Package engine holds what is known about a job as facts and fires rules until
// nothing more follows. It is pure: no clock, goroutine, log or disk. The same
// inputs give the same state, in whatever order they came.
package engine

import "coilside/rules"

// Program is a rulebook laid out for firing: dense tables by the places of facts
// and rules in the book. It is immutable and may be shared by any number of
// Memories at once.
type Program struct {
	book    *rules.Book
	rules   []ruleTable
	late    []int32   // rules of the second stage, in book order
	readers [][]int32 // by fact: first-stage rules that read it
	setters [][]int32 // by fact: slots of the rules that set it, in book order
	slots   []slot
	settled []int32 // by fact: the level after which no rule can set it any more
	levels  int
}

// ruleTable is what firing one rule needs.
type ruleTable struct {
	when  *rules.Condition
	level int32
	slots []int32
	late  bool
}

// slot is one "set" action: what one rule has to say about one fact.
type slot struct {
	rule int32
	fact int32
	to   *rules.Condition
	over []int32 // slots for the same fact that this one replaces
}

// Compile lays out a book. It can't fail: a loaded book is sound.
func Compile(book *rules.Book) *Program {
	p := &Program{
		book:    book,
		rules:   make([]ruleTable, len(book.Rules)),
		readers: make([][]int32, len(book.Facts)),
		setters: make([][]int32, len(book.Facts)),
		settled: make([]int32, len(book.Facts)),
		levels:  1,
	}
	for i, r := range book.Rules {
		t := ruleTable{when: r.When, level: int32(r.Level()), late: r.Late}
		if r.Late {
			p.late = append(p.late, int32(i))
			p.rules[i] = t
			continue
		}
		for _, fact := range r.Reads() {
			p.readers[fact] = append(p.readers[fact], int32(i))
		}
		t.slots = p.addSlots(int32(i), r)
		p.levels = max(p.levels, r.Level()+1)
		p.rules[i] = t
	}
	p.linkPrecedence()
	return p
}

func (p *Program) addSlots(rule int32, r *rules.Rule) []int32 {
	var out []int32
	for _, a := range r.Then {
		if a.Do != rules.Set {
			continue
		}
		fact, _ := p.book.FactIndex(a.Fact)
		id := int32(len(p.slots))
		p.slots = append(p.slots, slot{rule: rule, fact: int32(fact), to: a.To})
		p.setters[fact] = append(p.setters[fact], id)
		p.settled[fact] = max(p.settled[fact], int32(r.Level()))
		out = append(out, id)
	}
	return out
}

// linkPrecedence turns "rule over rule" into "slot over slot".
func (p *Program) linkPrecedence() {
	for i := range p.slots {
		s := &p.slots[i]
		for _, beaten := range p.book.Rules[s.rule].GoesOver() {
			for _, other := range p.rules[beaten].slots {
				if p.slots[other].fact == s.fact {
					s.over = append(s.over, other)
				}
			}
		}
	}
}

// Book gives the rulebook.
func (p *Program) Book() *rules.Book { return p.book }
