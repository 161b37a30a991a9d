package rules

import (
	"fmt"
	"math"
	"strconv"
)

// Value is a fact's value: exactly one of its fields counts, by Kind.
type Value struct {
	Kind   Kind
	Bool   bool
	Number float64 // in the fact's unit; +Inf is the meter's OL
	Text   string  // of a choice or a text
}

// BoolValue, NumberValue, ChoiceValue and TextValue make values.
func BoolValue(v bool) Value      { return Value{Kind: Bool, Bool: v} }
func NumberValue(v float64) Value { return Value{Kind: Number, Number: v} }
func ChoiceValue(v string) Value  { return Value{Kind: Choice, Text: v} }
func TextValue(v string) Value    { return Value{Kind: Text, Text: v} }

// String gives the value for reading; a number without its unit, +Inf as OL.
func (v Value) String() string {
	switch v.Kind {
	case Bool:
		return strconv.FormatBool(v.Bool)
	case Number:
		if math.IsInf(v.Number, 1) {
			return "OL"
		}
		return strconv.FormatFloat(v.Number, 'g', -1, 64)
	}
	return v.Text
}

// Cell gives the value as conditions see it.
func (v Value) Cell() Cell {
	c := Cell{Known: true, Number: v.Number, Text: v.Text}
	if v.Kind == Bool {
		c.Number = 0
		if v.Bool {
			c.Number = 1
		}
	}
	return c
}

// Value turns a known cell back into a value of the given kind.
func (c Cell) Value(kind Kind) Value {
	switch kind {
	case Bool:
		return BoolValue(c.Number != 0)
	case Number:
		return NumberValue(c.Number)
	}
	return Value{Kind: kind, Text: c.Text}
}

// Cell is one fact's state. A bool is a Number of 0 or 1. The zero Cell is an unknown fact.
type Cell struct {
	Number float64
	Text   string
	Known  bool
}

// Truth is three-valued.
type Truth uint8

// The truths. A condition fires only when True.
const (
	Unknown Truth = iota
	False
	True
)

func (t Truth) String() string {
	switch t {
	case True:
		return "true"
	case False:
		return "false"
	}
	return "unknown"
}

func truth(v bool) Truth {
	if v {
		return True
	}
	return False
}

// Frame is what a condition is evaluated against: the state of every fact, in two columns.
// A fact stands at its Place in the column of its kind. Suspected and Concluded answer for
// the second stage and may be nil before it: what they would say is then unknown.
type Frame struct {
	Numbers   []float64 // of numbers and bools (0 or 1); NaN = unknown
	Words     []Word    // of choices and texts
	Suspected func(suspect string) bool
	Concluded func(suspect string) bool
}

// Word is the state of a choice or a text. The zero Word is unknown.
type Word struct {
	Text  string
	Known bool
}

// NewFrame gives a frame in which every fact of the book is unknown.
func (b *Book) NewFrame() Frame {
	var f Frame
	for _, fact := range b.Facts {
		if fact.Worded() {
			f.Words = append(f.Words, Word{})
		} else {
			f.Numbers = append(f.Numbers, math.NaN())
		}
	}
	return f
}

// Worded says whether a fact stands in the column of words.
func (f *Fact) Worded() bool { return f.Kind == Choice || f.Kind == Text }

// Place is where the fact stands in its column of a Frame.
func (f *Fact) Place() int { return f.place }

// Cell gives the state of a fact.
func (f *Frame) Cell(of *Fact) Cell {
	if of.Worded() {
		w := f.Words[of.place]
		return Cell{Text: w.Text, Known: w.Known}
	}
	if v := f.Numbers[of.place]; v == v {
		return Cell{Number: v, Known: true}
	}
	return Cell{}
}

// Put makes a cell the state of a fact.
func (f *Frame) Put(of *Fact, c Cell) {
	if of.Worded() {
		f.Words[of.place] = c.word()
	} else {
		f.Numbers[of.place] = c.number()
	}
}

func (c Cell) word() Word { return Word{Text: c.Text, Known: c.Known} }

func (c Cell) number() float64 {
	if !c.Known {
		return math.NaN()
	}
	return c.Number
}

// CheckValue says what is wrong with a value for a fact: its kind, its range or
// its choices; nil when it fits. A number may be +Inf (OL) whatever the range.
func (f *Fact) CheckValue(v Value) error {
	if v.Kind != f.Kind {
		return fmt.Errorf("fact %q takes a %s, not a %s", f.ID, f.Kind, v.Kind)
	}
	switch f.Kind {
	case Number:
		return f.checkNumber(v.Number)
	case Choice:
		for _, of := range f.Of {
			if v.Text == of {
				return nil
			}
		}
		return fmt.Errorf("fact %q can't be %q%s", f.ID, v.Text, inBrackets(didYouMean(v.Text, f.Of)))
	}
	return nil
}

func (f *Fact) checkNumber(v float64) error {
	switch {
	case math.IsNaN(v) || math.IsInf(v, -1):
		return fmt.Errorf("fact %q can't be %v", f.ID, v)
	case math.IsInf(v, 1):
		return nil
	case f.Range != [2]float64{} && (v < f.Range[0] || v > f.Range[1]):
		return fmt.Errorf("fact %q goes from %v to %v %s; %v is outside", f.ID, f.Range[0], f.Range[1], f.Unit, v)
	}
	if len(f.Of) == 0 {
		return nil
	}
	for _, of := range f.Of {
		if n, err := strconv.ParseFloat(of, 64); err == nil && n == v {
			return nil
		}
	}
	return fmt.Errorf("fact %q is one of %v; %v is none of them", f.ID, f.Of, v)
}

func inBrackets(s string) string {
	if s == "" {
		return ""
	}
	return " (" + s + ")"
}
