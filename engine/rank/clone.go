package rank

import (
	"maps"
	"slices"
)

// Clone is a belief that starts from what this one knows and then goes its own way. Only
// one that has taken in no reading can be cloned. What does not change any more is
// shared: the draws, the circuits made of them and the numbers behind them. A belief that
// nobody feeds any more may be cloned by several at once.
func (b *Belief) Clone() *Belief {
	out := &Belief{scratch: new(scratch), book: b.book, model: b.model, known: b.known, facts: b.facts, seed: b.seed, systemVolts: b.systemVolts,
		named: b.named, handless: b.handless, complaint: b.complaint, repaired: b.repaired, shared: b.shared, wirings: b.wirings,
		paired: b.paired, doubted: b.doubted, changes: b.changes, clouds: b.clouds, livesAt: b.livesAt}
	cloned := map[*Hypothesis]*Hypothesis{}
	for _, h := range b.hyps {
		own := *h
		if h.cloud != nil {
			own.cloud = out.cloneCloud(h.cloud)
		}
		cloned[h] = &own
		out.hyps = append(out.hyps, &own)
	}
	for _, h := range out.hyps {
		h.forms = slices.Clone(h.forms)
		for i, form := range h.forms {
			h.forms[i] = cloned[form]
		}
	}
	for key, c := range b.lives {
		if out.lives == nil {
			out.lives = map[string]*Candidate{}
		}
		out.lives[key] = c.Clone()
	}
	return out
}

func (b *Belief) cloneCloud(c *cloud) *cloud {
	own := *c
	b.stir(&own)
	own.particles, own.first, own.probes = cloneParticles(c.particles), cloneParticles(c.first), cloneParticles(c.probes)
	own.logw, own.keen, own.hangs, own.sensed, own.busy = slices.Clone(c.logw), nil, nil, 0, nil
	own.chosen, own.share, own.weights = slices.Clone(c.chosen), slices.Clone(c.share), slices.Clone(c.weights)
	return &own
}

// cloneParticles copies what is filled in later: the forms of what is broken.
func cloneParticles(ps []particle) []particle {
	out := slices.Clone(ps)
	n := 0
	for i := range out {
		n += len(out[i].epochs)
	}
	epochs := make([]broken, 0, n)
	for i := range out {
		start := len(epochs)
		epochs = append(epochs, out[i].epochs...)
		out[i].epochs = epochs[start:len(epochs):len(epochs)]
	}
	return out
}

// Clone is the candidate for a clone of the belief that it was made by.
func (t *Candidate) Clone() *Candidate {
	own, m := *t, *t.m
	own.m, own.kept, own.figures = &m, slices.Clone(t.kept), maps.Clone(t.figures)
	return &own
}
