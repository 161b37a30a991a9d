package diagnosis

import (
	"math"

	"coilside/engine/choose"
	"coilside/engine/rank"
	"coilside/rules"
)

// How many tests are looked ahead from, and how many may follow them; the rest stay
// in the order of what they tell a minute.
const (
	mayComeNext = 8
	mayFollow   = 20
	outcomes    = 5 // that a test's readings are gathered into
)

// lookAhead puts first, of the proposals that tell most a minute, the one from which
// the proof is fewest expected minutes away. Tests that a rule requires stay before
// it.
func (c *Case) lookAhead(ps []Proposal) {
	for len(ps) > 0 && c.required(ps[0].Test.ID) {
		ps = ps[1:]
	}
	next := min(len(ps), mayComeNext)
	if next < 2 || len(ps[0].outlook.Hyps) < 2 {
		return
	}
	follow := ps[:min(len(ps), mayFollow)]
	o := choose.Options{Prior: ps[0].outlook.Prior, First: next, Enough: concludeAt}
	for i := range follow {
		o.Parts = append(o.Parts, follow[i].opening.Parts(outcomes))
	}
	o.Minutes = func(from, test int) float64 {
		p := &follow[test]
		if from >= 0 {
			at := &follow[from]
			return c.minutesFrom(at.Setup, spotOf(at.Measure), p.Test, p.Measure, p.Setup) + p.proving + lookingUp
		}
		minutes := p.Minutes + lookingUp
		if f, ok := c.effects.Preferred[p.Test.ID]; ok {
			minutes /= f.Factor
		}
		return minutes
	}
	away := choose.ToRepair(&o)
	best := 0
	for i := range next {
		if away[i] < away[best] {
			best = i
		}
	}
	if away[best] < nearer*away[0] {
		p := ps[best]
		copy(ps[1:best+1], ps[:best])
		ps[0] = p
	}
}

// nearer is by how much the look-ahead must bring the proof nearer to overrule what
// tells most a minute: it looks at a simplified future.
const nearer = 0.98

// minutesFrom is what a test takes for one who stands in a setup at some part of
// the vehicle: getting there and changing the setup are paid once, further readings
// on the spot are quick.
func (c *Case) minutesFrom(stand rules.Setup, spot string, t *rules.Test, m rules.Measure, s rules.Setup) float64 {
	full := t.Minutes[c.access()]
	switch {
	case !quickOnTheSpot(t.Measure.Mode) || spot == "" || spotOf(m) != spot || s.Relay != stand.Relay || s.Conditions() != stand.Conditions():
		return full
	case s.Key == stand.Key && s.Command == stand.Command && s.Coil == stand.Coil:
		return math.Min(full, anotherReading)
	}
	return math.Min(full, anotherReading+switching)
}

// minutes is the same for one who stands where the last reading was taken.
func (c *Case) minutes(cand *rank.Candidate) float64 {
	return c.minutesFrom(c.stand, c.at, cand.Test, cand.Measure, cand.Setup)
}
