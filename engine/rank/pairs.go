package rank

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// Two faults at once are weighed only when no single one fits: every pair of
// suspects would be far too many, and nearly always needless.
const (
	// pairOdds is how likely a vehicle with one fault has an independent second
	// one in the same circuit. Experience, no source.
	pairOdds = 0.03
	// misfitsForPairs is how many readings the likeliest single faults must
	// explain as slips before pairs are weighed.
	misfitsForPairs = 0.75
	// pairsMost is how many pairs are added at a time, pairsEvery how many readings
	// lie between two times, and pairsInAll how many pairs there are at the most.
	pairsMost  = 12
	pairsEvery = 3
	pairsInAll = 48

	never = -1 // of Belief.paired
)

// consider adds pairs of suspects when the readings fit no single one.
func (b *Belief) consider() {
	if b.model == nil || b.paired == never || len(b.readings) < b.paired+pairsEvery || b.misfits() < misfitsForPairs {
		return
	}
	b.paired = len(b.readings)
	sub := &Belief{book: b.book, model: b.model, known: b.known, facts: b.facts, seed: b.seed, systemVolts: b.systemVolts,
		complaint: b.complaint, named: b.named, repaired: b.repaired, shared: b.shared, clouds: b.clouds, paired: never}
	for _, p := range b.promising() {
		h := &Hypothesis{Suspects: []string{p.x.Suspects[0], p.y.Suspects[0]}, prior: p.prior}
		slices.Sort(h.Suspects)
		if possible, err := sub.populate(h, b.wirings); err == nil && possible && h.cloud != nil {
			sub.hyps = append(sub.hyps, h)
		}
	}
	if len(sub.hyps) == 0 {
		return
	}
	sub.normalise()
	for _, m := range b.readings {
		if sub.Read(m.Reading) != nil {
			return
		}
	}
	for i, m := range b.readings { // where a rule has the word, a pair has that of the whole field too
		for _, h := range sub.hyps {
			if m.overruled(h) {
				h.gained[i] = m.field
			}
		}
	}
	b.hyps, b.clouds = append(b.hyps, sub.hyps...), sub.clouds
	b.normalise()
}

// misfits is how many readings are explained as slips, on average over what is
// believed.
func (b *Belief) misfits() float64 {
	sum := 0.0
	for _, h := range b.hyps {
		if h.bare < 0.01 {
			continue
		}
		for i, m := range b.readings {
			if b.slipped(m, h.gained[i]) {
				sum += h.bare
			}
		}
	}
	return sum
}

// slipped reports whether a reading's likelihood is no more than a slip's.
func (b *Belief) slipped(m *measurement, gained float64) bool {
	if m.Answer.Unsure {
		return false
	}
	slip := Slip * slipLikelihood(instrument(m.Measure), &m.Answer, m.choices, b.systemVolts)
	return gained < math.Log(3*slip)
}

// couple is a pair that may explain what neither of its suspects does alone.
type couple struct {
	x, y         *Hypothesis
	prior, score float64 // logs
}

func (c *couple) id() string { return min(c.x.ID(), c.y.ID()) + " + " + max(c.x.ID(), c.y.ID()) }

// promising lists the pairs that would do best if each reading were explained by
// the better of the two. A fault and its absence make no pair.
func (b *Belief) promising() []couple {
	var singles []*Hypothesis
	there := map[string]bool{}
	total := 0.0
	for _, h := range b.hyps {
		if len(h.Suspects) > 1 {
			there[h.ID()] = true
			continue
		}
		total += math.Exp(h.prior)
		if h.cloud != nil && !h.cloud.sound() {
			singles = append(singles, h)
		}
	}
	var out []couple
	for i, x := range singles {
		for _, y := range singles[i+1:] {
			c := couple{x: x, y: y}
			if there[c.id()] {
				continue
			}
			c = couple{x: x, y: y, prior: x.prior + y.prior - math.Log(total) + math.Log(2*pairOdds)}
			c.score = c.prior + max(x.complain, y.complain)
			for r := range b.readings {
				c.score += max(x.gained[r], y.gained[r])
			}
			out = append(out, c)
		}
	}
	slices.SortFunc(out, func(p, q couple) int { // rounded, so that ties do not hang on the order of sums
		if by := cmp.Compare(math.Round(q.score*1e9), math.Round(p.score*1e9)); by != 0 {
			return by
		}
		return strings.Compare(p.id(), q.id())
	})
	return out[:min(len(out), pairsMost, max(pairsInAll-len(there), 0))]
}
