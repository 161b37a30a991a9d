package session

import (
	"slices"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// This file reads off the log what is known of a job: the facts that were
// given, how the vehicle stands, what was accepted and skipped.

// fact gives the value of a fact that was told, answered or given at the
// opening; the later one counts. What rules derive is not among them.
func (j *job) fact(id string) (rules.Value, bool) {
	log := standing(j.log)
	for _, e := range slices.Backward(log) {
		switch {
		case e.Kind == kindFact && e.Fact.Fact == id:
			return rules.Value(e.Fact.Value), true
		case e.Kind == kindReading && e.Reading.Test != "" && e.Reading.Answer.Choice != "":
			if t, ok := j.base.book.Test(e.Reading.Test); ok && t.Sets == id {
				return rules.Value{Kind: rules.Choice, Text: e.Reading.Answer.Choice}, true
			}
		}
	}
	v, ok := j.openingFacts()[id]
	return v, ok
}

// openingFacts are the facts given at the opening, computed once.
func (j *job) openingFacts() map[string]rules.Value {
	if j.given == nil {
		given, err := factsOf(j.base, *j.opening())
		if err != nil { // other rules than it was opened with, which lack a choice
			given = map[string]rules.Value{}
		}
		j.given = given
	}
	return j.given
}

func (j *job) text(id string) string {
	v, _ := j.fact(id)
	return v.Text
}

// labels is the scheme of the marks on the relay.
func (j *job) labels() string {
	if l := j.text("labels"); l != "" {
		return l
	}
	return unknown
}

// systemVolts is 12 or 24, or 0 where it is not known.
func (j *job) systemVolts() float64 {
	v, _ := j.fact("system_volts")
	if v.Number == 0 && v.Text == "24" {
		return 24
	}
	if v.Number == 0 && v.Text == "12" {
		return 12
	}
	return v.Number
}

// terminals are the DIN roles this relay has; nil where that is not known.
func (j *job) terminals() []string {
	switch j.text("contact") {
	case "make":
		return []string{"30", "85", "86", "87"}
	case "break":
		return []string{"30", "85", "86", "87a"}
	}
	return nil
}

// moves reports whether something may move when the load runs: true unless it is
// known that nothing does.
func (j *job) moves() bool {
	v, known := j.fact("load_moves")
	return !known || v.Bool
}

// accepted reports whether the caution of a load that moves was accepted since the last
// repair: by saying so, or by answering a test that carried it. What was measured unasked
// accepts nothing. After a repair hands were at the vehicle.
func (j *job) accepted() bool {
	for _, e := range slices.Backward(standing(j.log)) {
		switch {
		case e.Kind == kindAccepted:
			return true
		case e.Kind == kindReading && e.Reading.Test != "" && !e.Reading.Answer.Unsure && commands(e.Reading.Measure, e.Reading.Setup): // who is unsure may not have done it
			return true
		case e.Kind == kindRepaired:
			return false
		}
	}
	return false
}

// commands reports whether a test makes the load run, as far as the circuit lets it.
func commands(m rules.Measure, s rules.Setup) bool {
	if s.Relay == "bench" {
		return false
	}
	return s.Command == "on" || m.During == "command" || m.During == "crank" ||
		slices.Contains([]rules.Mode{rules.Bridge, rules.Listen, rules.Reseat, rules.Swap}, m.Mode)
}

// mayHaveRun reports whether the load could move while something was measured unasked: it
// was commanded on with the relay in, or run past it.
func mayHaveRun(r Reading) bool {
	return r.Test == "" && !r.Answer.Unsure && commands(r.Measure, r.Setup) && (r.Setup.Relay != "out" || r.Measure.Mode == rules.Bridge)
}

// stand is how the vehicle was left by the last reading; nil where none tells.
func (j *job) stand() *rules.Setup {
	for _, e := range slices.Backward(standing(j.log)) {
		switch {
		case e.Kind == kindStands:
			return e.Stands
		case e.Kind == kindReading && e.Reading.Setup.Relay != "":
			return &e.Reading.Setup
		case e.Kind == kindRepaired:
			return nil
		}
	}
	return nil
}

// repaired is the last repair that stands; nil where there is none.
func (j *job) repaired() *Repaired {
	for _, e := range slices.Backward(standing(j.log)) {
		if e.Kind == kindRepaired {
			return e.Repaired
		}
	}
	return nil
}

// complaint is what is complained of now: what the job was opened for, or what a repair made of it.
func (j *job) complaint() string {
	for _, e := range slices.Backward(standing(j.log)) {
		switch {
		case e.Kind != kindRepaired:
		case e.Repaired.Result == "gone":
			return j.opening().Complaint
		case e.Repaired.Now != "":
			return e.Repaired.Now
		}
	}
	return j.opening().Complaint
}

// deadForOhms refuses an ohms reading on a place that is or may be live.
func (j *job) deadForOhms(r Reading) error {
	if r.Measure.Mode != rules.Ohms || r.Answer.Unsure {
		return nil
	}
	if why := j.c.OhmsSafe(r.Measure, r.Setup); why != "" {
		return unsafeOhms(r.Measure, why, j.labels())
	}
	return nil
}

// stopFor is what to stop at once where a reading was taken in a way that the gates forbid,
// "" where it was not. The reading itself is kept: it tells something.
func (j *job) stopFor(r Reading) string {
	if r.Answer.Unsure {
		return ""
	}
	deed, because := j.c.Danger(diagnosis.Reading{Test: r.Test, Measure: r.Measure, Setup: r.Setup, Answer: diagnosis.Answer(r.Answer)})
	if deed == "" {
		return ""
	}
	say := "Stop. This is not safe here."
	if table, err := j.base.book.Table("stops", "say"); err == nil {
		if row, ok := table.Row(deed); ok {
			say = row.Text("say")
		}
	}
	if because != "" {
		say = sentence(say) + " " + sentence(because)
	}
	return say
}

func unsafeOhms(m rules.Measure, why, labels string) *Error {
	for _, place := range []string{m.Red, m.Black} {
		why = strings.Replace(why, place+" ", placeWords(place, labels)+" ", 1)
	}
	return &Error{Kind: Unsafe, Field: "measure", Message: "Take the leads off. Ohms are not for a place that may be live: " + why +
		". Read volts there to battery negative first"}
}
