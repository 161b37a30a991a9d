package rank

import "unsafe"

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

// Bytes is about how much memory a belief takes for itself, beside what it shares with others that started alike.
func (b *Belief) Bytes() int {
	n := 0
	for _, h := range b.hyps {
		if h.cloud != nil {
			n += h.cloud.bytes(b)
		}
	}
	return n
}

// formsBeside is how many forms of a guess's circuit there are on average beside the plain one: hot, with the
// neighbours on. Measured by TestBytes of the diagnosis.
const formsBeside = 2

func (c *cloud) bytes(b *Belief) int {
	const number, mixed = int(unsafe.Sizeof(float64(0))), int(unsafe.Sizeof(mix{}))
	// Weights, readings, and what is foreseen of the next one.
	particle := int(unsafe.Sizeof(particle{})) + number*(2+len(b.readings)) + mixed
	own := c.generation > 0 || c.grown
	if own {
		particle += number * c.dims
	}
	if !c.light {
		circuits := int(unsafe.Sizeof(broken{}))
		if own {
			circuits += (1 + formsBeside) * b.model.InstanceBytes()
			particle += b.model.DrawBytes()
		}
		particle += (len(b.repaired) + 1) * circuits
	}
	return particle * len(c.particles)
}

// Bytes is about how much memory a candidate's predictions take.
func (t *Candidate) Bytes() int {
	n := 0
	for _, k := range t.kept {
		if k != nil {
			n += len(k.there)*int(unsafe.Sizeof(pair{})+1) + int(unsafe.Sizeof(signature{}))
		}
	}
	return n
}
