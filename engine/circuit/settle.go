package circuit

import (
	"math"
	"slices"
	"strings"
	"sync"

	"coilside/rules"
)

// Armature is where the relay's moving part comes to rest.
type Armature uint8

const (
	AtRest Armature = iota
	PulledOver
	Buzzing // no stable position: it lets go as soon as it has pulled over
)

// blowAt is the multiple of its rating at which a fuse is taken to open for
// good. Blade fuses open within half an hour at 135 % (ISO 8820-3, from memory).
const blowAt = 1.35

// holdsTo is the multiple of its rating at which a new fuse still holds while a meter is read: blade fuses open within
// 0.15 to 5 s at 200 % (ISO 8820-3, from memory).
const holdsTo = 2.0

// benchOhms is the inner resistance of a bench supply, ohms; practice.
const benchOhms = 0.05

// jumperOhms is a fused jumper with its clips, ohms; practice.
const jumperOhms = 0.02

// state is what a setup means to the network.
type state struct {
	relayIn, key, bench, energised  bool
	command                         bool // to run the load; once asked of an instance: the control's, to close
	cold                            bool // loads have their cold resistance (ohms range, nothing flows)
	loadUnplugged, controlUnplugged bool
	bridged                         bool
	jumper                          [2]int // nodes that the jumper bridges
	bits                            cond   // heat, engine, neighbours, added wiring
}

func stateOf(s rules.Setup) state {
	st := state{relayIn: s.Relay == "in", key: s.Key == "on", command: s.Command == "on",
		bench: s.Relay == "bench", energised: s.Coil == "energised"}
	for _, e := range s.Unplugged {
		st.loadUnplugged = st.loadUnplugged || e == "load"
		st.controlUnplugged = st.controlUnplugged || e == "control"
	}
	st.bits = bitsOf(s)
	return st
}

// Solver settles instances and reads them. It holds scratch space, so that a
// turn allocates nothing; one Solver serves one goroutine.
type Solver struct {
	sys   system
	blown []bool
	in    *Instance
	st    state
	lets  [gates]bool // by gate: whether the state lets it conduct

	armature Armature
	position Armature  // that the numbers in sys stand for
	tripped  bool      // a fuse went in this state
	glowing  bool      // one carries too much and holds for a while
	jumped   bool      // the jumper's own fuse went
	waiting  bool      // a pulsed control is between two pulses
	asleep   bool      // electronics that get too little to start
	forward  bool      // the diode across the coil conducts
	pulsed   float64   // A, mean current through a pulsed control
	other    []float64 // when buzzing: the volts of the other position
	solves   int
}

// Solves is how many times the network has been factored so far.
func (sv *Solver) Solves() int { return sv.solves }

// Armature is the settled position.
func (sv *Solver) Armature() Armature { return sv.armature }

// Tripped reports whether a fuse went while the circuit was put in this state.
func (sv *Solver) Tripped() bool { return sv.tripped }

// Settle puts an instance in a setup and finds the state it comes to rest in:
// the fuses that go, then the armature, starting from command off.
func (sv *Solver) Settle(in *Instance, setup rules.Setup) { sv.settle(in, in.asked(stateOf(setup))) }

// asked makes of a command to run the load what it asks of the control: to close, or to open where the load runs by the
// rest contact.
func (in *Instance) asked(st state) state {
	st.command = st.command != in.RunsAtRest()
	return st
}

func (sv *Solver) settle(in *Instance, st state) {
	cold := st.cold
	if bits := st.bits | ohmsRange(cold); bits&in.cares != in.bits&in.cares {
		in = in.form(bits & in.cares)
	}
	st.cold = false // loads cool once nothing flows: what settles, settles with them at work
	sv.in, sv.st = in, st
	sv.openGates()
	sv.tripped, sv.jumped, sv.asleep, sv.glowing = false, false, false, false
	if len(sv.blown) != len(in.model.kinds) {
		sv.blown = make([]bool, len(in.model.kinds))
	}
	clear(sv.blown[copy(sv.blown, in.blown):])
	if arm, ok := in.quiet(st); ok {
		sv.armature = arm
		sv.assemble(arm)
		sv.cool(cold)
		return
	}
	start := AtRest
	if st.relayIn && st.command && in.canPullUncommanded() {
		off := st
		off.command = false
		sv.st = off
		start = sv.relax(AtRest)
		if start == Buzzing {
			start = AtRest
		}
		sv.st = st
	}
	sv.armature = sv.relax(start)
	if !sv.tripped && !sv.glowing && !in.sleepy { // whether electronics wake hangs on how they got here
		in.notice(st, sv.armature)
	}
	sv.cool(cold)
}

// cool solves again with cold loads, in the ohms range.
func (sv *Solver) cool(is bool) {
	if is {
		sv.st.cold = true
		sv.assemble(sv.position)
	}
}

// quiet tells where the armature comes to rest in a state that the circuit has been in
// before, if it did so without a fuse going and without buzzing: it does so again.
func (in *Instance) quiet(st state) (Armature, bool) {
	bit := st.bit()
	switch {
	case in.found.Load()&bit == 0:
		return AtRest, false
	case in.over.Load()&bit != 0:
		return PulledOver, true
	}
	return AtRest, true
}

func (in *Instance) notice(st state, arm Armature) {
	bit := st.bit()
	switch arm {
	case Buzzing:
		return
	case PulledOver:
		in.over.Or(bit)
	}
	in.found.Or(bit) // last: from now on the other is read
}

// bit is one of 64 for what decides where the armature comes to rest, beside the
// conditions that make another instance; none for a jumper and for a relay on the bench.
func (st *state) bit() uint64 {
	if st.bridged || st.bench {
		return 0
	}
	n := 0
	for i, is := range [...]bool{st.relayIn, st.key, st.command, st.energised, st.loadUnplugged, st.controlUnplugged} {
		if is {
			n |= 1 << i
		}
	}
	return 1 << n
}

// canPullUncommanded reports whether anything could energise the coil while the
// control is off; where nothing can, settling starts from rest.
func (in *Instance) canPullUncommanded() bool {
	h := in.holds(in.model.special.control)
	return len(in.shorts) > 0 || in.awake != 0 || h == heldClosed || h == inverted
}

// holds is the position a fault keeps an element in; free for one the circuit lacks.
func (in *Instance) holds(element int) hold {
	if element < 0 {
		return free
	}
	return in.changed(element).held
}

// relax iterates fuses and armature from a starting position until nothing moves.
func (sv *Solver) relax(start Armature) Armature {
	in := sv.in
	fixed := true
	arm := start
	switch in.holds(in.model.special.armature) {
	case heldClosed:
		arm = PulledOver
	case heldOpen:
		arm = AtRest
	default:
		fixed = in.model.special.coil < 0 || !sv.st.relayIn && !sv.st.bench
	}
	pull, drop := in.pullCurrents()
	moved := false
	for range 3 * (len(in.model.fuses) + 2) {
		sv.assemble(arm)
		if sv.blowFuses() {
			moved = false
			if !fixed {
				arm = start
			}
			continue
		}
		if fixed {
			return arm
		}
		amps := math.Abs(sv.coilAmps())
		strike := amps
		if in.pulse > 0 && sv.st.command { // a pulse pulls over, the mean holds
			strike /= in.pulse
		}
		switch {
		case in.slow && arm == PulledOver && sv.st.command:
			return Buzzing
		case arm == AtRest && strike >= pull:
			if moved {
				return Buzzing
			}
			arm, moved = PulledOver, true
			sv.other = append(sv.other[:0], sv.sys.volts...)
		case arm == PulledOver && amps < drop:
			if moved {
				return Buzzing
			}
			arm, moved = AtRest, true
			sv.other = append(sv.other[:0], sv.sys.volts...)
		default:
			return arm
		}
	}
	return arm
}

// pullCurrents are the coil currents that pull the armature over and let it go,
// in amperes: the stated volts across the healthy coil at 20 °C.
func (in *Instance) pullCurrents() (pull, drop float64) {
	s := in.model.special
	if s.coil < 0 {
		return math.Inf(1), 0
	}
	healthy := in.draw.Values[s.coilOhms]
	return in.values[s.pullIn] / healthy, in.values[s.dropOut] / healthy
}

// coilAmps is the current from 86 to 85 through the winding itself.
func (sv *Solver) coilAmps() float64 {
	coil := sv.in.model.special.coil
	return sv.branchAmps(coil)
}

// branchAmps is the current through an element from its supply end to its load
// end, in amperes; the source's is what it delivers.
func (sv *Solver) branchAmps(element int) float64 {
	in := sv.in
	b := in.net.branches[element]
	if !b.here() {
		return 0
	}
	g := sv.conductance(element, sv.position)
	if g == 0 {
		return 0
	}
	if in.pulse > 0 && element == in.model.special.control && in.holds(element) == free {
		return sv.pulsed
	}
	across := at(sv.sys.volts, b.from) - at(sv.sys.volts, b.to)
	if element == in.model.special.source {
		across += in.values[in.model.special.volts]
	}
	return g * across
}

// assemble fills in and solves the network for one armature position.
func (sv *Solver) assemble(arm Armature) {
	sv.asleep = false
	sv.solveOnce(arm)
	if sv.in.pulse > 0 || sv.in.diode != 0 || sv.in.sleepy {
		sv.solveOdd(arm)
	}
}

func (sv *Solver) solveOnce(arm Armature) {
	sv.position = arm
	in := sv.in
	net := in.net
	sv.sys.reset(&net.plan, len(net.names))
	m := in.model
	for _, e := range net.present {
		switch gate := m.gates[e]; {
		case sv.blown[e] || !sv.lets[gate] || gate >= byCommand && !sv.closed(e, arm):
		case e == m.special.load:
			sv.sys.connect(net.branches[e], sv.loadSiemens())
		default:
			sv.sys.connect(net.branches[e], in.siemens[e])
		}
	}
	source := net.branches[m.special.source]
	sv.sys.push(source.to, source.from, sv.conductance(m.special.source, arm)*in.values[m.special.volts])
	sv.addShorts(net)
	sv.addOdd(net)
	if sv.st.bench && sv.st.energised && in.model.special.coil >= 0 {
		b := net.branches[in.model.special.coil]
		sv.sys.connect(b, 1/benchOhms)
		sv.sys.push(b.from, b.to, in.draw.Wiring.nominal/benchOhms)
	}
	if sv.st.bridged && !sv.jumped {
		sv.sys.connect(sv.jumperBranch(), 1/jumperOhms)
	}
	sv.sys.factor()
	sv.sys.solve()
	sv.solves++
}

func (sv *Solver) jumperBranch() branch {
	a, b := sv.st.jumper[0], sv.st.jumper[1]
	if a == absent || b == absent {
		return branch{absent, absent, -1}
	}
	return sv.in.net.between(a, b)
}

func (sv *Solver) addShorts(net *Network) {
	for _, s := range sv.in.shorts {
		b := net.branches[s.element]
		switch {
		case !b.here():
		case s.toSupply:
			plus := net.branches[sv.in.model.special.source].to
			sv.sys.connect(net.between(plus, b.to), s.siemens)
		default:
			sv.sys.connect(branch{b.to, ground, -1}, s.siemens)
		}
	}
}

// blowFuses opens every fuse that carries too much, and reports whether any did.
func (sv *Solver) blowFuses() bool {
	in, any := sv.in, false
	sv.glowing = false
	for _, f := range in.model.fuses {
		if sv.blown[f.element] {
			continue
		}
		load := math.Abs(sv.branchAmps(f.element)) / in.values[f.rating]
		switch {
		case load <= blowAt:
		case in.renewed && load <= holdsTo:
			sv.glowing = true
		default:
			sv.blown[f.element], any = true, true
		}
	}
	if sv.st.bridged && !sv.jumped {
		j := sv.jumperBranch()
		amps := math.Abs(at(sv.sys.volts, j.from)-at(sv.sys.volts, j.to)) / jumperOhms
		if amps > blowAt*in.jumperFuse() {
			sv.jumped, any = true, true
		}
	}
	sv.tripped = sv.tripped || any
	return any
}

// jumperFuse is the rating of the fuse in the technician's jumper: that of the
// load's own fuse, amperes.
func (in *Instance) jumperFuse() float64 {
	if len(in.model.fuses) == 0 {
		return math.Inf(1)
	}
	return in.draw.Values[in.model.fuses[0].rating]
}

// solvers are lent to those who burn in.
var solvers = sync.Pool{New: func() any { return new(Solver) }}

// burnIn finds the fuses that the faults blow in ordinary use: relay in, key on,
// not commanded and commanded. They stay blown until the circuit is mended.
func (in *Instance) burnIn() {
	if len(in.shorts) == 0 && len(in.joins) == 0 && in.awake == 0 && in.diode == 0 && !in.overloads() {
		return
	}
	sv := solvers.Get().(*Solver)
	defer solvers.Put(sv)
	for _, st := range []state{{relayIn: true, key: true}, {relayIn: true, key: true, command: true}} {
		sv.settle(in, st)
		if sv.tripped {
			in.blown = slices.Clone(sv.blown)
		}
	}
	if in.blown != nil { // what was found before they went may be so no more
		in.found.Store(0)
		in.over.Store(0)
	}
}

// WithNewFuses is the circuit where whoever tests it fits new fuses first: those that are overloaded go again, a little
// later where it is not by much.
func (in *Instance) WithNewFuses() *Instance {
	f := in.under(in.bits)
	if f == in {
		return in
	}
	f.blown, f.renewed, f.cares = nil, true, in.cares
	return f
}

// overloads reports whether some resistance is below what the draw had, so that
// a fuse might go.
func (in *Instance) overloads() bool {
	s := in.model.special
	lower := func(slot int) bool { return slot >= 0 && in.values[slot] < in.draw.Values[slot] }
	for _, f := range in.model.fuses {
		if lower(f.rating) {
			return true
		}
	}
	return lower(in.model.slot(s.load, "ohms")) || lower(s.coilOhms) ||
		in.holds(s.suppressor) == heldClosed
}

func (m *Model) slot(element int, value string) int {
	if id, ok := m.slots[slotKey{element, value}]; ok {
		return id
	}
	return -1
}

// part tells which unpluggable part a place belongs to: "load" for load_part.in.
func part(place string) string {
	name, _, _ := strings.Cut(place, ".")
	if base, ok := strings.CutSuffix(name, "_part"); ok {
		return base
	}
	return ""
}

// Overloaded reports whether the faults blow a fuse in ordinary use.
func (in *Instance) Overloaded() bool {
	for _, b := range in.blown {
		if b {
			return true
		}
	}
	return false
}
