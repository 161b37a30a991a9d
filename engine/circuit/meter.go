package circuit

import (
	"fmt"
	"math"
	"strings"

	"coilside/rules"
)

// What the technician holds.
const (
	// MeterOhms is the input resistance of a digital voltmeter, ohms.
	MeterOhms = 10e6
	// OverRange is where an ohmmeter shows OL, ohms.
	OverRange = 20e6
	// lampWatts is the test lamp: so many watts at the system's nominal volts.
	lampWatts = 5
	// deadVolts is what still counts as dead for the ohms range, volts.
	deadVolts = 0.1
)

// Raw is what a measurement comes to before any meter error or human eye:
//
//	volts_dc, ohms, amps_dc, pull_in, drop_out   A in V, ohms (+Inf = OL), A, V, V
//	min_max                                      A lowest, B highest, V
//	test_lamp                                    A = lamp volts / nominal
//	bridge, watch, reseat, swap                  A = how well the load runs, 1 = as it should; see Trips, ComesAndGoes
//	listen                                       A = one of Silent, Clicks, Buzzes
//	look at a fuse                               A = 1 blown, 0 sound
type Raw struct{ A, B float64 }

// Marks that stand for more than a number in Raw.A.
const (
	Trips        = -1.0
	ComesAndGoes = -2.0
	Silent       = 0.0
	Clicks       = 1.0
	Buzzes       = 2.0
)

// Probe is a measurement made ready for one network: its places found, and the state it
// is taken in.
type Probe struct {
	Mode   rules.Mode
	a, b   int
	branch int // of amps_dc; -1 = none
	during string
	state  state
}

// nodeName is the network's name for a place: a back-probed terminal is the
// harness side of its joint, the same metal as the open cavity.
func nodeName(place string) string {
	if t, ok := strings.CutPrefix(place, "back."); ok {
		return "socket." + t
	}
	return place
}

// Check says what is wrong with a measurement as such, whatever the wiring: a
// place that no wiring has, or one that the setup does not give access to.
func Check(m rules.Measure, s rules.Setup) error {
	for _, place := range m.Places() {
		head, _, _ := strings.Cut(place, ".")
		want := map[string]string{"socket": "out", "back": "in", "relay": "bench"}[head]
		if want != "" && s.Relay != want {
			return fmt.Errorf("%s can be reached only with relay %s, and the setup says relay %s", place, want, s.Relay)
		}
	}
	return nil
}

// Resolve finds a measurement's places in the wiring. A place that this wiring
// lacks reads as a lead on nothing.
func (m *Model) Resolve(w *Wiring, measure rules.Measure, setup rules.Setup) Probe {
	node := func(place string) int {
		if id, ok := w.net.nodes[nodeName(w.Fill(place))]; ok {
			return id
		}
		return absent
	}
	p := Probe{Mode: measure.Mode, a: absent, b: absent, branch: -1, during: measure.During, state: stateFor(measure, setup)}
	switch measure.Mode {
	case rules.VoltsDC, rules.Ohms, rules.MinMax, rules.TestLamp:
		p.a, p.b = node(measure.Red), node(measure.Black)
	case rules.AmpsDC:
		p.branch = m.branchAt(w.Fill(measure.At))
	case rules.Look:
		p.branch = -1
		if e, ok := m.elements[measure.At]; ok && m.kinds[e] == "fuse" {
			p.branch = e
		}
	case rules.Bridge:
		p.state.jumper = [2]int{node(measure.From), node(measure.To)}
	}
	return p
}

// branchAt is the element whose current flows at a place: the element the place
// is named for, or the joint at a terminal.
func (m *Model) branchAt(place string) int {
	head, tail, _ := strings.Cut(place, ".")
	head = strings.TrimSuffix(head, "_part")
	if head == "socket" || head == "back" || head == "relay" {
		head = "terminal_" + tail
	}
	if e, ok := m.elements[head]; ok {
		return e
	}
	return -1
}

// SetupFor completes a setup with what the measurement itself implies: a part
// whose own terminals are touched is unplugged.
func SetupFor(m rules.Measure, s rules.Setup) rules.Setup {
	for _, place := range []string{m.Red, m.Black} {
		p := part(place)
		if p == "" {
			continue
		}
		listed := false
		for _, u := range s.Unplugged {
			listed = listed || u == p
		}
		if !listed {
			s.Unplugged = append(append([]string(nil), s.Unplugged...), p)
		}
	}
	return s
}

// Read measures one instance in one setup. Settled instances are not reused: use
// Settle and At where several places are read in one setup.
func (sv *Solver) Read(in *Instance, measure rules.Measure, setup rules.Setup) Raw {
	p := in.model.Resolve(in.draw.Wiring, measure, setup)
	sv.SettleFor(in, &p)
	return sv.At(&p)
}

// stateFor is the state a measurement is taken in, a jumper's places left out.
func stateFor(measure rules.Measure, setup rules.Setup) state {
	st := stateOf(SetupFor(measure, setup))
	switch measure.Mode {
	case rules.Ohms:
		st.cold = true
	case rules.Bridge:
		st.bridged = true
	case rules.Reseat, rules.Swap, rules.Listen:
		st.relayIn = true
	}
	return st
}

// At reads one probe in the settled state.
func (sv *Solver) At(p *Probe) Raw {
	switch p.Mode {
	case rules.VoltsDC:
		return Raw{A: sv.volts(p.a, p.b, MeterOhms)}
	case rules.MinMax:
		return sv.minMax(p)
	case rules.Ohms:
		return Raw{A: sv.ohms(p.a, p.b)}
	case rules.AmpsDC:
		if p.branch < 0 {
			return Raw{}
		}
		return Raw{A: sv.branchAmps(p.branch)}
	case rules.TestLamp:
		nominal := sv.in.draw.Wiring.nominal
		return Raw{A: math.Abs(sv.volts(p.a, p.b, nominal*nominal/lampWatts)) / nominal}
	case rules.Bridge, rules.Watch, rules.Reseat, rules.Swap:
		return Raw{A: sv.load()}
	case rules.Listen:
		return Raw{A: sv.sound()}
	case rules.PullIn:
		return Raw{A: sv.in.threshold(true)}
	case rules.DropOut:
		return Raw{A: sv.in.threshold(false)}
	case rules.Look:
		if p.branch >= 0 && (sv.blown[p.branch] || sv.in.changed(p.branch).open) {
			return Raw{A: 1}
		}
	}
	return Raw{}
}

// volts is what a meter of so many ohms shows from a to b.
func (sv *Solver) volts(a, b int, meter float64) float64 {
	if a == absent || b == absent || a == b {
		return 0
	}
	open := at(sv.sys.volts, a) - at(sv.sys.volts, b)
	if sv.armature == Buzzing { // the meter averages the two positions
		open = (open + at(sv.other, a) - at(sv.other, b)) / 2
	}
	if open == 0 {
		return 0
	}
	return open * meter / (meter + sv.sys.resistanceBetween(a, b))
}

// minMax is the span of the volts while something is provoked. Here that is the
// command, as it goes from off to on, and the two positions of a relay that
// buzzes; what comes and goes by wiggling is handled by whoever mixes an instance
// with its absent self.
func (sv *Solver) minMax(p *Probe) Raw {
	span := sv.span(p)
	if p.during != "command" || !p.state.command {
		return span
	}
	in, st := sv.in, sv.st
	off := st
	off.command = !st.command
	sv.settle(in, off)
	before := sv.span(p)
	sv.settle(in, st)
	return Raw{math.Min(span.A, before.A), math.Max(span.B, before.B)}
}

// span is the lowest and the highest volts in the settled state.
func (sv *Solver) span(p *Probe) Raw {
	now := sv.volts(p.a, p.b, MeterOhms)
	if sv.armature != Buzzing || p.a == absent || p.b == absent {
		return Raw{now, now}
	}
	a := at(sv.sys.volts, p.a) - at(sv.sys.volts, p.b)
	b := at(sv.other, p.a) - at(sv.other, p.b)
	return Raw{math.Min(a, b), math.Max(a, b)}
}

// ohms is what an ohmmeter shows, +Inf for OL. Its own current is too small to
// move anything, and every source is at rest: a live place gives nonsense, and
// the gate in front of the test has to keep the meter away from it.
func (sv *Solver) ohms(a, b int) float64 {
	if a == absent || b == absent {
		return math.Inf(1)
	}
	r := sv.sys.resistanceBetween(a, b)
	if r >= OverRange {
		return math.Inf(1)
	}
	return r
}

// Live reports whether two places differ by more than a dead circuit does, in
// the settled state.
func (sv *Solver) Live(p *Probe) bool { return math.Abs(sv.volts(p.a, p.b, MeterOhms)) > deadVolts }

// load is how well the load runs: its volts or its amperes, whichever is the
// smaller part of what they should be.
func (sv *Solver) load() float64 {
	switch {
	case sv.jumped || sv.tripped || sv.glowing:
		return Trips
	case sv.armature == Buzzing:
		return ComesAndGoes
	}
	in := sv.in
	load := in.model.special.load
	if load < 0 {
		return 0
	}
	b := in.net.branches[load]
	if !b.here() || in.changed(load).open {
		return 0
	}
	across := math.Abs(at(sv.sys.volts, b.from) - at(sv.sys.volts, b.to))
	source := in.draw.Values[in.model.special.volts]
	ohms := in.model.ohmsSlot[load]
	byVolts := across / source
	if sv.asleep && byVolts > glowsFrom {
		return glows
	}
	byAmps := byVolts * in.draw.Values[ohms] * sv.conductance(load, sv.position)
	return math.Min(byVolts, byAmps)
}

// sound is what is heard as the command goes from off to on.
func (sv *Solver) sound() float64 {
	if sv.armature == Buzzing {
		return Buzzes
	}
	on := sv.armature
	in, st := sv.in, sv.st
	st.command = !st.command
	sv.settle(in, st)
	off := sv.armature
	st.command = !st.command
	sv.settle(in, st)
	if on != off {
		return Clicks
	}
	return Silent
}

// threshold is the voltage across the relay on the bench at which it pulls in
// or lets go, at the coil's temperature; +Inf = never.
func (in *Instance) threshold(pullIn bool) float64 {
	s := in.model.special
	if s.coil < 0 || in.changed(s.coil).open || in.holds(s.armature) != free || in.holds(s.suppressor) == heldClosed {
		return math.Inf(1)
	}
	pull, drop := in.pullCurrents()
	ohms := CoilOhmsAt(in.values[s.coilOhms], referenceCelsius, in.values[s.celsius]) + in.changed(s.coil).added
	limit := 1.5 * in.draw.Wiring.nominal
	switch {
	case pull*ohms > limit:
		return math.Inf(1)
	case pullIn:
		return pull * ohms
	}
	return drop * ohms
}

// SettleFor puts an instance in the state that a measurement is taken in: the
// setup, and what the measurement itself implies (a part unplugged, a jumper
// fitted, loads cold in the ohms range).
func (sv *Solver) SettleFor(in *Instance, p *Probe) { sv.settle(in, in.asked(p.state)) }

// Watching is the probe of a look at the load in a setup, in whatever wiring.
func Watching(s rules.Setup) Probe {
	m := rules.Measure{Mode: rules.Watch}
	return Probe{Mode: m.Mode, a: absent, b: absent, branch: -1, state: stateFor(m, s)}
}

// StateKey names the state a measurement is taken in: measurements of one key can
// share one settled circuit.
func StateKey(m rules.Measure, s rules.Setup) string {
	s = SetupFor(m, s)
	key := s.Relay + " " + s.Key + " " + s.Command + " " + s.Coil + " " + strings.Join(s.Unplugged, "+") + s.Conditions()
	switch m.Mode {
	case rules.Ohms:
		key += " cold"
	case rules.Bridge:
		key += " bridge " + m.From + " " + m.To
	case rules.Reseat, rules.Swap:
		key += " " + string(m.Mode)
	}
	return key
}
