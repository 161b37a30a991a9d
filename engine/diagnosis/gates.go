package diagnosis

import (
	"math"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// deadVolts is what still counts as dead before the ohms range is used, volts.
const deadVolts = 0.1

// liveMost is how probable it may be that a place is live and ohms are still
// offered there.
const liveMost = 0.01

// safe is the gate in front of every test: whatever it would tell, a test that
// can hurt somebody or something is not offered.
func (c *Case) safe(cand *rank.Candidate) bool {
	switch cand.Measure.Mode {
	case rules.Ohms:
		return c.OhmsSafe(cand.Measure, cand.Setup) == ""
	case rules.Bridge:
		return c.bridgeDanger(cand.Measure) == ""
	case rules.TestLamp:
		return c.lampDanger(cand.Measure) == ""
	}
	return true
}

// OhmsSafe says why the ohms range must not be used between two places in a
// setup, or "" where it may: both places isolated by the setup, or each read as
// dead in this very setup since the last repair, with a meter proved on a live
// place, and no likely explanation that makes either live.
func (c *Case) OhmsSafe(m rules.Measure, s rules.Setup) string {
	if isolated(m.Red, s) && isolated(m.Black, s) {
		return ""
	}
	for _, place := range []string{m.Red, m.Black} {
		if place == circuit.Reference || isolated(place, s) {
			continue
		}
		if place == "battery.positive" {
			return "the battery's positive post is live"
		}
		if !c.readDead(place, s) {
			return place + " has not been read as dead in this setup"
		}
		if c.mayComeBack(place, s) {
			return place + " is live when nothing is wrong, and a fault that comes and goes can make it so at any moment: pull its fuse first"
		}
		if c.belief.LiveProbability(place, s) > liveMost {
			return place + " may be live in this setup"
		}
	}
	if !c.meterProved() {
		return "the meter has not been proved on a live place"
	}
	return ""
}

// onModule reports whether a lead lies on the coil terminal that a module is known to
// drive, through which the ohms range reads nonsense: either one, where it is not known
// which the control switches.
func (c *Case) onModule(m rules.Measure) bool {
	if driver, known := c.memory.Value("driver"); !known || driver.Text != "module" {
		return false
	}
	roles := c.roles()
	driven := ""
	switch side, _ := c.memory.Value("control_side"); side.Text {
	case "ground":
		driven = roles["coil_minus"]
	case "positive":
		driven = roles["coil_plus"]
	}
	return slices.ContainsFunc([]string{m.Red, m.Black}, func(place string) bool {
		head, terminal, _ := strings.Cut(place, ".")
		coil := (head == "socket" || head == "back") && (terminal == "85" || terminal == "86")
		return coil && (driven == "" || terminal == driven)
	})
}

// mayComeBack reports whether a place that reads dead is one that a sound circuit has
// live, in a job whose complaint comes and goes: what broke it may mend itself with
// the leads on it.
func (c *Case) mayComeBack(place string, s rules.Setup) bool {
	switch c.opening.Complaint {
	case "intermittent", "drops_out_hot", "chatters":
		return c.belief.LiveWhenSound(place, s) > liveMost
	}
	return false
}

// isolated reports whether a place hangs on nothing that can be live: the relay
// on the bench, unenergised or on a contact terminal, or a part that is unplugged.
func isolated(place string, s rules.Setup) bool {
	head, terminal, _ := strings.Cut(place, ".")
	switch head {
	case "relay":
		return s.Relay == "bench" && (s.Coil != "energised" || terminal != "85" && terminal != "86")
	case "load_part", "control_part":
		return true
	}
	return false
}

// readDead reports whether a place was read within 0.1 V of the battery's
// negative post in this setup since the last repair, the last such reading
// counting.
func (c *Case) readDead(place string, s rules.Setup) bool {
	dead := false
	for _, e := range c.events {
		switch {
		case e.repair != nil:
			dead = false
		case e.reading == nil || e.reading.Measure.Mode != rules.VoltsDC || e.reading.Answer.Number == nil:
		case !sameSetup(e.reading.Setup, s):
		case e.reading.Measure.Red == place && e.reading.Measure.Black == circuit.Reference,
			e.reading.Measure.Black == place && e.reading.Measure.Red == circuit.Reference:
			dead = math.Abs(*e.reading.Answer.Number) <= deadVolts
		}
	}
	return dead
}

func sameSetup(a, b rules.Setup) bool {
	return a.Relay == b.Relay && a.Key == b.Key && a.Command == b.Command && a.Coil == b.Coil &&
		slices.Equal(a.Unplugged, b.Unplugged) && a.Conditions() == b.Conditions()
}

// meterProved reports whether the meter has shown volts on some live place.
func (c *Case) meterProved() bool {
	return slices.ContainsFunc(c.events, func(e event) bool {
		return e.reading != nil && e.reading.Measure.Mode == rules.VoltsDC &&
			e.reading.Answer.Number != nil && math.Abs(*e.reading.Answer.Number) > 5
	})
}
