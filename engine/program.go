// Package engine holds what is known about a job as facts and fires rules until
// nothing more follows. It is pure: no clock, goroutine, log or disk. The same
// inputs give the same state, in whatever order they came.
package engine

import "coilside/rules"

// Program is a rulebook laid out for firing. Conditions are a network: comparisons and wholes
// (see rules.Form) hang on the facts they read and feed gates; the gate of a rule feeds the
// facts it sets. A changed fact goes only to what reads it, and on only where a truth changes.
// What belongs to one fact or gate lies together, in a span of a table for all of them.
// A Program is immutable and may be shared by any number of Memories at once.
type Program struct {
	book    *rules.Book
	facts   []factTable
	numbers []numberTest // of each fact by rising constant
	words   []wordTest
	readers []int32 // places in wholes
	wholes  []whole
	feeds   []feed
	slots   []slot // of each fact in book order
	gates   []gate // one for each rule first, in book order
	marks   []int32
	order   []derived // the facts that rules set, each after those it depends on
	late    []int32   // rules of the second stage, in book order
	empty   *Memory   // what follows from nothing given
}

// span is a stretch of a table.
type span struct{ from, to int32 }

func (s span) empty() bool { return s.from == s.to }

// factTable is what hangs on one fact.
type factTable struct {
	place   int32 // in its column of the frame
	rank    int32 // in Program.order, if rules set it
	numbers span
	words   span
	readers span // wholes that read it
	feeds   span
	setters span // slots

	worded    bool
	evaluated bool // something other than a test reads it
}

// derived is a fact that rules set. Most often one rule alone sets it, and to a constant.
type derived struct {
	on   *factTable
	fact int32
	sole int32   // that rule, where the constant is a number; else -1
	says float64 // that constant
}

// numberTest compares a fact with a constant, for the gate it feeds.
type numberTest struct {
	constant float64
	gate     int32
	op       rules.Op
}

type wordTest struct {
	constant string
	gate     int32
	op       rules.Op
}

// whole is a part of a condition that is evaluated anew when a fact it reads changes.
type whole struct {
	truth func(*rules.Frame) rules.Truth
	gate  int32
}

// feed says that a rule sets a fact, named by rank, to a value that reads this one.
type feed struct{ rule, rank int32 }

// gate joins the truths of its members: one that has the truth `decides` settles it.
type gate struct {
	parent  int32 // -1 for the gate of a rule
	marks   span  // ranks of the facts that the rule sets
	decides rules.Truth
}

// slot is one "set" action: what one rule has to say about one fact.
type slot struct {
	rule     int32
	constant bool
	says     rules.Cell // when constant
	to       *rules.Condition
	under    []int32 // slots for the same fact that replace this one
}

// Book gives the rulebook.
func (p *Program) Book() *rules.Book { return p.book }
