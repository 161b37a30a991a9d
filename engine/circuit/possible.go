package circuit

// This file tells in which wirings a fault can occur.

// Possible reports whether the fault can occur in a wiring: the elements it acts
// on must be there and its own condition met, as far as the wiring decides it.
func (m *Model) Possible(f *Fault, w *Wiring) bool { return w.possible()[f.number] }

// possibleIn tells of every fault and form, by its number, whether it can occur in a wiring.
func (m *Model) possibleIn(w *Wiring) []bool {
	out := make([]bool, len(m.forms))
	for i, f := range m.forms {
		out[i] = m.canOccur(f, w)
	}
	return out
}

func (m *Model) canOccur(f *Fault, w *Wiring) bool {
	if f.Suspect.When != nil {
		if ok, err := f.Suspect.When.Truth(w.env); err == nil && !ok {
			return false
		}
	}
	for _, e := range f.effects {
		if !m.effectPossible(&e, w) {
			return false
		}
	}
	return true
}

func (m *Model) effectPossible(e *effect, w *Wiring) bool {
	for i := range e.group {
		if !m.effectPossible(&e.group[i], w) {
			return false
		}
	}
	if len(e.group) > 0 {
		return true
	}
	if len(e.options) == 0 {
		return e.element == m.special.armature || e.element >= 0 && m.kinds[e.element] == "alternator" || m.canWake(e, w) || e.element >= 0 && w.net.branches[e.element].here()
	}
	for i := range e.options {
		if m.effectPossible(&e.options[i], w) {
			return true
		}
	}
	return false
}

// canWake reports whether an effect acts on surroundings that the wiring can have.
func (m *Model) canWake(e *effect, w *Wiring) bool {
	if e.wakes == 0 {
		return false
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	n, err := m.laid(w, e.wakes)
	if err != nil {
		return false
	}
	if e.element >= 0 {
		return n.branches[e.element].here()
	}
	for i, a := range m.around {
		if e.wakes&(1<<i) == 0 {
			continue
		}
		if _, ok := n.joint(w, a.join); ok {
			return true
		}
		for _, c := range a.chains {
			if c.When == nil {
				return true
			}
			if is, err := c.When.Truth(w.env); err == nil && is {
				return true
			}
		}
	}
	return false
}
