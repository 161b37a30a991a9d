package words

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"coilside/rules"
)

// This file places the leads of a reading.

func parse12(v float64) (float64, error) {
	return strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
}

func prefixOfPlace(place string) string {
	p, _, _ := strings.Cut(place, ".")
	switch p {
	case "socket", "back", "relay":
		return p
	}
	return ""
}

// prefixFor is what was said of where spot i of the frame was touched.
func (c *call) prefixFor(f *frame, i int) string {
	if len(f.places) > 0 && i < len(f.places[0].spots) && f.places[0].spots[i].prefix != "" {
		return f.places[0].spots[i].prefix
	}
	return f.prefix
}

// relayOfPrefix is the state of the relay that a kind of place implies.
var relayOfPrefix = map[string]string{"socket": "out", "back": "in", "relay": "bench"}

var prefixOfRelay = map[string]string{"out": "socket", "in": "back", "bench": "relay"}

// put files one number in one mode: as the answer to the expected test if it is
// about that, else as a reading of its own.
func (c *call) put(f *frame, said rules.Setup, mode rules.Mode) {
	if mode == rules.Ohms && len(f.places) == 1 && f.places[0].vague {
		f.places[0].pair = true
	}
	e := c.ctx.Expected
	asked := func(g *frame) bool {
		return e != nil && e.Kind == "number" && like(mode, e.Measure.Mode) && c.atExpected(g, said)
	}
	parts := eachPlace(f)
	if asked(f) {
		parts = []frame{*f}
	}
	for _, part := range parts {
		if asked(&part) {
			v := value(part.nums[0].num)
			c.file(c.answer(&part, Answer{Number: &v}), &part)
			continue
		}
		c.offScript(&part, said, mode)
	}
}

// eachPlace parts "86 and 85 both 12.4" into one frame a place.
func eachPlace(f *frame) []frame {
	if len(f.places) != 1 || f.places[0].pair || len(f.places[0].spots) < 2 {
		return []frame{*f}
	}
	var out []frame
	for _, s := range f.places[0].spots {
		g := *f
		g.places = []placeRef{{spots: []spot{s}}}
		out = append(out, g)
	}
	return out
}

// answer is a finding that answers the expected test.
func (c *call) answer(f *frame, a Answer) Finding {
	e := c.ctx.Expected
	return Finding{Kind: KindAnswer, Test: e.ID, Measure: e.Measure, Setup: e.Setup, Answer: a, Hedge: hedge(f), Notes: notes(f)}
}

func hedge(f *frame) string { return strings.Join(f.hedges, ", ") }

func notes(f *frame) []string {
	var out []string
	if f.act("donor_proved") {
		out = append(out, "the relay put in works in its own place")
	}
	if f.act("ghost") {
		out = append(out, "a ghost voltage: load it before it counts")
	}
	return out
}

// offScript makes a reading of what was measured unasked, or asks for what is
// missing.
func (c *call) offScript(f *frame, said rules.Setup, mode rules.Mode) {
	v := value(f.nums[0].num)
	if f.places != nil && f.places[0].vague && mode == rules.VoltsDC && len(f.places[0].spots) == 2 {
		f.places[0].pair = true
	}
	fd, want := c.reading(f, said, mode)
	if want != "" {
		c.askWhere(f, want)
		return
	}
	fd.Answer = Answer{Number: &v}
	c.settle(fd, f)
}

// settle files a reading whose setup is complete and asks where it is not.
func (c *call) settle(fd Finding, f *frame) {
	if missing := unsaid(fd.Setup); missing != "" {
		c.askSetup(fd, f, missing)
		return
	}
	c.file(fd, f)
}

// reading places the leads of an unasked reading; want says what is missing.
func (c *call) reading(f *frame, said rules.Setup, mode rules.Mode) (fd Finding, want string) {
	fd = Finding{Kind: KindReading, Hedge: hedge(f), Notes: notes(f)}
	if len(f.places) == 0 && f.has(f.elements, "coil") && mode == rules.Ohms {
		two := c.coilEnds()
		f.places = []placeRef{{spots: two[:], pair: true}}
	}
	if len(f.places) == 0 && f.has(f.elements, "battery") && mode == rules.VoltsDC {
		two := ends["battery"]
		f.places = []placeRef{{spots: two[:], pair: true}}
	}
	if implied := c.impliedRelay(f, mode); said.Relay == "" {
		said.Relay = implied
	} else if said.Relay == "out" && implied == "bench" && strings.Contains(strings.ToLower(f.raw), "coil") {
		said = rules.Setup{Relay: "bench", Coil: said.Coil, Heat: said.Heat} // "relay's out, the coil is 85": no coil is left in the socket
	}
	plan := setupPlan{said: said, offBench: mode != rules.Ohms && !c.expects(mode)}
	if mode == rules.Ohms && len(f.places) == 1 && partOf(f.places[0].spots) != "" {
		plan.habit = rules.Setup{Relay: "in", Key: "off", Command: "off"}
	}
	if mode == rules.AmpsDC && said.Relay == "" && c.flows(f) || dropsOver(f, mode) {
		plan.habit = usualRun
	}
	var missing string
	fd.Setup, fd.Assumed, missing = c.complete(plan)
	if missing == "relay" && c.needsRelay(f) {
		return fd, relayUnsaid
	}
	if mode == rules.Ohms {
		fd.Assumed = slices.DeleteFunc(fd.Assumed, func(s string) bool { return s == "coil "+coilWords["rest"] }) // nobody reads ohms on a coil that is fed
	}
	m, assumed, want := c.measure(f, mode, fd.Setup)
	fd.Measure, fd.Assumed = m, append(fd.Assumed, assumed...)
	return fd, want
}

// dropsOver tells of a drop over a part of the circuit or its way to ground: it takes a current, and so the relay.
func dropsOver(f *frame, mode rules.Mode) bool {
	if mode != rules.VoltsDC || !f.act("drop") || len(f.places) != 1 {
		return false
	}
	p := f.places[0]
	if first := p.spots[0]; !p.pair {
		return first.abs == "load.out" || first.part == "ground"
	}
	return !slices.ContainsFunc(p.spots, func(s spot) bool { return strings.HasPrefix(s.abs, "battery") })
}

// flows tells of a current in the load that needs the relay in, though it was out before:
// "the fan draws fifteen amps".
func (c *call) flows(f *frame) bool {
	stands := c.stands()
	return stands != nil && stands.Relay == "out" && len(f.nums) == 1 && math.Abs(value(f.nums[0].num)) >= 0.1 &&
		len(f.places) == 1 && strings.HasPrefix(f.places[0].spots[0].abs, "load.")
}

func (c *call) needsRelay(f *frame) bool {
	return len(f.places) > 0 && slices.ContainsFunc(f.places[0].spots, func(s spot) bool { return s.role != "" && s.prefix == "" })
}

// impliedRelay is the relay's state that the places or the mode imply.
func (c *call) impliedRelay(f *frame, mode rules.Mode) string {
	if p := c.prefixFor(f, 0); p != "" {
		return relayOfPrefix[p]
	}
	if len(f.places) == 0 {
		return ""
	}
	p := f.places[0]
	if mode == rules.Ohms && p.coil() {
		return "bench"
	}
	if mode == rules.VoltsDC && f.has(f.values, "same") && len(p.spots) == 1 && (p.spots[0].role == "86" || p.spots[0].role == "85") {
		return "in" // both ends of a coil are alike only with the coil between them
	}
	return ""
}

// measure places the leads.
func (c *call) measure(f *frame, mode rules.Mode, s rules.Setup) (m rules.Measure, assumed []string, want string) {
	m.Mode = mode
	spots, from := c.leadSpots(f, mode, s)
	if len(spots) == 0 {
		return m, nil, "it was not said where"
	}
	if len(f.places) == 1 && len(spots) == 1 && f.places[0].spots[0].part == "ground" {
		if !f.act("drop") || c.last != "load" && c.last != "contact" {
			return m, nil, "which ground, and against what, was not said"
		}
		spots[0] = "load.out" // "load drop 11.9, ground drop 0.1"
	}
	if from != "" {
		assumed = append(assumed, from)
	}
	if mode == rules.AmpsDC {
		m.At, m.How = spots[0], how(f)
		if m.How == "" {
			m.How = "clamp"
			if e := c.ctx.Expected; e != nil && e.Measure.How != "" {
				m.How = e.Measure.How
			}
			assumed = append(assumed, "by "+howWords[m.How])
		}
		return m, assumed, ""
	}
	m.Red = spots[0]
	if len(f.places) == 1 && mode == rules.Ohms {
		if part := partOf(f.places[0].spots); part != "" {
			m.Red, m.Black = strings.Replace(spots[0], ".", "_part.", 1), strings.Replace(spots[1], ".", "_part.", 1)
			return m, append(assumed, "unplugged"), ""
		}
	}
	if len(spots) == 2 {
		m.Black = spots[1]
		if m, assumed, turned := c.fromBattery(f, m, assumed); turned {
			return m, assumed, ""
		}
		return c.likeAsked(m, assumed)
	}
	if mode == rules.Ohms {
		return m, assumed, "a resistance is between two places; only one was said"
	}
	m.Black = "battery.negative"
	if e := c.ctx.Expected; e != nil && e.Measure.Black == "chassis" {
		m.Black = "chassis"
	}
	if m.Red == m.Black {
		return m, assumed, "both leads would be on the " + placeName(m.Black)
	}
	return m, append(assumed, "black lead on "+placeName(m.Black)), ""
}

// fromBattery takes a positive number between a place and battery positive for one read with the red
// lead on the battery: nothing in the circuit stands above its positive post.
func (c *call) fromBattery(f *frame, m rules.Measure, assumed []string) (rules.Measure, []string, bool) {
	if m.Mode != rules.VoltsDC || m.Black != "battery.positive" || m.Red == "battery.positive" || len(f.nums) != 1 || value(f.nums[0].num) <= 0 {
		return m, assumed, false
	}
	m.Red, m.Black = m.Black, m.Red
	return m, append(assumed, "red lead on battery positive"), true
}

// partOf is the load or the control where the spots are its two ends. It is read
// in ohms by itself, unplugged: in place, all that hangs on it would be read.
func partOf(spots []spot) string {
	for _, part := range []string{"load", "control"} {
		if len(spots) == 2 && spots[0].abs != spots[1].abs && strings.HasPrefix(spots[0].abs, part+".") && strings.HasPrefix(spots[1].abs, part+".") {
			return part
		}
	}
	return ""
}

// likeAsked turns a pair said in the other order than asked into the asked
// order: the leads stay where the test put them.
func (c *call) likeAsked(m rules.Measure, assumed []string) (rules.Measure, []string, string) {
	if e := c.ctx.Expected; e != nil && m.Red == e.Measure.Black && m.Black == e.Measure.Red {
		m.Red, m.Black = m.Black, m.Red
		assumed = append(assumed, "red lead on "+c.spotName(m.Red))
	}
	return m, assumed, ""
}

var howWords = map[string]string{"clamp": "clamp", "fuse_drop": "the drop across the fuse", "series": "meter in series"}

func how(f *frame) string {
	switch {
	case f.act("clamp"):
		return "clamp"
	case f.act("fuse_drop"):
		return "fuse_drop"
	case f.act("in_series"):
		return "series"
	}
	return ""
}

// leadSpots are the full names of the places; from says that they were taken
// from the expected test.
func (c *call) leadSpots(f *frame, mode rules.Mode, s rules.Setup) (spots []string, from string) {
	if len(f.places) > 0 {
		for i, sp := range f.places[0].spots {
			spots = append(spots, c.fullName(f, i, sp, s))
		}
		return spots, ""
	}
	e := c.ctx.Expected
	if e == nil || f.nowhere != "" || !like(mode, e.Measure.Mode) && mode != rules.MinMax && mode != rules.TestLamp {
		return nil, ""
	}
	for _, p := range expectedSpots(e.Measure) {
		if r := role(p); r != "" && s.Relay != "" {
			p = prefixOfRelay[s.Relay] + "." + r
		}
		spots = append(spots, p)
	}
	if f.between && len(spots) < 2 {
		return nil, ""
	}
	return spots, "at the place asked for"
}

func (c *call) fullName(f *frame, i int, sp spot, s rules.Setup) string {
	if sp.role == "" {
		if sp.part == "ground" {
			if e := c.ctx.Expected; e != nil && e.Measure.Black == "chassis" {
				return "chassis"
			}
			return "battery.negative"
		}
		return sp.abs
	}
	p := c.prefixFor(f, i)
	if p == "" || relayOfPrefix[p] != s.Relay && p != "socket" {
		p = prefixOfRelay[s.Relay]
	}
	return p + "." + sp.role
}

// liveOhms tells whether a resistance was read where there may be voltage: all
// but the relay's own blades and unplugged parts.
func liveOhms(m rules.Measure) bool {
	safe := func(p string) bool {
		return strings.HasPrefix(p, "relay.") || strings.Contains(p, "_part.")
	}
	return m.Mode == rules.Ohms && !(safe(m.Red) && safe(m.Black))
}
