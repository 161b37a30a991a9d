package circuit

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"coilside/rules"
)

// This file is about what matters only to some faults: pieces of the surroundings
// that a fault brings in, joints between places, and effects that wait for heat,
// current, or something else to be on. A circuit without such faults never pays
// for any of it.

// cond are conditions that a circuit may be under, as bits.
type cond uint8

const (
	hot            cond = 1 << iota // soaked in heat
	unloaded                        // the ohms range: nothing flows
	running                         // engine running
	withNeighbours                  // other loads on the same feed or ground are on
	tapOff                          // wiring that was added later is taken off
	cooled                          // the coil at 20 °C, whatever the day
	waitsForAbsent                  // of an effect: there while the condition is not
)

// conditions are what an effect may wait for, by its name in the rulebook.
var conditions = map[string]cond{
	"hot": hot, "loaded": unloaded | waitsForAbsent, "engine_off": running | waitsForAbsent,
	"neighbours_on": withNeighbours, "tap_on": tapOff | waitsForAbsent,
}

func (c cond) watched() cond { return c &^ waitsForAbsent }

// there reports whether an effect that waits for c is there under conditions.
func (c cond) there(under cond) bool {
	return (under&c.watched() != 0) != (c&waitsForAbsent != 0)
}

func bitsOf(s rules.Setup) cond {
	var b cond
	if s.Heat != "" {
		b |= hot
	}
	if s.Engine == "running" {
		b |= running
	}
	if s.Neighbours == "on" {
		b |= withNeighbours
	}
	if slices.Contains(s.Unplugged, "tap") {
		b |= tapOff
	}
	return b
}

func ohmsRange(is bool) cond {
	if is {
		return unloaded
	}
	return 0
}

// HotCelsius is a coil that has been on beside a hot engine. Practice, no source.
const HotCelsius = 95

// around is one piece of the surroundings: chains that stand in the place of the
// circuit's own, or two places that some fault may join.
type around struct {
	chains []*rules.Chain
	join   []string
}

// joined is a joint of two places, by the bit of its place in Model.around.
type joined struct {
	bit     uint64
	siemens float64
}

func (m *Model) findSurroundings() error {
	base := map[string]bool{}
	for _, c := range m.circuit.Chains {
		for i := 1; i < len(c.Steps); i += 2 {
			base[c.Steps[i]] = true
		}
	}
	for _, s := range m.circuit.Surroundings {
		bit := uint64(1) << len(m.around)
		m.around = append(m.around, around{chains: s.Chains})
		m.aroundOf[s.ID] = bit
		for _, c := range s.Chains {
			for i := 1; i < len(c.Steps); i += 2 {
				if id := c.Steps[i]; !base[id] && m.aroundOf[id] == 0 {
					m.aroundOf[id] = bit
				}
			}
		}
	}
	if len(m.around) > 32 {
		return fmt.Errorf("circuit %s: more than 32 surroundings", m.circuit.ID)
	}
	return nil
}

// addJoin gives the bit of two joined places; the same places have one bit.
// Beyond 64 surroundings and joints together all share the last.
func (m *Model) addJoin(places []string) uint64 {
	for i, a := range m.around {
		if a.join != nil && slices.Equal(a.join, places) {
			return 1 << i
		}
	}
	m.around = append(m.around, around{join: places})
	return 1 << (len(m.around) - 1)
}

// variant is the network with some of the surroundings, built when first asked for.
func (m *Model) variant(w *Wiring, awake uint64) (*Network, error) {
	if awake == 0 {
		return w.net, nil
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	n, err := m.laid(w, awake)
	if err == nil && len(n.plan.steps) == 0 {
		m.finish(n, n.joints)
	}
	return n, err
}

// laid is the same with its places and branches only, as long as nobody has solved it:
// most are only asked for what there is in them. It is called with the model locked.
func (m *Model) laid(w *Wiring, awake uint64) (*Network, error) {
	if n, ok := w.net.variants[awake]; ok {
		return n, nil
	}
	n := &Network{nodes: maps.Clone(w.net.nodes), names: slices.Clone(w.net.names), branches: slices.Clone(w.net.branches)}
	for i, a := range m.around {
		if awake&(1<<i) == 0 {
			continue
		}
		if _, err := m.lay(n, w, a.chains); err != nil {
			return nil, err
		}
		if b, ok := n.joint(w, a.join); ok {
			n.joints = append(n.joints, [2]int{b.from, b.to})
		}
	}
	if w.net.variants == nil {
		w.net.variants = map[uint64]*Network{}
	}
	w.net.variants[awake] = n
	return n, nil
}

// joint is the branch between two places of a network; false where it lacks one.
func (n *Network) joint(w *Wiring, places []string) (branch, bool) {
	if len(places) != 2 {
		return branch{}, false
	}
	a, okA := n.nodes[nodeName(w.Fill(places[0]))]
	b, okB := n.nodes[nodeName(w.Fill(places[1]))]
	return n.between(a, b), okA && okB && a != b
}

// rewires reports whether a fault wires the circuit another way.
func (f *Fault) rewires() bool {
	rewires := false
	for i := range f.effects {
		f.effects[i].each(func(e *effect) { rewires = rewires || e.rule.Rewire != "" })
	}
	return rewires
}

// surround brings in what the faults need of the surroundings and what the
// conditions change.
func (in *Instance) surround() error {
	m := in.model
	net, err := m.variant(in.draw.Wiring, in.awake)
	if err != nil {
		return err
	}
	in.net = net
	in.cares |= hot | running
	if in.awake != 0 && net.has(m.gates, byNeighbours) {
		in.cares |= withNeighbours
	}
	if in.draw.Wiring.diode {
		switch {
		case in.holds(m.special.suppressor) == reversed:
			in.diode = 1
		case in.awake != 0:
			in.diode = -1
		}
	}
	in.sleepy = in.draw.Wiring.electronics && len(in.joins) > 0 && m.special.load >= 0 && net.branches[m.special.load].here()
	if in.bits&hot != 0 && m.special.celsius >= 0 {
		in.own()
		in.values[m.special.celsius] = max(HotCelsius, in.values[m.special.celsius])
	}
	if in.bits&cooled != 0 && m.special.celsius >= 0 {
		in.own()
		in.values[m.special.celsius] = referenceCelsius
	}
	if in.bits&running != 0 && m.special.charging >= 0 {
		in.own()
		in.values[m.special.volts] = max(in.values[m.special.volts], in.values[m.special.charging])
	}
	return nil
}

// own makes the values the instance's own, to be written to.
func (in *Instance) own() {
	if !in.scaled() {
		in.values = slices.Clone(in.values)
	}
}

// scaled reports whether the values are no longer the draw's.
func (in *Instance) scaled() bool { return &in.values[0] != &in.draw.Values[0] }

// has reports whether the network has an element with such a gate.
func (n *Network) has(gates []gate, which gate) bool {
	return slices.ContainsFunc(n.present, func(e int) bool { return gates[e] == which })
}

// form is the same circuit under other conditions, with the fuses that have gone.
func (in *Instance) form(bits cond) *Instance {
	made := in.forms.Load()
	for f := made; f != nil; f = f.rest {
		if f.bits == bits {
			return f.form
		}
	}
	f := in.under(bits)
	in.forms.CompareAndSwap(made, &formed{bits, f, made}) // if another was quicker, ours is as good
	return f
}

// under makes a form.
func (in *Instance) under(bits cond) *Instance {
	f, err := in.model.instance(in.draw, in.faults, in.normal, bits, in)
	if err != nil {
		return in // the same formulas stood once already
	}
	f.renewed = in.renewed
	return f
}

// Hot is the same circuit after it has been soaked in heat.
func (in *Instance) Hot() *Instance { return in.under(hot) }

// Cold is the same circuit with its coil at 20 °C.
func (in *Instance) Cold() *Instance { return in.under(cooled) }

// AtCelsius is the same circuit with its coil at another temperature.
func (in *Instance) AtCelsius(celsius float64) *Instance {
	if in.model.special.celsius < 0 {
		return in
	}
	other := in.under(in.bits)
	other.own()
	other.values[in.model.special.celsius] = celsius
	other.conduct()
	return other
}

// Beside is the same circuit with its neighbours on; nil where that changes nothing.
func (in *Instance) Beside() *Instance {
	if in.cares&withNeighbours == 0 {
		return nil
	}
	return in.form(withNeighbours)
}

// HeatShows reports whether some fault is there only in heat.
func (in *Instance) HeatShows() bool {
	for _, f := range in.faults {
		if f.Hidden && waits(f.effects, hot) {
			return true
		}
	}
	return false
}

func waits(es []effect, only cond) bool {
	return slices.ContainsFunc(es, func(e effect) bool { return e.only == only || waits(e.options, only) || waits(e.group, only) })
}

// A silicon diode that conducts: volts across it and ohms in series. Textbook
// values for a small rectifier, from memory.
const (
	diodeVolts = 0.75
	diodeOhms  = 0.05
)

// addOdd adds joints and a conducting diode to the network being filled in.
func (sv *Solver) addOdd(net *Network) {
	in := sv.in
	for _, j := range in.joins {
		for i, a := range in.model.around {
			if j.bit == 1<<i {
				if b, ok := net.joint(in.draw.Wiring, a.join); ok {
					sv.sys.connect(b, j.siemens)
				}
			}
		}
	}
	if sv.forward {
		b := net.branches[in.model.special.suppressor]
		sv.sys.connect(b, 1/diodeOhms)
		amps := float64(in.diode) * diodeVolts / diodeOhms
		sv.sys.push(b.from, b.to, amps)
	}
}

// solveOdd solves what one set of resistances does not tell: a diode that conducts
// once it has 0.75 V, and a control that conducts part of the time. Of the latter a
// meter shows the mean, and so does the coil's current.
func (sv *Solver) solveOdd(arm Armature) {
	in := sv.in
	if in.sleepy && !sv.st.cold && sv.starves() {
		sv.asleep = true
		sv.solveOnce(arm)
	}
	sv.solveDiode(arm)
	control := in.model.special.control
	if in.pulse <= 0 || !sv.closed(control, arm) || in.holds(control) != free {
		return
	}
	b := in.net.branches[control]
	sv.pulsed = in.pulse * in.siemens[control] * (at(sv.sys.volts, b.from) - at(sv.sys.volts, b.to))
	on := slices.Clone(sv.sys.volts)
	sv.waiting = true
	sv.solveOnce(arm)
	sv.solveDiode(arm)
	sv.waiting = false
	for i := range sv.sys.volts {
		sv.sys.volts[i] = in.pulse*on[i] + (1-in.pulse)*sv.sys.volts[i]
	}
}

// Electronics that a leak feeds never start, and take next to nothing: what is left of
// their conductance, and the part of their volts below which they do not start. Practice,
// no source.
const (
	asleepFactor = 2000
	startsAt     = 0.4
)

// What electronics do on a few milliamperes: from this part of their volts they glow,
// which is this much of running. Practice, no source.
const (
	glowsFrom = 0.2
	glows     = 0.4
)

// starves reports whether the load gets a few volts at most, and not none.
func (sv *Solver) starves() bool {
	b := sv.in.net.branches[sv.in.model.special.load]
	across := math.Abs(at(sv.sys.volts, b.from) - at(sv.sys.volts, b.to))
	source := sv.in.draw.Values[sv.in.model.special.volts]
	return across > 1e-5*source && across < startsAt*source
}

func (sv *Solver) solveDiode(arm Armature) {
	in := sv.in
	if in.diode == 0 || sv.st.cold {
		return
	}
	b := in.net.branches[in.model.special.suppressor]
	if !b.here() || in.changed(in.model.special.suppressor).open {
		return
	}
	if across := at(sv.sys.volts, b.from) - at(sv.sys.volts, b.to); float64(in.diode)*across > diodeVolts {
		sv.forward = true
		sv.solveOnce(arm)
		sv.forward = false
	}
}
