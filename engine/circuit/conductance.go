package circuit

// shortedSuppressorOhms is what is left of a suppression part that has failed
// short, ohms; practice.
const shortedSuppressorOhms = 0.1

// conductance is what an element conducts in the solver's state with the
// armature in a position, in siemens.
func (sv *Solver) conductance(e int, arm Armature) float64 {
	in := sv.in
	if sv.blown[e] || !sv.closed(e, arm) {
		return 0
	}
	if sv.asleep && e == in.model.special.load {
		return in.siemens[e] / asleepFactor
	}
	if sv.st.cold && e == in.model.special.load {
		return in.coldLoad
	}
	return in.siemens[e]
}

// conduct works out what every element conducts when it lets current through,
// in siemens: once an instance, since only switches move from state to state.
func (in *Instance) conduct() {
	m := in.model
	in.siemens = make([]float64, len(m.kinds))
	for _, e := range in.net.present {
		ch := in.changed(e)
		if ch.open {
			continue
		}
		switch own := m.ohmsSlot[e]; {
		case e == m.special.coil:
			in.siemens[e] = 1 / (ch.added + CoilOhmsAt(in.values[own], referenceCelsius, in.values[m.special.celsius]))
		case e == m.special.suppressor:
			in.siemens[e] = in.suppressorSiemens(e, ch)
		default:
			in.siemens[e] = 1 / (ch.added + in.values[own])
			if e != m.special.load {
				break
			}
			in.coldLoad = in.siemens[e]
			if m.special.coldPart >= 0 {
				in.coldLoad = 1 / (ch.added + in.values[own]*in.values[m.special.coldPart])
			}
		}
	}
}

// suppressorSiemens is what the part across the coil conducts. A diode's cathode
// is toward the supply: it blocks while the coil is fed.
func (in *Instance) suppressorSiemens(e int, ch change) float64 {
	if ch.held == heldClosed {
		return 1 / shortedSuppressorOhms
	}
	if in.draw.Wiring.hasDiode() {
		return 0
	}
	return 1 / (ch.added + in.values[in.model.ohmsSlot[e]])
}

// gate is what decides whether an element lets current through at all.
type gate uint8

const (
	always gate = iota
	byKey
	byRelayIn
	byLoadPlug
	byControlPlug
	byCommand
	byMake
	byRest
	byNeighbours
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

// closed reports whether an element lets current through at all in this state.
func (sv *Solver) closed(e int, arm Armature) bool {
	switch sv.in.model.gates[e] {
	case byKey:
		return sv.st.key
	case byRelayIn:
		return sv.st.relayIn
	case byLoadPlug:
		return !sv.st.loadUnplugged
	case byControlPlug:
		return !sv.st.controlUnplugged
	case byCommand:
		switch h := sv.in.changed(e).held; h {
		case heldClosed, heldOpen:
			return h == heldClosed
		case inverted:
			return sv.st.key && !sv.st.command
		}
		return sv.st.command && !sv.waiting
	case byNeighbours:
		return sv.in.bits&withNeighbours != 0
	case byMake:
		return sv.contactClosed(e, arm, false)
	case byRest:
		return sv.contactClosed(e, arm, true)
	}
	return true
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
