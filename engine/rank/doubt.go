package rank

import "math"

// Misfit is how probable it is, by all that is known, that a reading went wrong:
// 0..1; 0 for an unknown reading and for one that the circuit does not predict.
func (b *Belief) Misfit(id int) float64 {
	for i, m := range b.readings {
		if m.ID == id && m.circuit {
			return b.misfit(i, m)
		}
	}
	return 0
}

func (b *Belief) misfit(i int, m *measurement) float64 {
	slip := Slip * slipLikelihood(instrument(m.Measure), &m.Answer, m.choices, b.systemVolts)
	wrong, all := 0.0, 0.0
	for _, h := range b.hyps {
		c := h.cloud
		if c == nil || h.bare < 0.01 || c.dormant(h) || m.overruled(h) {
			continue
		}
		all += h.bare
		for k, w := range b.weights(c) {
			if log := c.particles[k].of(i); log != 0 {
				wrong += h.bare * w * math.Min(slip/math.Exp(log), 1)
			}
		}
	}
	if all == 0 {
		return 0
	}
	return wrong / all
}

// ComesAndGoes is how probable it is that the fault is one that is not always
// there, 0..1.
func (b *Belief) ComesAndGoes() float64 {
	sum := 0.0
	for _, h := range b.hyps {
		if h.cloud == nil || h.prob < liveAt {
			continue
		}
		b.readyAll(h.cloud)
		for i, w := range b.weights(h.cloud) {
			if h.cloud.particles[i].epochs[len(b.repaired)].chance < 1 {
				sum += h.prob * w
			}
		}
	}
	return sum
}
