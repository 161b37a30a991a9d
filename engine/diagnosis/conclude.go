package diagnosis

import (
	"maps"
	"math"
	"slices"

	"coilside/engine/rank"
	"coilside/rules"
)

// When a fault counts as proven.
const (
	concludeAt = 0.97 // probability with everything known
	provenAt   = 0.95 // probability by the readings alone, every suspect starting even
	likelyAt   = 0.85 // probability that is enough when nothing more can be measured
	likelyBy   = 0.80 // and probability by the readings alone
	tiedAt     = 0.80 // probability that suspects named together must hold between them
	tiedMost   = 5    // suspects that can be named together
	rivalAt    = 0.15 // of the best by readings alone: a suspect that is no worse is a rival
	tiedWithin = 0.15 // of the best by readings alone: what is further off is told apart
	bothAt     = 0.99 // probability from which on two faults are named at once; else the surer one is mended first
)

// Conclusion is what is proven, nil until something is. It is single when one
// suspect is likely enough and the readings alone bear it out; tied when nothing
// that can still be measured tells the last few apart.
func (c *Case) Conclusion() *Conclusion {
	if !c.cached.concluded {
		c.cached.conclusion, c.cached.concluded = c.proven(), true
	}
	return c.cached.conclusion
}

func (c *Case) proven() *Conclusion {
	ranked := c.belief.Ranking()
	top := ranked[0]
	if c.pending() {
		return nil
	}
	sure := c.surest()
	if !c.fits(sure.with) {
		return nil
	}
	if sure.probability >= concludeAt && sure.alone >= provenAt && (!c.stale(sure) || c.exhausted()) {
		if len(top.Suspects) > 1 && top.Probability() >= bothAt {
			return c.conclude("pair", ranked[:1])
		}
		return c.named("single", sure.probability, []string{sure.id}, sure.with)
	}
	if !c.exhausted() {
		return nil
	}
	if top.Probability() >= likelyAt && c.belief.ByReadingsAlone(top) >= likelyBy && !c.rivalled(ranked) {
		return c.conclude("single", ranked[:1]) // as sure as it gets: the rest would have to be slips
	}
	return c.tie(ranked)
}

// afreshAt is what a suspect must come to, with readings from before a repair that left the complaint counting half, to
// be named next.
const afreshAt = 0.9

// stale reports whether what is surest stands on what was read before a repair that left the complaint: something
// believed then was wrong, so it takes a new reading to bear it out.
func (c *Case) stale(sure surest) bool {
	for _, e := range slices.Backward(c.events) {
		if e.repair != nil {
			return e.repair.Result != "gone" && sure.afresh < afreshAt
		}
	}
	return false
}

// How many readings may be slips, at the most, under what is concluded: some, and a part of
// all. More than that and nothing that is believed fits.
const (
	slipsMost = 2
	slipsPart = 2 * rank.Slip
)

// fits reports whether a hypothesis explains the readings, all but a few.
func (c *Case) fits(h *rank.Hypothesis) bool {
	return float64(c.belief.Slips(h)) <= slipsMost+slipsPart*float64(len(c.belief.Readings()))
}

// rivalled reports whether the readings alone speak for another suspect nearly as
// much as for the likeliest, which then is only the likelier of a few. What hardly brings
// the complaint about is no rival: mending it would leave the complaint.
func (c *Case) rivalled(ranked []*rank.Hypothesis) bool {
	best := c.belief.ByReadingsAlone(ranked[0])
	return slices.ContainsFunc(ranked[1:], func(h *rank.Hypothesis) bool {
		return len(h.Suspects) == 1 && h.Explains() && c.belief.ByReadingsAlone(h) >= best*rivalAt
	})
}

// tie names the suspects that the readings leave: all that they speak for nearly
// as much as for the best, whatever their priors, if they are few and hold nearly
// all the probability between them.
func (c *Case) tie(ranked []*rank.Hypothesis) *Conclusion {
	best := 0.0
	for _, h := range ranked {
		best = max(best, c.belief.ByReadingsAlone(h))
	}
	var left []*rank.Hypothesis
	sum := 0.0
	for _, h := range ranked {
		if len(h.Suspects) > 1 && h != ranked[0] {
			sum += h.Probability() // a second fault beside the ones named
			continue
		}
		if len(left) < tiedMost && (sum < tiedAt || h.Explains() && c.belief.ByReadingsAlone(h) >= best*tiedWithin) {
			left = append(left, h)
			sum += h.Probability()
		}
	}
	switch {
	case sum < tiedAt:
		return nil
	case len(left) == 1:
		return c.conclude("single", left)
	}
	return c.conclude("tied", left)
}

// pending reports whether a rule requires a test that has not been done.
func (c *Case) pending() bool {
	done := c.done()
	for test := range c.effects.Required {
		if !done[test] && !c.forbidden(test) {
			return true
		}
	}
	return false
}

// exhausted reports whether no test at hand is worth doing.
func (c *Case) exhausted() bool { return len(c.proposals()) == 0 }

// surest is the suspect that is likeliest to be at fault, alone or with another.
type surest struct {
	id                 string
	probability, alone float64          // with everything known, and by the readings alone
	afresh             float64          // the same, those before the last repair counting half; not at all for what was mended
	with               *rank.Hypothesis // the likeliest of which it is a part
}

func (c *Case) surest() surest {
	sums := map[string]float64{}
	var best surest
	ranked := c.belief.Ranking()
	for _, h := range ranked {
		for _, id := range h.Suspects {
			if sums[id] += h.Probability(); sums[id] > best.probability {
				best.id, best.probability = id, sums[id]
			}
		}
	}
	afresh := c.belief.Afresh
	if c.belief.Mended(best.id) {
		afresh = c.belief.SinceRepair
	}
	for _, h := range ranked {
		if slices.Contains(h.Suspects, best.id) {
			best.alone += c.belief.ByReadingsAlone(h)
			best.afresh += afresh(h)
			if best.with == nil {
				best.with = h
			}
		}
	}
	return best
}

// conclude names all suspects of some hypotheses.
func (c *Case) conclude(kind string, hs []*rank.Hypothesis) *Conclusion {
	var suspects []string
	probability := 0.0
	for _, h := range hs {
		probability += h.Probability()
		for _, id := range h.Suspects {
			if !slices.Contains(suspects, id) {
				suspects = append(suspects, id)
			}
		}
	}
	if len(hs) == 1 && len(suspects) > 1 {
		kind = "pair"
	}
	return c.named(kind, probability, suspects, hs[0])
}

// named is a conclusion with what to do about it, borne out by the readings that speak
// for a hypothesis.
func (c *Case) named(kind string, probability float64, suspects []string, by *rank.Hypothesis) *Conclusion {
	out := &Conclusion{Kind: kind, Probability: probability, Suspects: suspects, Proof: c.proof(by)}
	for _, id := range suspects {
		s, ok := c.knowledge.book.Suspect(id)
		if !ok {
			continue
		}
		if do := c.fill(s.Repair.Do); do != "" && !slices.Contains(out.Repair, do) {
			out.Repair = append(out.Repair, do)
			for _, check := range s.Repair.Check {
				out.Check = append(out.Check, c.fill(check))
			}
		}
		if t, ok := c.knowledge.book.Test(s.Repair.Verify); ok && out.Verify == "" {
			out.Verify = c.fill(t.Say)
		}
	}
	return out
}

// proof is a short set of readings that bears a hypothesis out: the strongest
// first, until the rest adds less than half a bit each.
func (c *Case) proof(h *rank.Hypothesis) []int {
	type moved struct {
		entry int
		bits  float64
	}
	var all []moved
	for _, r := range c.belief.Readings() {
		if bits := c.belief.Moved(h, r.ID); bits >= 0.5 {
			all = append(all, moved{r.ID, bits})
		}
	}
	slices.SortStableFunc(all, func(a, b moved) int { return int(math.Copysign(1, b.bits-a.bits)) })
	var out []int
	sum := 0.0
	for _, m := range all {
		out = append(out, m.entry)
		if sum += m.bits; sum > 12 {
			break
		}
	}
	slices.Sort(out)
	return out
}

// fill puts terminals into the {roles} of a sentence; a role that is not sure is
// called by what it does.
func (c *Case) fill(text string) string {
	roles := maps.Clone(roleWords)
	maps.Copy(roles, c.roles())
	return circuitFill(text, roles)
}

var roleWords = map[string]string{
	"supply": "the supply terminal", "away": "the load terminal", "coil_plus": "the coil's supply terminal",
	"coil_minus": "the coil's other terminal", "load_on": "the load terminal",
}

// Ranking lists all suspects, likeliest first, with the reasons for the first few.
func (c *Case) Ranking() []Ranked {
	var out []Ranked
	for i, h := range c.belief.Ranking() {
		r := Ranked{Suspect: h.ID(), Probability: h.Probability()}
		if i < reasonsFor {
			r.Reasons = c.reasons(h)
		}
		out = append(out, r)
	}
	return out
}

// reasonsFor is how many suspects of a ranking carry their reasons.
const reasonsFor = 5

// Cautions are the rules' warnings in force.
func (c *Case) Cautions() []string { return c.said(rules.Caution) }

// Advice is what the rules advise now.
func (c *Case) Advice() []string { return c.said(rules.Advise) }

// said collects what the rules say, first-stage rules before late ones.
func (c *Case) said(do rules.Do) []string {
	var out []string
	for _, f := range append(c.memory.Firings(), c.late()...) {
		for _, a := range f.Rule.Then {
			if a.Do == do {
				if text := c.fill(a.Say); !slices.Contains(out, text) {
					out = append(out, text)
				}
			}
		}
	}
	return out
}
