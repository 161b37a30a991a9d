package main

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing/fstest"

	"coilside/engine"
	"coilside/engine/diagnosis"
	"coilside/engine/rank"
	"coilside/rules"
	"coilside/rulesets"
)

// touched changes one fact of 10,000 rules, of which ever more read it.
func touched(repeat int) (*curve, error) {
	const all = 10_000
	c := &curve{title: "one changed fact among 10,000 rules", across: "rules that read it", unit: "µs",
		note: "A change costs what it touches, whatever else is in force. All the rules that read the fact turn with it here."}
	for _, readers := range []int{1, 10, 100, 1_000, all} {
		book, err := loadText(readersOfOne(readers, all))
		if err != nil {
			return nil, err
		}
		m := engine.New(book)
		const changes = 2_000
		took, err := byProcessor(repeat, func() error {
			for i := range changes {
				if err := m.Give(1, "read", rules.NumberValue(float64(i%2))); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
		c.add(float64(readers), ms(took)*1000/changes)
	}
	return c, nil
}

// readersOfOne writes so many rules, of which the first read the same fact.
func readersOfOne(readers, all int) string {
	var b strings.Builder
	b.WriteString("facts:\n  - {id: read, kind: number}\n  - {id: other, kind: number}\nsuspects: [{id: part.open}]\nrules:\n")
	for i := range all {
		fact := "other"
		if i < readers {
			fact = "read"
		}
		fmt.Fprintf(&b, "  - {id: rule%d, when: %s > 0.5, then: [{do: weigh, suspects: [part.open], by: 1.01}], because: so}\n", i, fact)
	}
	return b.String()
}

const fixed = 100 // suspects while tests grow, and tests while suspects do

func suspects(repeat int) (*curve, error) {
	c := &curve{title: "a turn with 100 tests", across: "suspects", unit: "ms",
		note: "From a reading to the new ranking and next test, in rulebooks without a circuit."}
	for _, n := range []int{50, 100, 200, 400, 800} {
		if err := c.addTurn(repeat, n, n, fixed); err != nil {
			return nil, err
		}
	}
	return c, nil
}

func tests(repeat int) (*curve, error) {
	c := &curve{title: "a turn with 100 suspects", across: "tests", unit: "ms", note: "The same by the tests that there are to choose from."}
	for _, n := range []int{50, 100, 200, 400, 800} {
		if err := c.addTurn(repeat, n, fixed, n); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// addTurn adds what a turn takes in a rulebook of so many suspects and tests.
func (c *curve) addTurn(repeat, at, suspects, tests int) error {
	book, err := loadText(thirds(suspects, tests))
	if err != nil {
		return err
	}
	k, err := diagnosis.Compile(book)
	if err != nil {
		return err
	}
	took, err := timed(repeat, processor, func(int) (func() error, error) {
		job, err := k.Open(diagnosis.Opening{Seed: 1})
		if err != nil {
			return nil, err
		}
		return turn(job, diagnosis.Reading{Entry: 1, Test: job.Next(1)[0].Test.ID, Answer: diagnosis.Answer{Choice: "absent"}}), nil
	})
	if err != nil {
		return err
	}
	c.add(float64(at), ms(took))
	return nil
}

// turn takes a reading and has the job tell all that a reply holds.
func turn(job *diagnosis.Case, reading diagnosis.Reading) func() error {
	return func() error {
		if err := job.Read(reading); err != nil {
			return err
		}
		job.Ranking()
		job.Conclusion()
		job.Next(1)
		return nil
	}
}

// thirds writes a rulebook in which every test tells a random third of the suspects from the
// others.
func thirds(suspects, tests int) string {
	rng := rand.New(rand.NewPCG(1, uint64(suspects)))
	var b strings.Builder
	b.WriteString("suspects:\n")
	for i := range suspects {
		fmt.Fprintf(&b, "  - {id: part%d.bad, words: part %d is bad, prior: 1, repair: {do: Replace part %d.}}\n", i, i, i)
	}
	b.WriteString("tests:\n")
	for i := range tests {
		third := []string{fmt.Sprintf("part%d.bad", i%suspects)}
		for s := range suspects {
			if rng.IntN(3) == 0 && s != i%suspects {
				third = append(third, fmt.Sprintf("part%d.bad", s))
			}
		}
		fmt.Fprintf(&b, "  - id: test%d\n    measure: {mode: ask, question: \"Does sign %d show?\"}\n    of: [shown, absent]\n    say: Look for sign %d.\n    minutes: %d\n"+
			"    expect:\n      - {suspects: [%s], answers: {shown: 0.9}}\n      - {answers: {shown: 0.1}}\n", i, i, i, 1+rng.IntN(9), strings.Join(third, ", "))
	}
	return b.String()
}

// draws opens a job of the shipped rulebook of which only the volts are known, and reads the
// battery, with ever more draws a suspect.
func draws(repeat int) (*curve, error) {
	k, err := shipped()
	if err != nil {
		return nil, err
	}
	c := &curve{title: "open a job of unknown wiring and take a reading", across: "draws a suspect", unit: "ms",
		note: "Without the choice of a test. What more draws are good for stands in `testdata/inference`."}
	for _, n := range []int{16, 32, 64, 128, 256} {
		took, err := byProcessor(repeat, func() error {
			b, err := rank.Open(rank.Opening{Book: k.Book(), Model: k.Model(), Complaint: "dead",
				Wiring: map[string]string{"system_volts": "12"}, Seed: 1, Draws: n})
			if err != nil {
				return err
			}
			return b.Read(rank.Reading{ID: 1, Measure: batteryVolts, Answer: rank.Answer{Number: new(12.4)}})
		})
		if err != nil {
			return nil, err
		}
		c.add(float64(n), ms(took))
	}
	return c, nil
}

var batteryVolts = rules.Measure{Mode: rules.VoltsDC, Red: "battery.positive", Black: "battery.negative"}

func shipped() (*diagnosis.Knowledge, error) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		return nil, err
	}
	return diagnosis.Compile(book)
}

func loadText(text string) (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "generated", FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}})
}
