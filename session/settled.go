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
	if j.seenSinceRepair() {
		return false
	}
	sound, err := j.c.Explain(noFault)
	if err != nil {
		return true // no such suspect here: the technician's word stands
	}
	since := j.sinceRepair()
	return !slices.ContainsFunc(sound.Reasons, func(r diagnosis.Reason) bool { return since[r.Entry] && r.Bits < speaksAgainst })
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
		if s.Relay == "in" && (s.Command == "on" && s.Key == "on" && saw != "runs" || s.Command == "off" && saw != "off") {
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

// sinceRepair are the readings since the last repair, by entry.
func (j *job) sinceRepair() map[int]bool {
	since := map[int]bool{}
	for _, e := range standing(j.log) {
		switch e.Kind {
		case kindRepaired:
			clear(since)
		case kindReading:
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

// verify is the test that proves the last repair; nil where none is known, or
// it was done.
func (j *job) verify() *diagnosis.Proposal {
	r := j.repaired()
	if r == nil || j.readSinceRepair() {
		return nil
	}
	if s, ok := j.base.book.Suspect(r.Suspect); ok {
		if t, ok := j.base.book.Test(s.Repair.Verify); ok {
			if m, ok := j.fillMeasure(t.Measure); ok {
				return j.proving(t, m)
			}
		}
	}
	for _, t := range j.base.book.Tests {
		if t.Measure.Mode == rules.Watch && t.Measure.During == "" && t.Setup.Relay == "in" && t.Setup.Key == "on" && t.Setup.Command == "on" {
			return j.proving(t, t.Measure) // seeing the load run proves any repair a little
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

// proposal is the test proposed now; nil where there is none.
func (j *job) proposal() *diagnosis.Proposal {
	if j.settled() {
		return j.verify()
	}
	if best := j.now().best; len(best) > 0 {
		return &best[0]
	}
	return nil
}

// settledLines say how to end a job whose complaint is gone.
func (j *job) settledLines(r Reply) []string {
	switch {
	case r.Next != nil:
		lines := []string{"Now prove it: " + sentence(r.Next.Say)}
		for _, c := range r.Next.Cautions {
			lines = append(lines, "Careful: "+sentence(c))
		}
		return append(lines, soak[j.opening().Complaint]...)
	case j.readSinceRepair():
		return []string{"Nothing speaks against the repair. Say done to close the job."}
	}
	return []string{"The complaint is gone. Say done to close the job."}
}

// soak is what a repair of a fault that comes and goes has to stand before it
// counts: such a fault is gone after any disturbance. Practice, no source.
var soak = map[string][]string{
	"intermittent":  {"This fault came and went: drive and shake it before you call it gone."},
	"drops_out_hot": {"This fault came with heat: run it until it is hot before you call it gone."},
}
