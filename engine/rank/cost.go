package rank

// Solves is how many times a circuit has been solved for this job so far.
func (b *Belief) Solves() int {
	n := b.solver.Solves()
	for _, hand := range b.hands {
		n += hand.solver.Solves()
	}
	return n
}

// Draws is how many particles carry a hypothesis, and how many of them count:
// (sum w)^2 / sum w^2 of their weights. Both are 0 where the circuit has no part
// in it.
func (h *Hypothesis) Draws() (particles int, count float64) {
	if h.cloud == nil {
		return 0, 0
	}
	return len(h.cloud.particles), effective(h.cloud.logw)
}
