package circuit

import "slices"

// shortedSuppressorOhms is what is left of a suppression part that has failed
// short, ohms; practice.
const shortedSuppressorOhms = 0.1

// conductance is what an element conducts in the solver's state with the
// armature in a position, in siemens.
func (sv *Solver) conductance(e int, arm Armature) float64 {
	if sv.blown[e] || !sv.closed(e, arm) {
		return 0
	}
	if e == sv.in.model.special.load {
		return sv.loadSiemens()
	}
	return sv.in.siemens[e]
}

// loadSiemens is what the load conducts, in siemens.
func (sv *Solver) loadSiemens() float64 {
	siemens := sv.in.siemens[sv.in.model.special.load]
	switch {
	case sv.asleep:
		return siemens / asleepFactor
	case sv.st.cold:
		return sv.in.coldLoad
	}
	return siemens
}

// conduct works out what every element conducts when it lets current through,
// in siemens: once a draw, since only switches move from state to state.
func (d *Draw) conduct() {
	for e := range d.siemens {
		d.siemens[e] = d.siemensOf(e, d.Values, change{})
	}
	d.coldLoad = d.coldLoadOf(d.Values, change{})
}

// conduct does the same for what the faults changed.
func (in *Instance) conduct() {
	d := in.draw
	in.siemens, in.coldLoad = d.siemens, d.coldLoad
	scaled := in.scaled()
	if !scaled && len(in.changes) == 0 {
		return
	}
	in.siemens = slices.Clone(d.siemens)
	if scaled {
		for e := range in.siemens {
			in.siemens[e] = d.siemensOf(e, in.values, in.changed(e))
		}
	}
	for _, ch := range in.changes {
		in.siemens[ch.element] = d.siemensOf(ch.element, in.values, ch)
	}
	in.coldLoad = d.coldLoadOf(in.values, in.changed(in.model.special.load))
}

// siemensOf is what an element with such values and such a change conducts. A diode's
// cathode is toward the supply: it blocks while the coil is fed.
func (d *Draw) siemensOf(e int, values []float64, ch change) float64 {
	m := d.model
	own := m.ohmsSlot[e]
	switch {
	case own < 0 || ch.open:
		return 0
	case e == m.special.coil:
		return 1 / (ch.added + CoilOhmsAt(values[own], referenceCelsius, values[m.special.celsius]))
	case e == m.special.suppressor && ch.held == heldClosed:
		return 1 / shortedSuppressorOhms
	case e == m.special.suppressor && d.Wiring.diode:
		return 0
	}
	return 1 / (ch.added + values[own])
}

// coldLoadOf is the same for the load while nothing flows.
func (d *Draw) coldLoadOf(values []float64, ch change) float64 {
	s := &d.model.special
	if s.load < 0 || ch.open {
		return 0
	}
	ohms := values[d.model.ohmsSlot[s.load]]
	if s.coldPart >= 0 {
		ohms *= values[s.coldPart]
	}
	return 1 / (ch.added + ohms)
}

// gate is what decides whether an element lets current through at all.
type gate uint8

const (
	always gate = iota
	byKey
	byRelayIn
	byLoadPlug
	byControlPlug
	byNeighbours
	byCommand // from here on a fault may hold the element
	byMake
	byRest
	gates
)

// findGates sorts the elements by what opens and closes them.
func (m *Model) findGates() {
	m.gates = make([]gate, len(m.kinds))
	for e, kind := range m.kinds {
		switch kind {
		case "key":
			m.gates[e] = byKey
		case "terminal":
			m.gates[e] = byRelayIn
		case "plug":
			m.gates[e] = byControlPlug
			if m.plugOf[e] == m.special.load {
				m.gates[e] = byLoadPlug
			}
		case "control":
			m.gates[e] = byCommand
		case "make":
			m.gates[e] = byMake
		case "rest":
			m.gates[e] = byRest
		case "neighbour":
			m.gates[e] = byNeighbours
		}
	}
}

// openGates sets what the state alone says of the gates.
func (sv *Solver) openGates() {
	st := &sv.st
	sv.lets = [gates]bool{always: true, byKey: st.key, byRelayIn: st.relayIn, byLoadPlug: !st.loadUnplugged, byControlPlug: !st.controlUnplugged,
		byNeighbours: sv.in.bits&withNeighbours != 0, byCommand: true, byMake: true, byRest: true}
}

// closed reports whether an element lets current through at all in this state.
func (sv *Solver) closed(e int, arm Armature) bool {
	switch g := sv.in.model.gates[e]; g {
	case byCommand:
		switch h := sv.in.changed(e).held; h {
		case heldClosed, heldOpen:
			return h == heldClosed
		case inverted:
			return sv.st.key && !sv.st.command
		}
		return sv.st.command && !sv.waiting
	case byMake:
		return sv.contactClosed(e, arm, false)
	case byRest:
		return sv.contactClosed(e, arm, true)
	default:
		return sv.lets[g]
	}
}

func (sv *Solver) contactClosed(e int, arm Armature, asRest bool) bool {
	in := sv.in
	ch := in.changed(e)
	if ch.held != free {
		return ch.held == heldClosed
	}
	switch ch.instead {
	case asMake:
		asRest = false
	case asRestContact:
		asRest = true
	}
	return (arm == PulledOver) != asRest
}
