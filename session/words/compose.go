package words

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// compose makes findings, or a question, of one frame.
func (c *call) compose(f *frame) {
	c.cur = f
	defer func() { c.cur = nil }()
	said, clash := saidSetup(f.setups)
	switch {
	case clash != "":
		c.ask("The "+clash+" was said in two ways. Which was it for “"+f.raw+"”?", nil)
	case f.badNum:
		c.ask("A word in “"+f.raw+"” looks like a mistyped number. What was the number?", nil)
	case f.is("should", "past") && len(f.nums) > 0:
		c.unlessTaken(f.raw, "that sounds like what it should read or once read, not what it reads now; it was not taken")
	case f.is("inrush") && len(f.nums) > 0:
		c.unread(f.raw, "a peak at switching on is not kept; give the steady value")
	case len(f.nums) > 0:
		c.numeric(f, said)
	case len(f.values)+len(f.outcomes) > 0:
		c.seen(f, said)
	default:
		c.incomplete(f)
	}
	if seen := slices.DeleteFunc(slices.Clone(f.outcomes), func(s string) bool { return s == "good" || s == "bad" }); len(f.nums) > 0 && len(seen) > 0 {
		g := *f
		g.outcomes = seen
		g.nums, g.values, g.places, g.acts = nil, nil, nil, nil
		c.seen(&g, said)
	}
}

// unlessTaken reports what was set aside, unless something else in the
// utterance was taken.
func (c *call) unlessTaken(text, why string) {
	c.aside = append(c.aside, Unread{Text: excerpt(text), Why: why, Nearest: c.nearest(text)})
}

// incomplete asks about a frame with a place or an act and nothing read.
func (c *call) incomplete(f *frame) {
	switch {
	case f.act("bridge"):
		c.ask("What did the load do then?", nil)
	case len(f.places) > 0:
		if why := f.askPlace(); why != "" {
			c.askWhere(f, why)
			return
		}
		c.ask("What did it read at "+c.placeWords(f.places)+"?", nil)
	case trial(f):
		c.ask("What happened then?", nil)
	case f.nowhere == "" && len(f.unknown) == 0 && f.question:
		c.unread(f.raw, "that was not understood")
	default:
		c.unread(f.raw, "that was not understood")
	}
}

func (f *frame) askPlace() string {
	for _, p := range f.places {
		for _, s := range p.spots {
			if s.ask != "" {
				return s.ask
			}
		}
	}
	return ""
}

// numeric makes a reading of a frame with one number or a range.
func (c *call) numeric(f *frame, said rules.Setup) {
	for _, n := range f.nums {
		if n.num.bad {
			c.unread(n.raw, "that is no number a meter shows")
			return
		}
		if n.num.unit.dim == "alternating" {
			c.ask("The meter is on AC. What does it show on DC volts?", nil)
			return
		}
		if n.num.unit.dim == ohm && n.num.unit.scale == 1e-3 {
			c.ask("A hand meter shows no milliohms. What did it show, and in what unit?", nil)
			return
		}
		if n.num.odd != "" {
			c.ask(upper(n.num.odd)+". What was the number?", nil)
			return
		}
	}
	if f.is("bound") && c.expects(rules.PullIn) && f.outcome("silent", "off") {
		return // "no click up to 12": it never pulled in
	}
	if f.is("bound") {
		c.ask("“"+f.raw+"” is a limit, not a reading. What number did the meter show?", nil)
		return
	}
	f.nums = slices.CompactFunc(f.nums, func(a, b item) bool { return a.num.v == b.num.v && a.num.unit == b.num.unit })
	if len(f.nums) == 2 && (f.span || f.act("jumping") || c.expects(rules.MinMax)) {
		c.minMax(f, said)
		return
	}
	if v := math.Abs(f.nums[0].num.v); v > 0.5 && f.has(f.values, "dead", "nothing", "dark") || v < 1 && f.has(f.values, "live") && len(f.nums) == 1 {
		c.ask("“"+f.raw+"” says two things. What did the meter show?", nil)
		return
	}
	if len(f.nums) > 1 {
		c.ask("There are several numbers in “"+f.raw+"”. Which was read where?", nil)
		return
	}
	if c.expects(rules.MinMax) && c.atExpected(f, said) {
		c.unmoved(f)
		return
	}
	if j := f.nums[0].num.joined; j[0] != "" && c.splitMark(f, j) {
		return
	}
	c.single(f, said)
}

// splitMark asks where "twelve four" could be terminal 12 reading 4.
func (c *call) splitMark(f *frame, parts [2]string) bool {
	role, _ := roleOf(parts[0], c.ctx.Labels)
	if role == "" || len(f.places) > 0 {
		return false
	}
	c.ask(fmt.Sprintf("Is “%s” the number %s.%s, or terminal %s reading %s?", f.nums[0].raw, parts[0], parts[1], parts[0], parts[1]), nil)
	return true
}

// single makes a reading of a frame with one number.
func (c *call) single(f *frame, said rules.Setup) {
	if why := f.askPlace(); why != "" {
		c.askWhere(f, why)
		return
	}
	if f.act("pull_in", "drop_out") && c.onCoil(f, said) {
		return
	}
	if len(f.places) == 0 && f.sideOnly {
		c.askWhere(f, "a side was named, but not of what")
		return
	}
	if len(f.places) == 0 && f.is("both") {
		c.askWhere(f, "“both” names no place")
		return
	}
	if d := during(f); d != "" && !(c.ctx.Expected != nil && c.ctx.Expected.Measure.During == d) {
		c.ask("One number "+duringWords[d]+" is not enough: what was the lowest and what the highest?", nil)
		return
	}
	if f.adrift {
		c.askWhere(f, "another place was named just before it")
		return
	}
	if len(f.places) == 0 && f.nowhere != "" {
		c.askWhere(f, "“"+f.nowhere+"” is no place of this circuit that is known here")
		return
	}
	if len(f.places) > 2 || len(f.places) == 2 && !c.meltPlaces(f) {
		c.ask("There are several places in “"+f.raw+"”. Between which two, or at which one, was that read?", nil)
		return
	}
	if len(f.places) == 0 && !c.atExpectedNumber(f, said) {
		if want := c.placeless(f, said); want != "" {
			c.askWhere(f, want)
			return
		}
	}
	modes := c.modesOf(f, said)
	switch len(modes) {
	case 0:
		c.implausible(f, said)
	case 1:
		c.put(f, said, modes[0])
	default:
		c.askUnit(f, said, modes)
	}
}

// onCoil files the volts at which the relay pulled in or dropped out.
func (c *call) onCoil(f *frame, said rules.Setup) bool {
	mode := rules.PullIn
	if f.act("drop_out") {
		mode = rules.DropOut
	}
	v := value(f.nums[0].num)
	if d := f.nums[0].num.unit.dim; d != "" && d != volt && d != milli || !c.plausible(mode, v) || v < 0 {
		return false
	}
	if c.expects(mode) {
		c.file(c.answer(f, Answer{Number: &v}), f)
		return true
	}
	if said.Relay != "" && said.Relay != "bench" {
		return false
	}
	c.file(Finding{Kind: KindReading, Measure: rules.Measure{Mode: mode}, Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "energised"},
		Answer: Answer{Number: &v}, Hedge: hedge(f), Assumed: []string{"on the bench"}}, f)
	return true
}

func (c *call) atExpectedNumber(f *frame, said rules.Setup) bool {
	return c.ctx.Expected != nil && c.ctx.Expected.Kind == "number" && c.atExpected(f, said)
}

// placeless finds a place for a number said without one: an element's ends, the
// place asked for in another setup. want says what is missing, if anything.
func (c *call) placeless(f *frame, said rules.Setup) (want string) {
	amps := f.nums[0].num.unit.dim == ampere || f.act("clamp", "current")
	for _, e := range f.elements {
		switch e {
		case "coil", "battery":
			if !f.between {
				return "" // the coil in ohms, the battery in volts
			}
		case "fuse", "feed_fuse", "coil_fuse", "load", "control":
			if e == "fuse" {
				e = c.whichFuse()
			}
			if e == "fuse" {
				return "there are two fuses, the load's and the coil's"
			}
			if amps {
				f.places = []placeRef{{spots: []spot{{abs: e + ".in"}}}}
				return ""
			}
			return "which side of it was not said"
		}
	}
	e := c.ctx.Expected
	if e == nil || e.Kind == "choice" || f.between && len(expectedSpots(e.Measure)) < 2 {
		return "it was not said where"
	}
	if f.has(f.elements, "other_load") {
		return "that is not in this circuit as it is known here"
	}
	return ""
}

// meltPlaces joins a place and the ground it was read against ("86 12.4
// ground"), and two terminals with ohms between them ("85 86 84 ohms").
func (c *call) meltPlaces(f *frame) bool {
	a, b := f.places[0], f.places[1]
	twoEnds := f.nums[0].num.unit.dim == ohm && a.spots[0].role != "" && b.spots[0].role != ""
	if len(a.spots) == 1 && len(b.spots) == 1 && (twoEnds || b.spots[0].part == "ground") {
		f.places = []placeRef{{spots: []spot{a.spots[0], b.spots[0]}, pair: true}}
		return true
	}
	return false
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
	bench := said.Relay == "bench" || c.prefixFor(f, 0) == "relay" || said.Relay == "" && c.onBench()
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
	return []rules.Mode{rules.VoltsDC, rules.Ohms}
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

func (c *call) expects(m rules.Mode) bool {
	return c.ctx.Expected != nil && c.ctx.Expected.Measure.Mode == m
}

// fitsExpected tells whether a bare number could answer the expected test.
func (c *call) fitsExpected(n num) bool {
	e := c.ctx.Expected
	return e != nil && (e.Kind == "number" || e.Kind == "min_max") && c.plausible(e.Measure.Mode, n.v)
}
