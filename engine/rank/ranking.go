package rank

import (
	"math"
	"slices"
	"strings"
)

// This file makes a ranking of what is known of each hypothesis.

// normalise turns the hypotheses' logs into probabilities. How readings are
// weighed depends on the probabilities without the rules, so that it makes no
// difference when a rule came to fire.
func (b *Belief) normalise() {
	b.changes++
	for _, h := range b.hyps {
		h.log = h.plain()
	}
	b.spread(func(h *Hypothesis) *float64 { return &h.bare })
	for _, h := range b.hyps {
		h.log += h.weight
	}
	b.spread(func(h *Hypothesis) *float64 { return &h.prob })
	for _, h := range b.hyps {
		h.sum = 0
		for _, form := range h.forms {
			h.sum += form.prob
		}
	}
}

// plain is the log of prior x likelihoods, not normalised, without the rules' weights.
func (h *Hypothesis) plain() float64 {
	log := h.prior + h.complain
	for _, g := range h.gained {
		log += g
	}
	return log
}

// spread puts the normalised exponentials of the logs where to says.
func (b *Belief) spread(to func(*Hypothesis) *float64) {
	top := math.Inf(-1)
	for _, h := range b.hyps {
		top = max(top, h.log)
	}
	sum := 0.0
	for _, h := range b.hyps {
		*to(h) = math.Exp(h.log - top)
		sum += *to(h)
	}
	for _, h := range b.hyps {
		*to(h) /= sum
	}
}

// Ranking lists the hypotheses, likeliest first; ties by id.
func (b *Belief) Ranking() []*Hypothesis {
	out := slices.DeleteFunc(slices.Clone(b.hyps), func(h *Hypothesis) bool { return h.forms == nil })
	slices.SortStableFunc(out, func(x, y *Hypothesis) int {
		switch {
		case x.sum > y.sum:
			return -1
		case x.sum < y.sum:
			return 1
		}
		return strings.Compare(x.ID(), y.ID())
	})
	return out
}

// Weigh sets the odds factors that rules put on suspects, by suspect id, in logs.
func (b *Belief) Weigh(logs map[string]float64) {
	for _, h := range b.hyps {
		h.weight = 0
		for _, s := range h.Suspects {
			h.weight += logs[s]
		}
	}
	b.normalise()
}
