package rank

import "slices"

// Most suspects are as good as excluded after a few readings. They sleep: they only glance at what is read then, with a
// few of their guesses, and of the others keep the numbers but not the circuits made of them.

// dormantBelow is the probability under which a hypothesis only glances at new
// readings; it catches up when it comes to matter again.
const dormantBelow = 1e-4

// dormant reports whether a hypothesis sleeps: it hardly matters, or it has come to matter and has not been woken yet.
func (c *cloud) dormant(h *Hypothesis) bool { return c.light || h.hardlyMatters() }

func (h *Hypothesis) hardlyMatters() bool { return h.bare < dormantBelow }

// lighten drops the circuits that clouds which sleep have no use for.
func (b *Belief) lighten() {
	for _, h := range b.hyps {
		c := h.cloud
		if c == nil || c.light || !c.dormant(h) {
			continue
		}
		c.light = true
		keep := c.glancedAt()
		for i := range c.particles {
			if p := &c.particles[i]; !slices.Contains(keep, i) {
				p.draw, p.epochs = nil, nil
			}
		}
	}
}

// ready makes the circuits of a particle where they were dropped: they follow from its numbers.
func (b *Belief) ready(c *cloud, p *particle) {
	if p.epochs == nil {
		_ = b.build(c, p) // it could be built once
	}
}

// readyFor does it for those that spreadOut picks.
func (b *Belief) readyFor(c *cloud, n int) {
	if !c.light {
		return
	}
	for _, at := range spreadOut(normalWeights(c.logw), n) {
		b.ready(c, &c.particles[at])
	}
}

// readyAll does it for all particles of a cloud.
func (b *Belief) readyAll(c *cloud) {
	if !c.light {
		return
	}
	for i := range c.particles {
		b.ready(c, &c.particles[i])
	}
	c.light = false
}

// glanced is how many particles a dormant hypothesis weighs a reading with.
const glanced = 16

// glance estimates the mean likelihood of the newest reading from a few particles,
// picked by weight, and returns its log.
func (b *Belief) glance(c *cloud, m *measurement) float64 {
	ms, at := []*measurement{m}, []int{len(b.readings) - 1}
	logs := make([]float64, 0, glanced)
	for _, j := range c.glancedAt() {
		p := &c.particles[j]
		b.ready(c, p)
		b.weigh(p, ms, at)
		logs = append(logs, p.of(at[0]))
	}
	return logMean(logs)
}

// glancedAt are the particles that a dormant cloud weighs readings with.
func (c *cloud) glancedAt() []int { return spreadOut(normalWeights(c.logw), glanced) }

// spreadOut picks n particles by weight, in order, the heavy ones several times.
func spreadOut(weights []float64, n int) []int {
	out := make([]int, n)
	upTo, j := weights[0], 0
	for k := range out {
		for upTo < (float64(k)+0.5)/float64(n) && j < len(weights)-1 {
			j++
			upTo += weights[j]
		}
		out[k] = j
	}
	return out
}

// wake lets hypotheses that have come to matter catch up with the readings they only glanced at. What one of
// them then makes of a reading can bring up others.
func (b *Belief) wake(groups []group) {
	for {
		var up []*Hypothesis
		for _, h := range b.hyps {
			if c := h.cloud; c != nil && (c.light || len(c.behind) > 0) && !h.hardlyMatters() {
				up = append(up, h)
			}
		}
		if len(up) == 0 {
			return
		}
		b.each(len(up), func(hand *Belief, i int) { hand.catchUp(up[i], groups) })
		b.normalise()
	}
}

// catchUp weighs a hypothesis by the readings that it only glanced at.
func (b *Belief) catchUp(h *Hypothesis, groups []group) {
	c := h.cloud
	b.readyAll(c)
	if len(c.behind) == 0 { // only readings that a rule has the word on, or that no circuit predicts
		return
	}
	for i := range c.particles {
		p := &c.particles[i]
		for _, g := range groups {
			b.weigh(p, g.ms, g.at)
		}
	}
	for _, r := range c.behind {
		h.gained[r] = plainStep(c.logw, c.of(r, nil), 1)
	}
	c.behind = c.behind[:0]
}
