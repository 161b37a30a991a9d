package diagnosis

import "slices"

// Offers are the tests worth doing now with what they gain and take, best first and
// without words: what a program needs to choose by itself.
func (c *Case) Offers() []Proposal { return slices.Clone(c.proposals()) }

// Allowed are all tests that make sense now and pass the gates, in the rulebook's
// order, whatever they are worth.
func (c *Case) Allowed() []Proposal {
	cs, _ := c.offered()
	out := make([]Proposal, len(cs))
	for i, cand := range cs {
		out[i] = Proposal{Test: cand.Test, Measure: cand.Measure, Setup: cand.Setup, Minutes: c.minutes(cand)}
	}
	return out
}
