package session

import (
	"math"
	"regexp"
	"strings"

	"coilside/engine/pinout"
	"coilside/engine/quantity"
	"coilside/rules"
)

// pinTest is the id of a reading between pins: ohms_a_b, volts_a_b (plus first), or
// on_a_b_ohms_c_d with the coil energised, plus first.
var pinTest = regexp.MustCompile(`^(?:on_([a-e])_([a-e])_)?(ohms|volts)_([a-e])_([a-e])$`)

func pinTestID(n *pinout.PinTest) string {
	switch {
	case n.Mode == "volts_dc":
		return "volts_" + n.Red + "_" + n.Black
	case n.Positive != "":
		return "on_" + n.Positive + "_" + n.Negative + "_ohms_" + n.Red + "_" + n.Black
	}
	return "ohms_" + n.Red + "_" + n.Black
}

// pinReading makes a reading of the log one of the calculation; false if it is none.
func pinReading(r Reading) (pinout.PinReading, bool) {
	m := pinTest.FindStringSubmatch(r.Test)
	if m == nil || r.Answer.Unsure {
		return pinout.PinReading{}, false
	}
	out := pinout.PinReading{Positive: m[1], Negative: m[2], Red: m[4], Black: m[5]}
	switch {
	case m[3] == "volts" && r.Answer.Number != nil:
		v := quantity.Volts(*r.Answer.Number)
		out.Volts = &v
	case m[3] == "ohms" && r.Answer.Over:
		v := quantity.Ohms(math.Inf(1))
		out.Ohms = &v
	case m[3] == "ohms" && r.Answer.Number != nil:
		v := quantity.Ohms(*r.Answer.Number)
		out.Ohms = &v
	default:
		return out, false
	}
	return out, true
}

// pinAsk is a reading between pins as a test.
func pinAsk(id string) (Test, bool) {
	m := pinTest.FindStringSubmatch(id)
	if m == nil {
		return Test{}, false
	}
	t := Test{ID: id, Minutes: 0.5, Cautions: []string{}, Measure: rules.Measure{Mode: rules.Ohms, Red: "pin." + m[4], Black: "pin." + m[5]},
		Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "rest"}, Answers: AnswerKind{Kind: "number", Unit: "ohm"}}
	if m[3] == "volts" {
		t.Measure.Mode, t.Answers.Unit, t.Minutes = rules.VoltsDC, "volt", 1
	}
	if m[1] != "" {
		t.Setup.Coil, t.Minutes = "energised", 1
	}
	return t, true
}

// identify asks the calculation for the next reading.
func (c *errand) identify(book *rules.Book, o OpenRequest, readings []Reading, skipped map[string]bool) error {
	c.result.Purpose = "identify"
	if c.asks[0].answer == nil {
		c.asks[0].skip = false // nothing can be told without it
		return nil
	}
	p, err := pinout.Identify(book, c.unmarked(o, readings))
	if err != nil {
		c.wrong = err
		return nil
	}
	c.result.Identify, c.ready = &p, p.State == "identified" || p.State == "proven" || p.State == "impossible"
	c.text = strings.Split(p.Text, "\nTo prove it: ")[0]
	if p.State == "measuring" || p.State == "doubtful" {
		c.text = strings.Join(p.Mistakes, "\n")
	}
	if c.done = p.Next == nil; c.done {
		return nil
	}
	t, _ := pinAsk(pinTestID(p.Next))
	t.Say, t.Why, t.Cautions = p.Next.Say, p.Next.Why, p.Next.Cautions
	if l := p.Next.Limit; l != nil {
		t.Supply = &Supply{Positive: "pin." + p.Next.Positive, Negative: "pin." + p.Next.Negative, Volts: l.Volts, Amps: l.Amps}
	}
	// What only proves may be left out; without the others nothing is told.
	c.done = p.State == "identified" && skipped[t.ID]
	c.asks = append(c.asks, ask{test: t, must: true, skip: c.done})
	return nil
}

// unmarked is the relay with the readings so far, as the calculation takes it.
func (c *errand) unmarked(o OpenRequest, readings []Reading) pinout.Unmarked {
	pins := 5
	if c.asks[0].answer.Choice == "4" {
		pins = 4
	}
	u := pinout.Unmarked{Pins: &pins, Contact: o.Circuit.Contact, Suppression: o.Circuit.Suppression}
	if v := o.Circuit.SystemVolts; v != nil {
		q := quantity.Volts(*v)
		u.CoilVolts = &q
	}
	if v := o.Circuit.CoilOhms; v != nil {
		q := quantity.Ohms(*v)
		u.NominalOhms = &q
	}
	for _, r := range readings {
		if p, ok := pinReading(r); ok {
			u.Readings = append(u.Readings, p)
		}
	}
	return u
}
