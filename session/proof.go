package session

import (
	"cmp"
	"fmt"
	"slices"

	"coilside/engine/circuit"
	"coilside/engine/diagnosis"
	"coilside/rules"
)

// This file is about proving a repair: by the test that the repaired suspect names, and
// for a complaint that comes and goes or comes with heat, by one under that condition.

// Proof says how far the last repair is proven.
type Proof struct {
	Suspect string      `json:"suspect"`
	Tests   []ProofTest `json:"tests"`
	Proven  bool        `json:"proven"`
	Missing string      `json:"missing"` // what is missing, a sentence; "" if it is proven
}

// ProofTest is one test that belongs to the proof.
type ProofTest struct {
	Test     string `json:"test"`
	Say      string `json:"say"`
	Expected string `json:"expected"` // what a sound circuit gives; "" if the circuit does not decide it
	State    string `json:"state"`    // open, passed, failed, skipped
	Entry    *int   `json:"entry"`    // the reading that settled it, null while there is none
	Read     string `json:"read,omitempty"`
}

// proofPart is one test of a proof with its places known.
type proofPart struct {
	test    *rules.Test
	measure rules.Measure
	want    diagnosis.Predicted
	decided bool   // the circuit decides what it should give
	entry   *Entry // the last reading of it since the repair, nil while one is missing
	times   int    // how often it was read since
	passed  bool
	skipped bool
}

// provable is a test as proof: false where its places are not known or a rule forbids it.
func (j *job) provable(id string) (proofPart, bool) {
	t, ok := j.base.book.Test(id)
	if !ok || j.c.Forbidden(id) {
		return proofPart{}, false
	}
	m, ok := j.fillMeasure(t.Measure)
	if !ok {
		return proofPart{}, false
	}
	p := proofPart{test: t, measure: m}
	if p.want, p.decided = j.c.Predict(m, circuit.SetupFor(m, t.Setup)); !p.decided {
		p.want, p.decided = j.c.Healthy(t)
	}
	return p, true
}

// A test proves a repair well enough when the fault, if it were still there, would show in
// it this often.
const (
	provesAt    = 0.8
	provesAtAll = 0.6 // is enough of the test that the rulebook names
)

// proofOf lists the tests that prove a repair of a suspect: the one the suspect names, or
// where the fault would hardly show in that here, the quickest in which it would; and for a
// complaint that comes and goes or comes with heat, one under that condition.
func (j *job) proofOf(suspect string) []proofPart {
	own, found := j.ownProof(suspect)
	var parts []proofPart
	if provoked, ok := j.provoked(); ok {
		if found && !j.watches(own, provoked) {
			parts = append(parts, own)
		}
		return append(parts, provoked)
	}
	if found {
		parts = append(parts, own)
	}
	return parts
}

// provoked is the test under the condition that provoked the complaint, where it has one:
// the first in which a sound circuit's load does not do what was complained of.
func (j *job) provoked() (proofPart, bool) {
	c, ok := j.base.book.Complaint(j.opening().Complaint)
	if !ok {
		return proofPart{}, false
	}
	stops := c.ID == "stays_on" // the complaint is a load that runs
	for _, id := range c.Prove {
		if p, ok := j.provable(id); ok && (!p.decided || p.want.Choice == "" || (p.want.Choice == "runs") != stops) {
			return p, true
		}
	}
	return proofPart{}, false
}

// ownProof is the test that shows best that a suspect is mended.
func (j *job) ownProof(suspect string) (proofPart, bool) {
	verify := ""
	if s, ok := j.base.book.Suspect(suspect); ok {
		verify = s.Repair.Verify
	}
	best, found := j.provable(verify)
	if found && (!best.decided || len(j.base.book.Circuits) == 0) {
		return best, true // the rulebook's word, where the circuit does not decide it
	}
	shows := 0.0
	if found {
		if shows = j.shows(&best, suspect); shows >= provesAtAll {
			return best, true
		}
	}
	for _, t := range j.provingTests() {
		p, ok := j.provable(t.ID)
		if !ok || !p.decided {
			continue
		}
		if better := j.shows(&p, suspect); !found || better > shows+0.1 {
			best, shows, found = p, better, true
		}
		if shows >= provesAt {
			break
		}
	}
	return best, found
}

func (j *job) shows(p *proofPart, suspect string) float64 {
	return j.c.Shows(p.measure, circuit.SetupFor(p.measure, p.test.Setup), suspect)
}

// provingTests are the tests that any repair may be proven by, quickest first: the relay is
// in and the circuit as the driver uses it.
func (j *job) provingTests() []*rules.Test {
	var out []*rules.Test
	for _, t := range j.base.book.Tests {
		quick := t.Measure.Mode == rules.Watch && t.Measure.During == "" || t.Measure.Mode == rules.Listen ||
			t.Measure.Mode == rules.VoltsDC || t.Measure.Mode == rules.AmpsDC && t.Measure.How == "clamp"
		if quick && !t.Proof && t.Setup.Relay == "in" && len(t.Setup.Unplugged) == 0 {
			out = append(out, t)
		}
	}
	slices.SortStableFunc(out, func(a, b *rules.Test) int { return cmp.Compare(a.Minutes[0], b.Minutes[0]) })
	return out
}

// watches reports whether a test only watches the load in the state in which another
// watches it under more.
func (j *job) watches(own, provoked proofPart) bool {
	return own.test.Measure.Mode == rules.Watch && own.test.Setup.Command == provoked.test.Setup.Command && own.test.Setup.Key == provoked.test.Setup.Key
}

// proofParts are the tests that prove the last repair, with what was read since; nil where
// the last repair did not help or there is none.
func (j *job) proofParts() []proofPart {
	r := j.repaired()
	if r == nil || r.Result != "gone" {
		return nil
	}
	n := j.now()
	if !n.proofKnown {
		n.proof, n.proofKnown = j.chosenProof(r), true
		for i := range n.proof {
			j.judge(&n.proof[i])
		}
	}
	return n.proof
}

// chooseProof picks the tests that will prove a repair that helped, with what each must give.
func (j *job) chooseProof(suspect, result string) []ChosenProof {
	if result != "gone" {
		return nil
	}
	var out []ChosenProof
	for _, p := range j.proofOf(suspect) {
		out = append(out, ChosenProof{Test: p.test.ID, Measure: p.measure, Low: p.want.Low, High: p.want.High, Over: p.want.Over, Choice: p.want.Choice, Free: !p.decided})
	}
	return out
}

// chosenProof are the tests that were chosen when a repair was stored; of a log that names
// none, those that would be chosen now.
func (j *job) chosenProof(r *Repaired) []proofPart {
	if len(r.Proof) == 0 {
		return j.proofOf(r.Suspect)
	}
	var parts []proofPart
	for _, c := range r.Proof {
		if t, ok := j.base.book.Test(c.Test); ok {
			parts = append(parts, proofPart{test: t, measure: c.Measure, decided: !c.Free,
				want: diagnosis.Predicted{Mode: c.Measure.Mode, Low: c.Low, High: c.High, Over: c.Over, Choice: c.Choice}})
		}
	}
	return parts
}

// goodAfterBad is how many good readings in a row prove a repair after a bad one: what comes and
// goes may just be away.
const goodAfterBad = 2

// judge holds the readings of a test since the repair to what is expected, the last first. One
// that is good after a bad one is not enough by itself.
func (j *job) judge(p *proofPart) {
	setup := circuit.SetupFor(p.measure, p.test.Setup)
	good, bad := 0, false
	for _, e := range slices.Backward(standing(j.log)) {
		switch {
		case e.Kind == kindRepaired:
			if p.passed && bad && good < goodAfterBad {
				p.entry, p.passed = nil, false
			}
			return
		case e.Kind == kindSkipped && e.Skipped.Test == p.test.ID && p.times == 0:
			p.skipped = true
			return
		case e.Kind != kindReading || e.Reading.Answer.Unsure || !p.isOf(e.Reading, setup):
			continue
		}
		fits := !p.decided || p.want.Fits(diagnosis.Answer(e.Reading.Answer))
		if p.times++; p.times == 1 {
			p.entry, p.passed = &e, fits
		}
		if bad = bad || !fits; !bad {
			good++
		}
	}
}

// isOf reports whether a reading is this test's, by its id or by the same measurement. A
// test that is only proof asks for more than its measurement says, so that only its id counts.
func (p *proofPart) isOf(r *Reading, setup rules.Setup) bool {
	if r.Test != "" || p.test.Proof {
		return r.Test == p.test.ID
	}
	return r.Measure == p.measure && r.Setup.Relay == setup.Relay && r.Setup.Key == setup.Key && r.Setup.Command == setup.Command
}

// provedBy is the part of the last repair's proof that an entry settled; nil if it is none.
func (j *job) provedBy(entry int) *proofPart {
	parts := j.proofParts()
	for i := range parts {
		if parts[i].entry != nil && parts[i].entry.Entry == entry {
			return &parts[i]
		}
	}
	return nil
}

func (p *proofPart) state() string {
	switch {
	case p.skipped:
		return "skipped"
	case p.entry == nil:
		return "open"
	case p.passed:
		return "passed"
	}
	return "failed"
}

// failed reports whether a test of the proof gave something else than a sound circuit does.
func (j *job) failed() bool {
	return slices.ContainsFunc(j.proofParts(), func(p proofPart) bool { return p.state() == "failed" })
}

// unproven says why the job can't be closed as fixed; "" where it can.
func (j *job) unproven() string {
	if p := j.opening().Purpose; p != "" && p != "diagnose" {
		return ""
	}
	r := j.repaired()
	switch {
	case r == nil:
		return "no repair is on record"
	case r.Result != "gone":
		return "after the last repair " + resultWords[r.Result]
	}
	parts := j.proofParts()
	if len(parts) == 0 {
		return "no test at hand proves this repair"
	}
	for _, p := range parts {
		name := withMarks(j.fillRoles(p.test.Words), j.labels())
		switch p.state() {
		case "open":
			return "the proof is still to be done: " + name + p.expecting()
		case "skipped":
			return "the test that proves the repair was skipped: " + name
		case "failed":
			return fmt.Sprintf("entry %d gave %s, and a sound circuit gives %s", p.entry.Entry, p.entry.Reading.Answer.words(p.measure.Mode.Unit()), p.want.Words())
		}
	}
	if !j.settled() {
		return "a reading since the repair speaks against a sound circuit"
	}
	return ""
}

func (p *proofPart) expecting() string {
	if !p.decided {
		return ""
	}
	return ", which should give " + p.want.Words()
}

// proof is how far the last repair is proven, for a reply; nil where there is nothing to prove.
func (j *job) proof() *Proof {
	r := j.repaired()
	if r == nil || r.Result != "gone" {
		return nil
	}
	out := &Proof{Suspect: r.Suspect, Tests: []ProofTest{}, Missing: sentence(j.unproven())}
	out.Proven = out.Missing == ""
	for _, p := range j.proofParts() {
		t := ProofTest{Test: p.test.ID, Say: withMarks(j.fillRoles(p.test.Say), j.labels()), State: p.state()}
		if p.decided {
			t.Expected = p.want.Words()
		}
		if p.entry != nil {
			t.Entry, t.Read = &p.entry.Entry, p.entry.Reading.Answer.words(p.measure.Mode.Unit())
		}
		out.Tests = append(out.Tests, t)
	}
	return out
}

// verifying is the first test that will prove a repair of a suspect, and what it should give.
func (j *job) verifying(suspect string) (say, expected string) {
	if suspect == noFault {
		return "", ""
	}
	parts := j.proofOf(suspect)
	if len(parts) == 0 {
		return "", ""
	}
	if parts[0].decided {
		expected = parts[0].want.Words()
	}
	return withMarks(j.fillRoles(parts[0].test.Say), j.labels()), expected
}
