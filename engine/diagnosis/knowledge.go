package diagnosis

import (
	"fmt"
	"strconv"

	"coilside/engine"
	"coilside/engine/circuit"
	"coilside/rules"
)

// Knowledge is a rulebook made ready for jobs. It is safe for concurrent use, and what it
// says never changes; a service compiles one a rulebook.
type Knowledge struct {
	book  *rules.Book
	rules *engine.Program
	model *circuit.Model // nil where the rulebook has no circuit
	known map[string]bool
	leant map[string]bool // facts that tests' own figures lean on
	alone bool            // see WorkAlone

	openings openings
}

// Compile makes a rulebook ready. Errors name the circuit, suspect or test that
// does not fit together.
func Compile(book *rules.Book) (*Knowledge, error) {
	k := &Knowledge{book: book, rules: engine.Compile(book), known: map[string]bool{}, leant: map[string]bool{}}
	for _, t := range book.Tests {
		for _, e := range t.Expect {
			for _, name := range e.Number.Names() {
				k.leant[name] = true
			}
		}
	}
	if len(book.Circuits) > 1 {
		return nil, fmt.Errorf("the rulebook has %d circuits; a job is about one", len(book.Circuits))
	}
	if len(book.Circuits) == 1 {
		c := book.Circuits[0]
		model, err := circuit.Compile(book, c)
		if err != nil {
			return nil, err
		}
		k.model = model
		for _, q := range c.Vary {
			if q.Known != "" {
				k.known[q.Known] = true
			}
		}
	}
	return k, nil
}

// WorkAlone has every job worked on by one goroutine, for whoever plays many at once. It is
// called before the first job is opened; what jobs come to is the same.
func (k *Knowledge) WorkAlone() { k.alone = true }

// Book is the rulebook.
func (k *Knowledge) Book() *rules.Book { return k.book }

// Model is the rulebook's circuit, nil if it has none.
func (k *Knowledge) Model() *circuit.Model { return k.model }

// shapes reports whether a fact is part of the circuit model (a wiring unknown, a
// name that follows from the wiring, or a number that pins a quantity) or of what
// a test's own figures expect.
func (k *Knowledge) shapes(fact string) bool {
	return k.leant[fact] || k.model != nil && (k.known[fact] || k.model.Fits(fact))
}

// split sorts facts into what the circuit model takes as wiring and as numbers.
func (k *Knowledge) split(facts map[string]rules.Value) (wiring map[string]string, known map[string]float64) {
	wiring, known = map[string]string{}, map[string]float64{}
	if k.model == nil {
		return wiring, known
	}
	for id, v := range facts {
		if k.known[id] && v.Kind == rules.Number {
			known[id] = v.Number
		}
		if k.model.Fits(id) {
			wiring[id] = textOf(v)
		}
	}
	return wiring, known
}

func textOf(v rules.Value) string {
	switch v.Kind {
	case rules.Number:
		return strconv.FormatFloat(v.Number, 'g', -1, 64)
	case rules.Bool:
		return strconv.FormatBool(v.Bool)
	}
	return v.Text
}

// environment is facts as formulas see them.
func environment(facts map[string]rules.Value) map[string]any {
	env := make(map[string]any, len(facts))
	for id, v := range facts {
		switch v.Kind {
		case rules.Number:
			env[id] = v.Number
		case rules.Bool:
			env[id] = v.Bool
		default:
			env[id] = v.Text
		}
	}
	return env
}
