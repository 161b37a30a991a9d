package words

import (
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// modesOf lists the modes that the number could be a reading of.
func (c *call) modesOf(f *frame, said rules.Setup) []rules.Mode {
	n := f.nums[0].num
	cand := candidates(n.unit.dim)
	if n.unit.dim == "" || n.unit.dim == milli {
		cand = keep(cand, hinted(f))
	}
	if e := c.ctx.Expected; e != nil && e.Kind == "number" && c.atExpected(f, said) {
		for _, m := range cand {
			if like(m, e.Measure.Mode) && c.plausible(m, value(n)) {
				return []rules.Mode{e.Measure.Mode}
			}
		}
		if len(f.places) == 0 {
			return nil
		}
	}
	if e := c.ctx.Expected; e != nil && e.Kind == "number" && len(f.places) == 0 && len(f.elements) == 0 && n.unit.dim == "" {
		cand = slices.DeleteFunc(cand, func(m rules.Mode) bool { return !like(m, e.Measure.Mode) })
	}
	if n.unit.dim == "" {
		cand = keep(cand, c.byPlace(f, said, value(n)))
	}
	var out []rules.Mode
	for _, m := range cand {
		if c.plausible(m, value(n)) {
			out = append(out, m)
		}
	}
	return out
}

func candidates(dim string) []rules.Mode {
	switch dim {
	case volt:
		return []rules.Mode{rules.VoltsDC}
	case ohm, kilo:
		return []rules.Mode{rules.Ohms}
	case ampere:
		return []rules.Mode{rules.AmpsDC}
	case milli:
		return []rules.Mode{rules.VoltsDC, rules.AmpsDC}
	case "":
		return []rules.Mode{rules.VoltsDC, rules.Ohms, rules.AmpsDC}
	}
	return nil
}

// like tells whether a mode's numbers are of the expected mode's kind.
func like(m, want rules.Mode) bool {
	return m == want || m == rules.VoltsDC && (want == rules.PullIn || want == rules.DropOut || want == rules.MinMax)
}

// hinted are the modes that the words beside the number allow; nil = any.
func hinted(f *frame) []rules.Mode {
	switch {
	case f.act("clamp", "current", "in_series", "fuse_drop"):
		return []rules.Mode{rules.AmpsDC}
	case f.act("resistance"):
		return []rules.Mode{rules.Ohms}
	case f.act("drop", "voltage", "ghost", "pull_in", "drop_out"):
		return []rules.Mode{rules.VoltsDC}
	}
	return nil
}

func keep(list, allowed []rules.Mode) []rules.Mode {
	if allowed == nil {
		return list
	}
	var out []rules.Mode
	for _, m := range list {
		for _, a := range allowed {
			if m == a {
				out = append(out, m)
			}
		}
	}
	return out
}

// byPlace are the modes that a number without a unit may be at its place: one
// terminal is read in volts; the coil's two ends beyond the system's volts, or
// on the bench, in ohms.
func (c *call) byPlace(f *frame, said rules.Setup, v float64) []rules.Mode {
	if f.has(f.elements, "coil") && len(f.places) == 0 {
		return []rules.Mode{rules.Ohms}
	}
	if f.has(f.elements, "battery") && len(f.places) == 0 {
		return []rules.Mode{rules.VoltsDC}
	}
	if len(f.places) == 0 {
		return nil
	}
	p := f.places[0]
	if len(p.spots) == 2 && p.pair && slices.ContainsFunc(p.spots, func(s spot) bool { return strings.HasPrefix(s.abs, "battery") }) {
		return []rules.Mode{rules.VoltsDC}
	}
	bench := said.Relay == "bench" || c.prefixFor(f, 0) == "relay" || said.Relay == "" && c.onBench() && ofRelay(p)
	switch {
	case !p.pair && !p.vague, againstGround(p):
		if bench {
			return nil
		}
		return []rules.Mode{rules.VoltsDC}
	case bench:
		return []rules.Mode{rules.Ohms}
	case p.vague:
		return []rules.Mode{rules.VoltsDC}
	case !c.plausible(rules.VoltsDC, v):
		if p.coil() {
			return []rules.Mode{rules.Ohms}
		}
		return []rules.Mode{rules.Ohms, rules.AmpsDC}
	case said.Relay != "" || c.prefixFor(f, 0) != "" || f.is("drop"):
		return []rules.Mode{rules.VoltsDC}
	}
	if stands := c.stands(); stands != nil && stands.Relay == "in" && stands.Command == "on" {
		return []rules.Mode{rules.VoltsDC} // live: nobody reads ohms there
	}
	if c.expects(rules.VoltsDC) {
		return []rules.Mode{rules.VoltsDC} // the meter is on volts
	}
	return []rules.Mode{rules.VoltsDC, rules.Ohms}
}

// stands is how the vehicle stands, as far as is known: else as the test asks for.
func (c *call) stands() *rules.Setup {
	if c.ctx.Now == nil && c.ctx.Expected != nil && c.ctx.Expected.Measure.Mode != rules.Ask {
		return &c.ctx.Expected.Setup
	}
	return c.ctx.Now
}

// ofRelay tells a place with a terminal of the relay in it: no other is on the bench with it.
func ofRelay(p placeRef) bool {
	return slices.ContainsFunc(p.spots, func(s spot) bool { return s.role != "" })
}

func (c *call) onBench() bool {
	return c.ctx.Expected != nil && c.ctx.Expected.Setup.Relay == "bench"
}

func (p placeRef) coil() bool {
	return len(p.spots) == 2 && (p.spots[0].role == "86" && p.spots[1].role == "85" || p.spots[0].role == "85" && p.spots[1].role == "86")
}

func againstGround(p placeRef) bool {
	if len(p.spots) != 2 || !p.pair {
		return false
	}
	b := p.spots[1]
	return b.part == "ground" || b.abs == "battery.negative" || b.abs == "chassis"
}

// plausible tells whether a meter on this vehicle could show v.
func (c *call) plausible(m rules.Mode, v float64) bool {
	a := math.Abs(v)
	switch m {
	case rules.VoltsDC, rules.MinMax, rules.PullIn, rules.DropOut:
		return a <= c.mostVolts()
	case rules.Ohms:
		return v >= 0 && v <= 1e9
	case rules.AmpsDC:
		return a <= 1500
	}
	return false
}

// mostVolts is well above any charging voltage of the system (practice, no
// source): 15.2 V, 30.4 V for 24 V, are already too much.
func (c *call) mostVolts() float64 {
	if c.ctx.SystemVolts > 0 {
		return 1.5 * c.ctx.SystemVolts
	}
	return 36
}

// value is the number in SI units, as a measurement of the mode.
func value(n num) float64 {
	v := n.v
	if n.unit.scale != 0 {
		v *= n.unit.scale
	}
	// Scaling may leave a digit in the seventeenth place.
	if r, err := parse12(v); err == nil {
		return r
	}
	return v
}

func (c *call) expects(m rules.Mode) bool {
	return c.ctx.Expected != nil && c.ctx.Expected.Measure.Mode == m
}

// fitsExpected tells whether a bare number could answer the expected test.
func (c *call) fitsExpected(n num) bool {
	e := c.ctx.Expected
	return e != nil && (e.Kind == "number" || e.Kind == "min_max") && c.plausible(e.Measure.Mode, n.v)
}
