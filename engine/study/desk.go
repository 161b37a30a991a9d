package study

import (
	"fmt"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
)

// Desk is the assistant in a job: what it asks for, and what it concludes. Package
// session/trial has one that is a whole service.
type Desk interface {
	// Next is the test asked for; false where there is none.
	Next() (vehicle.Taken, bool)
	// Record takes the answer and works out what comes next.
	Record(vehicle.Taken) error
	// Conclusion is nil until something is proven.
	Conclusion() (*Conclusion, error)
	// Repair takes in what was mended and what became of the complaint.
	Repair(suspect, result string) error
	// Probability is what is believed of a suspect, 0..1.
	Probability(suspect string) (float64, error)
	// Forbids reports whether a rule keeps a test from being asked for.
	Forbids(test string) bool
}

// Conclusion is what is taken to be proven.
type Conclusion struct {
	Kind        string // single, pair, tied
	Suspects    []string
	Probability float64
}

// caseDesk is the diagnosis itself, with a chooser of tests.
type caseDesk struct {
	*diagnosis.Case
	choose Chooser
	entry  int
	next   diagnosis.Proposal
	chosen bool // next is worked out
	some   bool // and there is one
}

func openCase(k *diagnosis.Knowledge, j *Job, choose Chooser) (*caseDesk, error) {
	c, err := k.Open(diagnosis.Opening{Complaint: j.Complaint, Facts: j.Facts, Seed: j.DrawSeed()})
	return &caseDesk{Case: c, choose: choose}, err
}

// DrawSeed is the seed of the diagnosis's own draws.
func (j *Job) DrawSeed() uint64 { return j.Seed<<20 + uint64(j.Number) }

func (d *caseDesk) Next() (vehicle.Taken, bool) {
	if !d.chosen {
		d.next, d.some = d.choose(d.Case)
		d.chosen = true
	}
	return vehicle.Taken{Test: d.next.Test, Measure: d.next.Measure, Setup: d.next.Setup}, d.some
}

func (d *caseDesk) Record(t vehicle.Taken) error {
	d.entry++
	d.chosen = false
	err := d.Read(diagnosis.Reading{Entry: d.entry, Test: t.Test.ID, Measure: t.Measure, Setup: t.Setup, Answer: t.Answer})
	if err == nil && d.Case.Conclusion() == nil {
		d.Next()
	}
	return err
}

func (d *caseDesk) Conclusion() (*Conclusion, error) {
	c := d.Case.Conclusion()
	if c == nil {
		return nil, nil
	}
	return &Conclusion{c.Kind, c.Suspects, c.Probability}, nil
}

func (d *caseDesk) Repair(suspect, result string) error {
	if result == "gone" {
		return nil
	}
	d.entry++
	d.chosen = false
	return d.Case.Repair(diagnosis.Repair{Entry: d.entry, Suspect: suspect, Result: result})
}

func (d *caseDesk) Probability(suspect string) (float64, error) {
	return d.Case.Probability(suspect), nil
}

func (d *caseDesk) Forbids(test string) bool {
	_, is := d.Memory().Effects().Forbidden[test]
	return is
}

// leading says the first few of the ranking, where the desk shows it.
func (q *play) leading(n int) string {
	d, ok := q.desk.(*caseDesk)
	if !ok {
		return ""
	}
	live := d.Belief().Live(0)
	var out []string
	for _, h := range live[:min(n, len(live))] {
		out = append(out, fmt.Sprintf("%s %.3f", h.ID(), h.Probability()))
	}
	return strings.Join(out, ", ")
}
