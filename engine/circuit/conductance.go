package circuit

// shortedSuppressorOhms is what is left of a suppression part that has failed
// short, ohms; practice.
const shortedSuppressorOhms = 0.1

// conductance is what an element conducts in the solver's state with the
// armature in a position, in siemens.
func (sv *Solver) conductance(e int, arm Armature) float64 {
	in := sv.in
	m := in.model
	if in.open[e] || sv.blown[e] || !sv.closed(e, arm) {
		return 0
	}
	ohms := in.added[e]
	switch m.kinds[e] {
	case "coil":
		ohms += CoilOhmsAt(in.values[m.special.coilOhms], referenceCelsius, in.values[m.special.celsius])
	case "suppressor":
		if in.held[e] == heldClosed {
			return 1 / shortedSuppressorOhms
		}
		if kind, _ := in.draw.Wiring.Choice("suppression"); kind == "diode" {
			return 0 // its cathode is toward the supply: it blocks while the coil is fed
		}
		ohms += in.values[m.ohmsSlot[e]]
	case "load":
		own := in.values[m.ohmsSlot[e]]
		if sv.st.cold {
			own *= in.values[m.special.coldPart]
		}
		ohms += own
	default:
		ohms += in.values[m.ohmsSlot[e]]
	}
	return 1 / ohms
}

// closed reports whether an element lets current through at all in this state.
func (sv *Solver) closed(e int, arm Armature) bool {
	in := sv.in
	switch in.model.kinds[e] {
	case "key":
		return sv.st.key
	case "terminal":
		return sv.st.relayIn
	case "plug":
		if in.model.plugOf[e] == in.model.special.load {
			return !sv.st.loadUnplugged
		}
		return !sv.st.controlUnplugged
	case "control":
		return in.held[e] == heldClosed || sv.st.command && in.held[e] != heldOpen
	case "make", "rest":
		return sv.contactClosed(e, arm)
	}
	return true
}

func (sv *Solver) contactClosed(e int, arm Armature) bool {
	in := sv.in
	if h := in.held[e]; h != free {
		return h == heldClosed
	}
	asRest := in.model.kinds[e] == "rest"
	switch in.instead[e] {
	case asMake:
		asRest = false
	case asRestContact:
		asRest = true
	}
	return (arm == PulledOver) != asRest
}
