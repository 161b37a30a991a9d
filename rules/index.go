package rules

import (
	"path"
	"strings"
)

// index finds the items of a book by id.
type index struct {
	facts, parameters, circuits, complaints, suspects, tests, rules map[string]int
}

func indexOf[T any](items []T, id func(T) string) map[string]int {
	out := make(map[string]int, len(items))
	for i, item := range items {
		out[id(item)] = i
	}
	return out
}

func (b *Book) buildIndex() {
	b.place()
	b.index = index{
		facts:      indexOf(b.Facts, func(x *Fact) string { return x.ID }),
		parameters: indexOf(b.Parameters, func(x *Parameter) string { return x.ID }),
		circuits:   indexOf(b.Circuits, func(x *Circuit) string { return x.ID }),
		complaints: indexOf(b.Complaints, func(x *Complaint) string { return x.ID }),
		suspects:   indexOf(b.Suspects, func(x *Suspect) string { return x.ID }),
		tests:      indexOf(b.Tests, func(x *Test) string { return x.ID }),
		rules:      indexOf(b.Rules, func(x *Rule) string { return x.ID }),
	}
}

// place gives every fact its place in the columns of a Frame.
func (b *Book) place() {
	numbers, words := 0, 0
	for _, f := range b.Facts {
		column := &numbers
		if f.Worded() {
			column = &words
		}
		f.place = *column
		*column++
	}
}

func find[T any](items []T, by map[string]int, id string) (T, bool) {
	i, ok := by[id]
	if !ok {
		var none T
		return none, false
	}
	return items[i], true
}

// Fact finds a fact by id.
func (b *Book) Fact(id string) (*Fact, bool) { return find(b.Facts, b.index.facts, id) }

// FactIndex finds the place of a fact in Facts.
func (b *Book) FactIndex(id string) (int, bool) { i, ok := b.index.facts[id]; return i, ok }

// Parameter finds a parameter by id.
func (b *Book) Parameter(id string) (*Parameter, bool) {
	return find(b.Parameters, b.index.parameters, id)
}

// Circuit finds a circuit by id.
func (b *Book) Circuit(id string) (*Circuit, bool) { return find(b.Circuits, b.index.circuits, id) }

// Complaint finds a complaint by id.
func (b *Book) Complaint(id string) (*Complaint, bool) {
	return find(b.Complaints, b.index.complaints, id)
}

// Suspect finds a suspect by id.
func (b *Book) Suspect(id string) (*Suspect, bool) { return find(b.Suspects, b.index.suspects, id) }

// SuspectIndex finds the place of a suspect in Suspects.
func (b *Book) SuspectIndex(id string) (int, bool) { i, ok := b.index.suspects[id]; return i, ok }

// Test finds a test by id.
func (b *Book) Test(id string) (*Test, bool) { return find(b.Tests, b.index.tests, id) }

// Rule finds a rule by id.
func (b *Book) Rule(id string) (*Rule, bool) { return find(b.Rules, b.index.rules, id) }

// RuleIndex finds the place of a rule in Rules.
func (b *Book) RuleIndex(id string) (int, bool) { i, ok := b.index.rules[id]; return i, ok }

// Matches says whether a pattern, in which * stands for any run of characters,
// fits an id.
func Matches(pattern, id string) bool {
	if !strings.Contains(pattern, "*") {
		return pattern == id
	}
	ok, err := path.Match(pattern, id)
	return ok && err == nil
}

// MatchSuspects gives the ids of the suspects that fit a pattern, in book order.
func (b *Book) MatchSuspects(pattern string) []string {
	var out []string
	for _, s := range b.Suspects {
		if Matches(pattern, s.ID) {
			out = append(out, s.ID)
		}
	}
	return out
}

// MatchTests gives the ids of the tests that fit a pattern, in book order.
func (b *Book) MatchTests(pattern string) []string {
	var out []string
	for _, t := range b.Tests {
		if Matches(pattern, t.ID) {
			out = append(out, t.ID)
		}
	}
	return out
}

func (b *Book) suspectIDs() []string {
	out := make([]string, len(b.Suspects))
	for i, s := range b.Suspects {
		out[i] = s.ID
	}
	return out
}

func (b *Book) testIDs() []string {
	out := make([]string, len(b.Tests))
	for i, t := range b.Tests {
		out[i] = t.ID
	}
	return out
}
