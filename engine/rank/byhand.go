package rank

import (
	"iter"
	"math"

	"coilside/rules"
)

// What is seen by looking at a part or told in answer to a question the circuit does not predict, but a test's
// own figures do, suspect by suspect.

// byHand is a hypothesis's log likelihood of a reading that only figures predict.
func (b *Belief) byHand(h *Hypothesis, m *measurement) float64 { return b.logByHand(m, h.Suspects) }

func (b *Belief) logByHand(m *measurement, suspects []string) float64 {
	like := b.foretold(m, suspects)
	return math.Log((1-Slip)*like + Slip*slipLikelihood(instrument(m.Measure), &m.Answer, m.choices, b.systemVolts))
}

// foretold is how likely the answer is by the figures with all of some suspects at fault.
func (b *Belief) foretold(m *measurement, suspects []string) float64 {
	sum, n := 0.0, 0.0
	for s := range spokenOf(m.Test, m.Measure, suspects) {
		sum += b.expected(m, s, &m.Answer)
		n++
	}
	return sum / n
}

// spokenOf gives, of some suspects that are all at fault, those that figures speak of, which have an equal say. What
// the figures leave to all others counts where they speak of none: then it gives one.
func spokenOf(t *rules.Test, m rules.Measure, suspects []string) iter.Seq[string] {
	return func(yield func(string) bool) {
		any := false
		for _, s := range suspects {
			if speaksOf(t, m, s) {
				any = true
				if !yield(s) {
					return
				}
			}
		}
		if !any {
			yield(suspects[0])
		}
	}
}

// hangsOnMended reports whether figures speak of something that has been mended since a reading. Whether it was
// there then, guesses differ in, so each has its own word on the reading.
func (b *Belief) hangsOnMended(m *measurement) bool {
	if b.model == nil || m.circuit {
		return false
	}
	for _, r := range b.repaired[min(m.epoch, len(b.repaired)):] {
		for _, was := range r.Was {
			if was.fault != nil && speaksOf(m.Test, m.Measure, was.Suspect) {
				return true
			}
		}
	}
	return false
}

// weighByHand fills a particle's log likelihood of readings that only figures predict, by what was broken when
// they were taken.
func (b *Belief) weighByHand(p *particle, ms []*measurement, at []int) {
	b.names = b.names[:0]
	for _, f := range p.epochs[ms[0].epoch].faults {
		b.names = append(b.names, f.ID)
	}
	for k, m := range ms {
		p.note(at[k], b.logByHand(m, b.names))
	}
}

// outcomesByHand is a hypothesis's chance of each outcome of a candidate that only figures predict.
func (b *Belief) outcomesByHand(c *Candidate, h *Hypothesis) []float64 {
	p := make([]float64, c.grid.outcomes())
	for s := range spokenOf(c.Test, c.Measure, h.Suspects) {
		for i, x := range b.byFigures(c, s) {
			p[i] += x
		}
	}
	sum := 0.0
	for _, x := range p {
		sum += x
	}
	scale(p, 1/sum)
	return p
}

// byFigures is how likely the figures make each outcome for a suspect: the same throughout a job, so they are
// looked up once.
func (b *Belief) byFigures(c *Candidate, suspect string) []float64 {
	p, ok := c.figures[suspect]
	if ok {
		return p
	}
	if len(c.grid.of) == 0 {
		p = c.grid.foretold(b.figure(c.Test, suspect))
	}
	for _, choice := range c.grid.of {
		p = append(p, expectedChoice(c.Test, c.Measure, suspect, choice, len(c.grid.of)))
	}
	c.figures[suspect] = p
	return p
}
