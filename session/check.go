package session

import (
	"fmt"
	"math"
	"slices"

	"coilside/rules"
)

// answerKind says what answers a measurement takes.
func answerKind(m rules.Measure, asked []string) AnswerKind {
	if m.Mode == rules.Ask {
		return AnswerKind{Kind: "choice", Of: asked}
	}
	if of := m.Mode.Answers(); of != nil {
		return AnswerKind{Kind: "choice", Of: of}
	}
	if m.Mode == rules.MinMax {
		return AnswerKind{Kind: "min_max", Unit: m.Mode.Unit()}
	}
	return AnswerKind{Kind: "number", Unit: m.Mode.Unit()}
}

// takesOver are the modes that may answer OL: of a relay, that it never pulls in or lets go.
var takesOver = []rules.Mode{rules.Ohms, rules.PullIn, rules.DropOut}

// takes says in words what a measurement takes: "a number of volts".
func (k AnswerKind) takes(m rules.Mode) string {
	switch k.Kind {
	case "choice":
		return either(k.Of)
	case "min_max":
		return "two numbers of volts, {\"min\":…,\"max\":…}"
	}
	text := "a number of " + k.Unit + "s"
	if slices.Contains(takesOver, m) {
		text += " or " + overRange
	}
	return text
}

// fits refuses an answer of the wrong kind and says what the test takes.
func fits(m rules.Measure, k AnswerKind, a Answer) error {
	if a.Unsure {
		return nil
	}
	switch {
	case k.Kind == "choice" && a.Choice != "" && slices.Contains(k.Of, a.Choice),
		k.Kind == "number" && a.Number != nil,
		k.Kind == "number" && a.Over && slices.Contains(takesOver, m.Mode),
		k.Kind == "min_max" && a.MinMax != nil:
		return nil
	}
	e := badAnswer("this test takes %s, not %s", k.takes(m.Mode), a.said()).(*Error)
	if k.Kind == "choice" && a.Choice != "" {
		if e.Nearest = rules.Nearest(a.Choice, k.Of); e.Nearest != "" {
			e.Message += fmt.Sprintf("; did you mean %q?", e.Nearest)
		}
	}
	return e
}

// said shows an answer as it was sent.
func (a Answer) said() string {
	switch {
	case a.Number != nil:
		return plain(*a.Number)
	case a.MinMax != nil:
		return fmt.Sprintf("min %s and max %s", plain(a.MinMax[0]), plain(a.MinMax[1]))
	case a.Over:
		return overRange
	case a.Unsure:
		return unsure
	case a.Choice != "":
		return fmt.Sprintf("%q", short(a.Choice))
	}
	return "nothing"
}

// Limits of what can be read. Practice, no source: charging faults and
// jump starts reach about 1.5 times the nominal voltage, spikes that a meter
// catches somewhat more.
const (
	mostVoltsFactor = 2.5
	mostOhms        = 1e9
	mostAmps        = 3000
)

// possible refuses a reading that no meter on such a vehicle can show.
// systemVolts is nominal; 0 = not known, which allows what 24 volts allow.
func possible(m rules.Measure, a Answer, systemVolts float64) error {
	volts := func(v float64) error {
		if systemVolts == 0 {
			systemVolts = 24
		}
		if math.Abs(v) > mostVoltsFactor*systemVolts {
			return badAnswer("%s V cannot be on a %s V vehicle. Check the meter's range", plain(v), plain(systemVolts))
		}
		return nil
	}
	switch {
	case a.MinMax != nil:
		if a.MinMax[0] > a.MinMax[1] {
			return badAnswer("the lowest reading, %s, is above the highest, %s", plain(a.MinMax[0]), plain(a.MinMax[1]))
		}
		if err := volts(a.MinMax[0]); err != nil {
			return err
		}
		return volts(a.MinMax[1])
	case a.Number == nil:
		return nil
	}
	v := *a.Number
	switch m.Mode {
	case rules.VoltsDC:
		return volts(v)
	case rules.PullIn, rules.DropOut:
		if v < 0 {
			return badAnswer("%s V is below zero; swap the leads and read again", plain(v))
		}
		return volts(v)
	case rules.Ohms:
		if v < 0 {
			return badAnswer("%s Ω is below zero: there is voltage on the circuit, or the meter is not zeroed. Measure volts first", plain(v))
		}
		if v > mostOhms {
			return badAnswer("%s Ω is more than a meter shows; say OL if it was over range", plain(v))
		}
	case rules.AmpsDC:
		if math.Abs(v) > mostAmps {
			return badAnswer("%s A is more than a clamp shows. Check the range", plain(v))
		}
	}
	return nil
}
