package session

import (
	"slices"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// This file is about the time after a repair that helped: the repair is proved,
// and the diagnosis goes on only where a reading since then asks for it.

// settled reports that the last repair helped and nothing read since speaks
// against a sound circuit.
func (j *job) settled() bool {
	r := j.repaired()
	if r == nil || r.Result != "gone" {
		return false
	}
	if !j.readSinceRepair() {
		return true
	}
	if j.seenSinceRepair() || j.failed() {
		return false
	}
	sound, err := j.c.Explain(noFault)
	if err != nil {
		return true // no such suspect here: the technician's word stands
	}
	if sound.Probability >= soundStands {
		return true
	}
	since := j.sinceRepair()
	return !slices.ContainsFunc(sound.Reasons, func(r diagnosis.Reason) bool {
		if !since[r.Entry] || r.Bits >= speaksAgainst {
			return false
		}
		p := j.provedBy(r.Entry)
		return p == nil || !p.passed // what a sound circuit gives speaks for nothing else
	})
}

// seenSinceRepair reports whether the load was seen to misbehave since the last
// repair: not running as it should when commanded, or running when not.
func (j *job) seenSinceRepair() bool {
	since := j.sinceRepair()
	for _, e := range standing(j.log) {
		if !since[e.Entry] || e.Reading.Measure.Mode != rules.Watch {
			continue
		}
		s, saw := e.Reading.Setup, e.Reading.Answer.Choice
		if s.Relay != "in" {
			continue
		}
		if sound, ok := j.c.Predict(e.Reading.Measure, s); ok {
			if saw != sound.Choice {
				return true
			}
		} else if s.Command == "on" && s.Key == "on" && saw != "runs" || s.Command == "off" && saw != "off" {
			return true
		}
	}
	return false
}

// noFault is the suspect that stands for a sound circuit.
const noFault = "none.found"

// speaksAgainst is how far a reading must move a sound circuit down, in bits, for
// the diagnosis to go on after a repair that helped. Practice, no source.
const speaksAgainst = -2

// soundStands is how probable a sound circuit must be, 0..1, for a reading that once spoke against it not to count:
// others have explained it since. Practice, no source.
const soundStands = 0.95

// sinceRepair are the readings since the last repair, by entry, but for those of a test that
// was done again.
func (j *job) sinceRepair() map[int]bool {
	since := map[int]bool{}
	of := map[string]int{}
	for _, e := range standing(j.log) {
		switch e.Kind {
		case kindRepaired:
			clear(since)
			clear(of)
		case kindReading:
			if test := e.Reading.Test; test != "" && !e.Reading.Answer.Unsure {
				delete(since, of[test])
				of[test] = e.Entry
			}
			since[e.Entry] = !e.Reading.Answer.Unsure
		}
	}
	return since
}

// readSinceRepair reports whether anything certain was read since the last repair.
func (j *job) readSinceRepair() bool {
	for _, certain := range j.sinceRepair() {
		if certain {
			return true
		}
	}
	return false
}

// verify is the next test that proves the last repair; nil where none is open.
func (j *job) verify() *diagnosis.Proposal {
	for _, p := range j.proofParts() {
		if p.state() == "open" {
			return j.proving(p.test, p.measure)
		}
	}
	return nil
}

func (j *job) proving(t *rules.Test, m rules.Measure) *diagnosis.Proposal {
	return &diagnosis.Proposal{Test: t, Measure: m, Setup: t.Setup, Say: j.fillRoles(t.Say), Why: "It proves the repair.",
		Minutes: t.Minutes[0], Cautions: t.Cautions}
}

// fillMeasure puts terminals into the {roles} of a measure; false where the wiring
// does not tell one.
func (j *job) fillMeasure(m rules.Measure) (rules.Measure, bool) {
	for _, place := range []*string{&m.Red, &m.Black, &m.At, &m.From, &m.To} {
		*place = j.fillRoles(*place)
		if strings.Contains(*place, " ") {
			return m, false
		}
	}
	return m, true
}

// onceMore is a test of the proof that spoke against the repair the first time it was done: a
// second look costs less than doubting a good repair. Nil where there is none.
func (j *job) onceMore() *diagnosis.Proposal {
	for _, p := range j.proofParts() {
		if p.state() == "failed" && p.times == 1 && j.newestReading() == p.entry.Entry {
			return j.proving(p.test, p.measure)
		}
	}
	return nil
}

// newestReading is the entry of the last reading that stands, 0 for none.
func (j *job) newestReading() int {
	for _, e := range slices.Backward(standing(j.log)) {
		if e.Kind == kindReading {
			return e.Entry
		}
	}
	return 0
}

// proposal is the test proposed now; nil where there is none.
func (j *job) proposal() *diagnosis.Proposal {
	if j.settled() {
		return j.verify()
	}
	if again := j.onceMore(); again != nil {
		return again
	}
	if best := j.now().best; len(best) > 0 {
		return &best[0]
	}
	return nil
}

// settledLines say how to end a job whose complaint is gone.
func (j *job) settledLines(r Reply) []string {
	if r.Next != nil {
		line := "Now prove it: " + sentence(r.Next.Say)
		for _, p := range j.proofParts() {
			if p.test.ID == r.Next.ID && p.decided {
				line += " Expect: " + p.want.Words() + "."
			}
		}
		lines := []string{line}
		for _, c := range r.Next.Cautions {
			lines = append(lines, "Careful: "+sentence(c))
		}
		return lines
	}
	if why := j.unproven(); why != "" {
		return []string{"The complaint is gone, but not proven gone: " + why + ". Say done to close the job as unproven, or measure it."}
	}
	return []string{"The repair is proven. Say done to close the job."}
}

// failedLines say that a test which should prove the repair spoke against it.
func (t *turn) failedLines() []string {
	if t.j.outcome() != "" {
		return nil
	}
	for _, p := range t.j.proofParts() {
		if p.state() == "failed" && p.entry.Entry > t.start {
			line := sentence("That does not prove the repair: a sound circuit gives " + p.want.Words())
			if p.times == 1 {
				return []string{line + " Once more, to be sure."}
			}
			return []string{line + " So it goes on; measure again if you doubt the reading."}
		}
	}
	return nil
}
