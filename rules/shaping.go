package rules

import "slices"

// Shaping tells which unknowns of the wiring shape the network: those that a condition, a
// name or a chain depends on. The others are free of each other and of these. Do not change it.
func (c *Circuit) Shaping() map[string]bool { return c.shaping }

// findShaping works it out, once the circuit's formulas are compiled.
func (c *Circuit) findShaping() map[string]bool {
	shaping := map[string]bool{}
	add := func(f *Formula) {
		if f != nil {
			for _, n := range f.names {
				shaping[n] = true
			}
		}
	}
	for _, f := range c.Allow {
		add(f)
	}
	for _, d := range c.Names {
		add(d.Is)
	}
	for _, chain := range c.allChains() {
		add(chain.When)
	}
	return shaping
}

// Beside is the unknown that a condition hangs on though it does not shape the network; ""
// for none. A checked suspect's condition that hangs on one hangs on nothing else.
func (c *Circuit) Beside(when *Formula) string {
	for _, n := range when.Names() {
		if !c.shaping[n] && slices.ContainsFunc(c.Wiring, func(w *Wiring) bool { return w.ID == n }) {
			return n
		}
	}
	return ""
}
