package rank

import "math"

// temper lets the newest reading in by degrees: each stage takes as much of it
// as leaves half of the particles that counted, and renews the cloud when few are
// left.
func (b *Belief) temper(c *cloud, groups []group, newest int, ll []float64) float64 {
	gained, done := 0.0, 0.0
	enough := renewBelow * float64(len(ll))
	for stage := 0; done < 1; stage++ {
		left := 1 - done
		part := left
		if want := effective(c.logw) / 2; stage < stagesMost && effectiveAfter(c.logw, ll, left) < min(want, enough) {
			part = bisect(left, func(x float64) bool { return effectiveAfter(c.logw, ll, x) >= want })
		}
		gained += plainStep(c.logw, ll, part)
		done += part
		if done < 1 && effective(c.logw) < enough {
			b.renewTempered(c, groups, newest, done)
			for i := range c.particles {
				ll[i] = c.particles[i].loglik[newest]
			}
		}
	}
	return gained
}

// bisect finds the largest part in 0..most for which ok still holds.
func bisect(most float64, ok func(float64) bool) float64 {
	low, high := 0.0, most
	for range 12 {
		mid := (low + high) / 2
		if ok(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return max(low, most/64)
}

// plainStep multiplies the weights by a part of the likelihoods and returns the
// log of their mean under the weights before.
func plainStep(logw, ll []float64, part float64) float64 {
	before := logSum(logw)
	for i := range logw {
		logw[i] += part * ll[i]
	}
	return logSum(logw) - before
}

// of gathers what the particles say of a reading.
func (c *cloud) of(reading int, into []float64) []float64 {
	into = into[:0]
	for i := range c.particles {
		into = append(into, c.particles[i].of(reading))
	}
	return into
}

// numeric reports whether the answer is a number, or two.
func (m *measurement) numeric() bool { return m.Answer.Number != nil || m.Answer.MinMax != nil }

// missed reports whether a cloud hardly expects a reading as it is: it may be that
// none of its particles happens to be near.
func (b *Belief) missed(c *cloud, m *measurement, ll []float64) bool {
	slip := Slip * slipLikelihood(instrument(m.Measure), &m.Answer, m.choices, b.systemVolts)
	mean := 0.0
	for i, w := range normalWeights(c.logw) {
		mean += w * math.Exp(ll[i])
	}
	return mean < 3*slip
}

// blurredFirst is how many times its instrument's error a number counts with at first.
const blurredFirst = 16

// focus lets a number in blurred at first, then ever sharper, and has the cloud follow:
// far from a sharp reading all particles are equally bad, and nothing says which of
// them are on the way to it.
func (b *Belief) focus(c *cloud, groups []group, newest int, mixes []mix) float64 {
	m := b.readings[newest]
	gained := 0.0
	enough := renewBelow * float64(len(c.particles))
	var last, ll []float64
	b.blurred = m
	for b.blur = blurredFirst; b.blur >= 1; b.blur /= 2 {
		if mixes == nil {
			mixes = b.foretell(c, m)
		}
		generation := c.generation
		for i := range c.particles {
			c.particles[i].note(newest, b.logFor(&c.particles[i], m, &mixes[i]))
		}
		ll = c.of(newest, ll)
		if last == nil {
			gained += b.temper(c, groups, newest, ll)
		} else {
			for i := range ll {
				ll[i] -= last[i]
			}
			gained += plainStep(c.logw, ll, 1)
		}
		if effective(c.logw) < enough && b.blur > 1 {
			b.renewTempered(c, groups, newest, 1)
		}
		if c.generation != generation {
			mixes = nil
		}
		last = c.of(newest, last)
	}
	b.blurred = nil
	return gained
}

// foretell is what each particle of a cloud would read.
func (b *Belief) foretell(c *cloud, m *measurement) []mix {
	out := make([]mix, len(c.particles))
	for i := range out {
		b.predict(&c.particles[i], []*measurement{m}, out[i:i+1])
	}
	return out
}
