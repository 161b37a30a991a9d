// Package study plays seeded jobs on simulated vehicles and says how well the
// diagnosis did: the pure part of the benchmark that "coilside study" runs. It
// deals the faults, answers the tests, charges their minutes, judges the
// conclusions from the vehicle and never from what the diagnosis claims, and keeps
// the tally. It reads no clock: who runs it hands one in.
package study

import (
	"coilside/engine/vehicle"
	"coilside/rules"
)

// Stratum is one kind of job.
type Stratum struct {
	ID, Words    string
	Faults       int     // hidden in the vehicle
	Intermittent bool    // the fault comes and goes
	Untold       float64 // share of the wiring that is not told when the job is opened, 0..1
	Wrong        float64 // chance that a reading is wrong, 0..1
	Repeated     bool    // one place is taken for another throughout
}

// Strata are the kinds of jobs, in the order of the table.
var Strata = []Stratum{
	{ID: "single", Words: "one fault, honest readings", Faults: 1},
	{ID: "double", Words: "two faults, found one after the other", Faults: 2},
	{ID: "intermittent", Words: "a joint that comes and goes", Faults: 1, Intermittent: true},
	{ID: "sound", Words: "the circuit is sound"},
	{ID: "unknown", Words: "three quarters of the wiring unknown", Faults: 1, Untold: 0.75},
	{ID: "wrong", Words: "one reading in twenty is wrong", Faults: 1, Wrong: 0.05},
	{ID: "repeated", Words: "one place is always taken for another", Faults: 1, Repeated: true},
}

// FindStratum finds a stratum by its id.
func FindStratum(id string) (Stratum, bool) {
	for _, s := range Strata {
		if s.ID == id {
			return s, true
		}
	}
	return Stratum{}, false
}

// hides reports whether a suspect can be the truth of a job of this kind.
func (s Stratum) hides(suspect *rules.Suspect) bool {
	return len(suspect.Does) > 0 && (!s.Intermittent || vehicle.Intermittent(suspect))
}
