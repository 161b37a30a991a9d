package rules

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// ComplaintFact is the choice fact, declared for every book with complaints,
// that holds the complaint of the job.
const ComplaintFact = "complaint"

// declare adds the facts that nobody writes twice: one for every wiring
// variable, for the complaint and for the answer of every test.
func (k *checker) declare() {
	by := make(map[string]*Fact, len(k.book.Facts))
	for _, f := range k.book.Facts {
		k.plainName(f.ID, f.at)
		by[f.ID] = f
	}
	for _, c := range k.book.Circuits {
		for _, w := range c.Wiring {
			k.plainName(w.ID, w.at)
			k.imply(by, wiringFact(w), w.at.of("id"), "wiring variable")
		}
	}
	if len(k.book.Complaints) > 0 {
		f := &Fact{ID: ComplaintFact, Kind: Choice, Words: "complaint"}
		for _, c := range k.book.Complaints {
			f.Of = append(f.Of, c.ID)
		}
		k.imply(by, f, k.book.Complaints[0].at.of("id"), "list of complaints")
	}
	for _, t := range k.book.Tests {
		for _, f := range t.facts() {
			k.plainName(f.ID, t.at)
			k.imply(by, f, t.at.of("sets"), "test")
		}
	}
	for _, f := range k.book.Facts {
		k.complete(f)
	}
}

func wiringFact(w *Wiring) *Fact {
	f := &Fact{ID: w.ID, Kind: Choice, Of: w.Of, Words: cmp.Or(w.Words, strings.ReplaceAll(w.ID, "_", " ")), Pos: w.Pos, at: w.at}
	if w.Number {
		f.Kind, f.Unit, f.loose = Number, w.Unit, w.Unit == ""
	}
	return f
}

// facts gives the facts that a test's answer sets.
func (t *Test) facts() []*Fact {
	f := &Fact{ID: t.Sets, Words: t.Words, Pos: t.Pos, at: t.at}
	if unit := t.Measure.Mode.Unit(); unit != "" {
		f.Kind, f.Unit = Number, unit
	} else {
		f.Kind, f.Of = Choice, t.Answers()
		f.unclear = len(f.Of) == 0
	}
	if t.Measure.Mode != MinMax {
		return []*Fact{f}
	}
	low, high := *f, *f
	low.ID, high.ID = t.Sets+"_min", t.Sets+"_max"
	return []*Fact{&low, &high}
}

// SetFacts gives the ids of the facts that an answer to this test sets: one, or
// for min_max the lowest and the highest.
func (t *Test) SetFacts() []string {
	if t.Measure.Mode == MinMax {
		return []string{t.Sets + "_min", t.Sets + "_max"}
	}
	return []string{t.Sets}
}

// imply declares a fact unless it stands already, in which case the two must agree.
func (k *checker) imply(by map[string]*Fact, f *Fact, at spot, from string) {
	if f.ID == "" || f.Kind == "" {
		return
	}
	have := by[f.ID]
	if have == nil {
		by[f.ID] = f
		k.book.Facts = append(k.book.Facts, f)
		return
	}
	if have.Kind == "" { // declared for its words only
		have.Kind, have.Unit, have.Of, have.loose = f.Kind, f.Unit, f.Of, f.loose
		return
	}
	problem := have.accepts(f)
	switch {
	case problem == "":
	case have.explicit:
		k.add(have.at.of("id"), CodeType, fmt.Sprintf("fact %q does not agree with the %s at %s: %s", f.ID, from, at.pos(), problem), f.like())
	default:
		k.add(at, CodeType, fmt.Sprintf("this %s does not agree with what declares %q at %s: %s", from, f.ID, have.Pos, problem), "")
	}
}

// accepts says why values of another declaration would not fit; "" when they do.
// A question with words for answers may set a number or a yes-or-no.
func (f *Fact) accepts(g *Fact) string {
	switch {
	case f.Kind == Number && g.Kind == Number:
		u, _ := parseUnit(f.Unit)
		v, ok := parseUnit(g.Unit)
		if ok && !g.loose && !f.loose && u != v {
			return fmt.Sprintf("%s beside %s", u, v)
		}
		return ""
	case f.Kind == Choice && g.Kind == Choice:
		for _, word := range g.Of {
			if !slices.Contains(f.Of, word) {
				return fmt.Sprintf("it has no choice %q", word)
			}
		}
		return ""
	case g.Kind == Choice:
		for _, word := range g.Of {
			if _, err := f.Parse(word); err != nil {
				return err.Error()
			}
		}
		return ""
	}
	return fmt.Sprintf("a %s beside a %s", f.Kind, g.Kind)
}

// Parse reads a word as a value of the fact: "yes" and "no" for a bool, digits
// or OL for a number, one of its choices, any text. The value is checked.
func (f *Fact) Parse(word string) (Value, error) {
	var v Value
	switch f.Kind {
	case Bool:
		switch word {
		case "yes", "true":
			v = BoolValue(true)
		case "no", "false":
			v = BoolValue(false)
		default:
			return v, fmt.Errorf("fact %q takes yes or no, not %q", f.ID, word)
		}
	case Number:
		n, err := strconv.ParseFloat(word, 64)
		if word == "OL" {
			n, err = strconv.ParseFloat("+Inf", 64)
		}
		if err != nil {
			return v, fmt.Errorf("fact %q takes a number, not %q", f.ID, word)
		}
		v = NumberValue(n)
	default:
		v = Value{Kind: f.Kind, Text: word}
	}
	return v, f.CheckValue(v)
}

// complete checks a declaration once everything that could complete it is read.
func (k *checker) complete(f *Fact) {
	k.unitOf(f.Unit, f.at)
	switch {
	case f.Kind == "":
		k.add(f.at.of("id"), CodeMissing, fmt.Sprintf("fact %q has no kind", f.ID), "kind: bool, number, choice or text")
	case f.unclear: // reported with its test
	case f.Kind == Choice && len(f.Of) == 0:
		k.add(f.at.of("kind"), CodeMissing, fmt.Sprintf("fact %q is a choice of nothing", f.ID), "of: [one, two]")
	case f.Kind != Number && f.Unit != "":
		k.add(f.at.of("unit"), CodeType, fmt.Sprintf("only a number has a unit, but %q is a %s", f.ID, f.Kind), "")
	case f.Kind != Number && f.Range != [2]float64{}:
		k.add(f.at.of("range"), CodeType, fmt.Sprintf("only a number has a range, but %q is a %s", f.ID, f.Kind), "")
	}
}

// like says how a declaration would agree with this one.
func (f *Fact) like() string {
	switch {
	case f.Kind == Number && f.Unit != "":
		return "declare it with  unit: " + f.Unit + "  or leave it out: the test declares it"
	case f.Kind == Choice:
		return "declare it with  of: [" + strings.Join(f.Of, ", ") + "]  or leave it out: the test declares it"
	}
	return "leave it out: the test declares it"
}
