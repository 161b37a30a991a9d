package rank

import "math"

// Most of a circuit's numbers have nothing to do with what was read so far: the coil fuse
// with the volts at the load. Renewing a cloud copies the guesses that fit, idle numbers
// included, and after a few readings nearly all of them would descend from a handful. What a
// suspect then expects of a reading that does hang on such a number is luck. So the idle ones are drawn
// afresh with every move that changes the circuit; as nothing read hangs on them, that costs no move
// its acceptance.

// idleBelow is by how much, in nats, what was read may change with a number for the number to count
// as idle.
const idleBelow = 0.02

// nudge is by how many standard deviations of its prior a number is changed to see what
// hangs on it: towards its middle, so that it stays likely.
const nudge = 1.5

// sense adds to what is known of what hangs on each number of the circuit: the complaint
// and the readings of the groups, as far as not looked at before, by nudging one number after the
// other of the guess that fits best.
func (b *Belief) sense(c *cloud, groups []group) {
	if len(groups) == 0 || c.sensed == len(b.readings) {
		return
	}
	base := c.heaviest()
	first := c.hangs == nil
	if first {
		c.hangs = make([]float64, b.model.Dims())
	}
	was := b.foretellAll(base, groups, c.sensed)
	c.busy = c.busy[:0]
	for k := range c.hangs {
		number := c.wirings.Dims() + k
		if c.idle(number) {
			c.hangs[k] += b.hanging(c, base, number, groups, was, first)
		}
		if !c.idle(number) {
			c.busy = append(c.busy, number)
		}
	}
	c.sensed = len(b.readings)
}

// hanging is by how many nats the readings that have not been looked at yet, and at first the
// complaint, change with one number of a guess; was is what the guess would read.
func (b *Belief) hanging(c *cloud, base *particle, number int, groups []group, was []mix, first bool) float64 {
	q := b.nudged(c, base, number)
	if q == nil {
		return math.Inf(1)
	}
	nats := 0.0
	if first && b.complaint != "" {
		nats = math.Abs(math.Log(b.complaintLikelihood(c, q)) - base.complaint)
	}
	for i, is := range b.foretellAll(q, groups, c.sensed) {
		nats += b.apart(b.readings[c.sensed+i], &was[i], &is)
	}
	return nats
}

// heaviest is the particle that counts most.
func (c *cloud) heaviest() *particle {
	best := 0
	for i, w := range c.logw {
		if w > c.logw[best] {
			best = i
		}
	}
	return &c.particles[best]
}

// nudged is a guess with one number changed; nil where there is no such circuit.
func (b *Belief) nudged(c *cloud, p *particle, number int) *particle {
	q := p.copy()
	q.draw = nil
	q.normal[number] -= math.Copysign(nudge, q.normal[number])
	if b.build(c, &q) != nil {
		return nil
	}
	return &q
}

// foretellAll is what a guess would read of the readings from one on; nothing of those that the
// circuit does not predict.
func (b *Belief) foretellAll(p *particle, groups []group, from int) []mix {
	out := make([]mix, len(b.readings)-from)
	one := make([]mix, len(b.readings))
	for _, g := range groups {
		if g.ms[0].wiring != "" || g.ms[0].byGuess || g.at[len(g.at)-1] < from {
			continue
		}
		b.predict(p, g.ms, one[:len(g.ms)])
		for k, at := range g.at {
			if at >= from {
				out[at-from] = one[k]
			}
		}
	}
	return out
}

// apart is by how many nats two predictions of a reading differ: of a number by what its
// instrument's error makes of the distance, wherever the reading itself is.
func (b *Belief) apart(m *measurement, x, y *mix) float64 {
	if x.n == 0 {
		return 0
	}
	if !m.numeric() {
		return math.Abs(b.logLikelihood(m, x) - b.logLikelihood(m, y))
	}
	far := 0.0
	for i := range x.n {
		for _, v := range [][2]float64{{x.raw[i].A, y.raw[i].A}, {x.raw[i].B, y.raw[i].B}} {
			at, to := finite(v[0]), finite(v[1])
			far = math.Max(far, math.Abs(at-to)/sigma(instrument(m.Measure), at, b.systemVolts))
		}
	}
	return far * far / 2
}

// idle reports whether nothing read so far hangs on one of a guess's normal numbers.
func (c *cloud) idle(number int) bool {
	k := number - c.wirings.Dims()
	return k >= 0 && k < len(c.hangs) && c.hangs[k] < idleBelow
}

// renewIdle draws the idle numbers of a guess afresh.
func (c *cloud) renewIdle(normal []float64) {
	for k := range c.hangs {
		if i := c.wirings.Dims() + k; c.idle(i) {
			normal[i] = c.rng.NormFloat64()
		}
	}
}
