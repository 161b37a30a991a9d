package diagnosis

import (
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/rules"
)

// What is dangerous about a jumper or a lamp, by the row of the rulebook's table of stops
// that says what to do at once.
const (
	bridgeHazard  = "bridge_hazard"  // the load can hurt someone
	bridgeUnasked = "bridge_unasked" // it is not known whether it can
	bridgePlaces  = "bridge_places"  // not from the contact's supply cavity to its load cavity
	bridgeShort   = "bridge_short"   // load or load wire likely shorted
	bridgeTrips   = "bridge_trips"   // a fuse went
	lampModule    = "lamp_module"    // on the coil's circuit, which a module drives
	lampDriver    = "lamp_driver"    // on the coil's circuit, and it is not known what drives it
)

// shortMost is how probable a short in the load may be and a jumper still be
// offered.
const shortMost = 0.1

// bridgeDanger says what speaks against a fused jumper, "" where nothing does: it goes
// only from the contact's supply cavity to its load cavity, only where it is known that
// the load may run past its control, and not where the load side is likely shorted.
func (c *Case) bridgeDanger(m rules.Measure) string {
	if stop := c.runDanger(); stop == bridgeHazard || c.contactPair(m) {
		return stop
	}
	return bridgePlaces
}

// runDanger says what speaks against running the load past its control, "" where nothing does.
func (c *Case) runDanger() string {
	switch hazard, known := c.memory.Value("load_hazard"); {
	case !known:
		return bridgeUnasked
	case hazard.Text != "none":
		return bridgeHazard
	}
	short := 0.0
	for _, h := range c.belief.Ranking() {
		if slices.Contains(h.Suspects, "load.shorted") || slices.Contains(h.Suspects, "load_wire.short_to_ground") {
			short += h.Probability()
		}
	}
	if short > shortMost {
		return bridgeShort
	}
	return ""
}

// contactPair reports whether a jumper lies from the contact's supply cavity to its load
// cavity, whichever end was named first, as far as it is known which they are.
func (c *Case) contactPair(m rules.Measure) bool {
	roles := c.roles()
	supply, away := "socket."+roles["supply"], "socket."+roles["away"]
	return m.From == supply && m.To == away || m.From == away && m.To == supply
}

// mayBeContactPair reports whether two cavities are the contact's, where it is not known
// yet which of them the supply feeds.
func (c *Case) mayBeContactPair(m rules.Measure) bool {
	roles := c.roles()
	cavity := func(place string) bool {
		return slices.Contains([]string{"socket.30", "socket.87", "socket.87a"}, place)
	}
	return (roles["supply"] == "" || roles["away"] == "") && m.From != m.To && cavity(m.From) && cavity(m.To)
}

// lampDanger says what speaks against a test lamp, "" where nothing does: it stays off the
// coil's circuit unless a plain switch, known as such, commands it. A module's output does
// not survive one.
func (c *Case) lampDanger(m rules.Measure) string {
	driver, known := c.memory.Value("driver")
	if known && driver.Text == "switch" {
		return ""
	}
	for _, place := range []string{m.Red, m.Black} {
		head, terminal, _ := strings.Cut(place, ".")
		if terminal != "85" && terminal != "86" && !strings.HasPrefix(head, "control") {
			continue
		}
		if known && driver.Text == "module" {
			return lampModule
		}
		return lampDriver
	}
	return ""
}

// Danger says what was wrong with doing a measurement, by what was known before it was
// reported: a row of the rulebook's table of stops, and of a test that a safety rule
// forbids that rule's because. Both are "" where the gates would have let it pass, and for
// ohms, which OhmsSafe refuses.
func (c *Case) Danger(r Reading) (stop, because string) {
	m := r.Measure
	switch m.Mode {
	case rules.Bridge:
		if r.Answer.Choice == "trips" {
			return bridgeTrips, ""
		}
		stop = c.bridgeDanger(m)
		if stop == bridgePlaces && c.mayBeContactPair(m) {
			stop = c.runDanger()
		}
	case rules.TestLamp:
		stop = c.lampDanger(m)
	case rules.Swap, rules.Reseat:
	default:
		return "", ""
	}
	if stop != "" {
		return stop, ""
	}
	if rule := c.safetyAgainst(m, r.Setup); rule != nil {
		return string(m.Mode), rule.Because
	}
	return "", ""
}

// safetyAgainst gives the first safety rule that forbids a test of these places, whichever
// way round the leads lie; nil where none does.
func (c *Case) safetyAgainst(m rules.Measure, s rules.Setup) *rules.Rule {
	for _, t := range c.knowledge.book.Tests {
		by := c.effects.Forbidden[t.ID]
		of, filled := fillRoles(t.Measure, c.roles())
		if t.Measure.Mode != m.Mode || !filled || !samePlaces(of, m) || circuit.SetupFor(of, t.Setup).Relay != circuit.SetupFor(m, s).Relay {
			continue
		}
		if i := slices.IndexFunc(by, func(r *rules.Rule) bool { return r.Safety }); i >= 0 {
			return by[i]
		}
	}
	return nil
}

func samePlaces(a, b rules.Measure) bool {
	x, y := a.Places(), b.Places()
	slices.Sort(x)
	slices.Sort(y)
	return slices.Equal(x, y)
}
