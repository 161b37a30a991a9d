package rank

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"coilside/engine/circuit"
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
	// pairsTried is how many pairs are tried each time they are added, with triedWith guesses each, and
	// pairsGlimpsed how many of those with one of the likeliest that are tried beside them.
	pairsTried    = 96
	triedWith     = 8
	pairsGlimpsed = 32
	// tryBlur is how many times its instrument's error a number counts with there: so few
	// guesses hit nothing sharply.
	tryBlur = 4
	// withOne is how many pairs with one suspect are added at a time while there are others:
	// what is left out can't be believed.
	withOne = 4

	// companionAdds is by how many nats a second fault must better what one of the two explains by
	// itself to be held against one that leads: one that is silent may be in any vehicle.
	companionAdds = 2

	never = -1 // of Belief.paired
)

// consider adds pairs of suspects when the readings fit no single one, and when two faults
// may look like the one that leads.
func (b *Belief) consider() {
	if b.model == nil || b.paired == never {
		return
	}
	lead := ""
	if len(b.readings) < b.paired+pairsEvery || b.misfits() < misfitsForPairs {
		if lead = b.unbracketed(); lead == "" {
			return
		}
		b.doubted = lead
	} else {
		b.paired = len(b.readings)
	}
	b.dropPairs()
	pairs := b.beside(b.promising(lead))
	if pairs == nil {
		return
	}
	few := pairs.Clone()
	few.ungrown = true
	if !few.retrace(b.readings) {
		return
	}
	// Those that do well with few particles, with all that is known or by the readings alone, are weighed again
	// with many.
	var added, again []*Hypothesis
	known, alone := b.shares(few.hyps, (*Hypothesis).plain), b.shares(few.hyps, b.aloneLog)
	for i := range few.hyps {
		if max(known[i], alone[i]) < weighedAgain {
			added = append(added, few.hyps[i])
		} else {
			again = append(again, pairs.hyps[i])
		}
	}
	if pairs.restrict(again); !pairs.retrace(b.readings) {
		return
	}
	b.clouds = pairs.clouds
	for _, h := range append(added, again...) {
		h.forms = nil
		b.enlist(h)
	}
	b.normalise()
}

// restrict leaves some of the hypotheses only; of a suspect whose first form goes, another speaks for all.
func (b *Belief) restrict(to []*Hypothesis) {
	b.hyps = nil
	for _, h := range to {
		h.forms = nil
		b.enlist(h)
	}
}

// weighedAgain is the share that a pair must have of all, by a few particles, to be worth many.
const weighedAgain = 0.001

// beside is a belief in some pairs alone, before any reading, with clouds numbered after this one's; nil
// where none of them can be.
func (b *Belief) beside(cs []couple) *Belief {
	out := &Belief{scratch: new(scratch), book: b.book, model: b.model, known: b.known, facts: b.facts, seed: b.seed, systemVolts: b.systemVolts,
		complaint: b.complaint, named: b.named, repaired: b.repaired, shared: b.shared, wirings: b.wirings, clouds: b.clouds, paired: never, handless: b.handless}
	var all []*Hypothesis
	for _, c := range cs {
		h := c.hypothesis()
		h.cloud = out.newCloud(h.faults...)
		all = append(all, h)
	}
	if out.populate(all, b.wirings) != nil {
		return nil
	}
	for _, h := range all {
		if h.share > 0 {
			h.share = h.of[0].share * h.of[1].share
			out.enlist(h)
		}
	}
	if len(out.hyps) == 0 {
		return nil
	}
	out.normalise()
	return out
}

// retrace takes in what another belief has read. Where a rule has the word on a reading, a hypothesis has that
// of the other's whole field.
func (b *Belief) retrace(readings []*measurement) bool {
	if len(b.hyps) == 0 {
		return true
	}
	b.normalise()
	for _, m := range readings {
		if b.Read(m.Reading) != nil {
			return false
		}
	}
	for i, m := range readings {
		for _, h := range b.hyps {
			if m.overruled(h) {
				h.gained[i] = m.field
			}
		}
	}
	return true
}

// shares are the parts that others would have, were they among the hypotheses, by the log of what each is.
func (b *Belief) shares(others []*Hypothesis, log func(*Hypothesis) float64) []float64 {
	logs := make([]float64, 0, len(others)+len(b.hyps))
	for _, h := range append(slices.Clone(others), b.hyps...) {
		logs = append(logs, log(h))
	}
	return normalWeights(logs)[:len(others)]
}

// dropPairs drops the pairs that have no chance any more, to make room for others.
func (b *Belief) dropPairs() {
	gone := map[*Hypothesis]bool{}
	for _, h := range b.hyps {
		if len(h.Suspects) > 1 && h.forms != nil && h.sum < hopelessPair && b.ByReadingsAlone(h) < hopelessAlone {
			for _, form := range h.forms {
				gone[form] = true
			}
		}
	}
	b.hyps = slices.DeleteFunc(b.hyps, func(h *Hypothesis) bool { return gone[h] })
}

// A pair is dropped, when others are added, below hopelessPair with everything known and
// hopelessAlone by the readings alone.
const (
	hopelessPair  = 1e-5
	hopelessAlone = 1e-4
)

// misfits is how many readings are explained as slips, on average over what is
// believed; that a repair mended nothing counts like one.
func (b *Belief) misfits() float64 {
	sum := 0.0
	for _, h := range b.hyps {
		if h.bare < 0.01 {
			continue
		}
		if slices.ContainsFunc(b.repaired, func(r Repaired) bool { return r.mends(b.book, h.Suspects) }) {
			sum += h.bare
		}
		sum += h.bare * float64(b.slips(h))
	}
	return sum
}

// Slips is how many readings a hypothesis explains as slips only, in the form that is
// believed most.
func (b *Belief) Slips(h *Hypothesis) int { return b.slips(h.likeliest()) }

func (b *Belief) slips(h *Hypothesis) int {
	n := 0
	for i, m := range b.readings {
		if b.slipped(m, h.gained[i]) {
			n++
		}
	}
	return n
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
	x, y                *Hypothesis
	prior, start, score float64 // logs: before anything was read, what it is scored from, and its score
}

// hypothesis is the pair as one, its suspects in order.
func (c *couple) hypothesis() *Hypothesis {
	x, y := c.x, c.y
	if x.ID() > y.ID() {
		x, y = y, x
	}
	return &Hypothesis{Suspects: []string{x.ID(), y.ID()}, of: [2]*Hypothesis{x, y}, faults: []*circuit.Fault{x.faults[0], y.faults[0]}, prior: c.prior}
}

// promising lists the pairs to add, best first: of those that would do best if each
// reading were explained by the better of the two, those of which a few guesses fit
// the readings best. A fault and its absence make no pair, and one that leads is not looked
// for: with another beside it, it is at fault all the same.
func (b *Belief) promising(lead string) []couple {
	all, there := b.couples(lead)
	out := all[:min(len(all), pairsTried)]
	if lead == "" {
		out = append(slices.Clone(out), b.glimpsed(all[len(out):])...)
	}
	b.tryAll(out, triedWith)
	sortCouples(out)
	return varied(out, min(len(out), pairsMost, max(pairsInAll-there, 0)))
}

// tryAll scores pairs by what so many guesses of each make of the readings.
func (b *Belief) tryAll(cs []couple, guesses int) {
	for _, c := range cs { // beforehand: several couples share a suspect
		b.readyFor(c.x.cloud, guesses/2)
		b.readyFor(c.y.cloud, guesses/2)
	}
	b.tries = true
	b.each(len(cs), func(hand *Belief, i int) { cs[i].score = cs[i].start + hand.try(&cs[i], guesses) })
	b.tries = false
}

// likeliestPaired is how many of the likeliest suspects are tried with all others.
const likeliestPaired = 5

// glimpsed picks, of pairs that explain little where each reading is left to one of the two, those with
// a likely suspect that a glimpse says explain it together: a stuck control shows the volts of a low
// battery, and neither alone does.
func (b *Belief) glimpsed(cs []couple) []couple {
	likely := map[string]bool{}
	for _, h := range b.Ranking() {
		if len(h.Suspects) == 1 && len(likely) < likeliestPaired {
			likely[h.ID()] = true
		}
	}
	out := slices.DeleteFunc(slices.Clone(cs), func(c couple) bool { return !likely[c.x.ID()] && !likely[c.y.ID()] })
	b.tryAll(out, 2)
	sortCouples(out)
	return out[:min(len(out), pairsGlimpsed)]
}

// varied picks the first n, but those with a suspect that is in enough of them already
// come after all others.
func varied(cs []couple, n int) []couple {
	in := map[string]int{}
	var out, later []couple
	for _, c := range cs {
		x, y := c.x.ID(), c.y.ID()
		if in[x] >= withOne || in[y] >= withOne {
			later = append(later, c)
			continue
		}
		in[x]++
		in[y]++
		out = append(out, c)
	}
	return append(out, later...)[:n]
}

// unbracketed is a suspect that leads though, by the readings alone, two others may do as
// well between them; "" where none does. It is one that no reading shows by itself, such as
// a wire found open by what is dead before it and after it: two faults look like that too.
func (b *Belief) unbracketed() string {
	lead, with := b.lead()
	if lead == "" || lead == b.doubted {
		return ""
	}
	own := max(with.complain, -2)
	for _, g := range with.gained {
		own += g
	}
	if len(with.Suspects) == 1 {
		own -= math.Log(pairOdds)
	}
	between := 0.0
	singles := b.singles(lead)
	for i, x := range singles {
		for _, y := range singles[i+1:] {
			if e := b.explained(x, y); x.ID() != y.ID() && b.companions(x, y, e) {
				between += math.Exp(e - own)
			}
		}
	}
	if between < betweenLeast {
		return ""
	}
	return lead
}

// leadAt is the probability from which on a suspect leads, and betweenLeast what two others
// must have between them, against it, by the readings alone.
const (
	leadAt       = 0.9
	betweenLeast = 0.05
)

// lead is the suspect that leads, alone or with others, and the likeliest hypothesis that it
// is a part of; "" where there is none, or nothing is wrong with the circuit.
func (b *Belief) lead() (string, *Hypothesis) {
	sums, with := map[string]float64{}, map[string]*Hypothesis{}
	lead := ""
	for _, h := range b.hyps {
		for _, s := range h.Suspects {
			sums[s] += h.bare
			if sums[s] >= leadAt && (lead == "" || sums[s] > sums[lead]) {
				lead = s
			}
			if with[s] == nil || h.bare > with[s].bare {
				with[s] = h
			}
		}
	}
	if lead == "" || with[lead].cloud == nil || with[lead].cloud.sound() {
		return "", nil
	}
	return lead, with[lead]
}

// companions reports whether two suspects explain clearly more between them than either alone;
// between is what they explain.
func (b *Belief) companions(x, y *Hypothesis, between float64) bool {
	return between >= max(b.explained(x, x), b.explained(y, y))+companionAdds
}

// explained is the log of how likely the readings are where each is explained by the better
// of two suspects.
func (b *Belief) explained(x, y *Hypothesis) float64 {
	log := max(x.complain, y.complain, -2)
	for r := range b.readings {
		log += max(x.gained[r], y.gained[r])
	}
	return log
}

// singles are the single faults that can be one of a pair, but for one that leads.
func (b *Belief) singles(lead string) []*Hypothesis {
	return slices.DeleteFunc(slices.Clone(b.hyps), func(h *Hypothesis) bool {
		return len(h.Suspects) > 1 || h.cloud == nil || h.cloud.sound() || h.ID() == lead
	})
}

// couples lists the pairs that there can be, best first, and how many have been added already.
func (b *Belief) couples(lead string) (out []couple, added int) {
	there := map[[2]*Hypothesis]bool{}
	total := 0.0
	for _, h := range b.hyps {
		if len(h.Suspects) > 1 {
			there[h.of] = true
			continue
		}
		total += math.Exp(h.prior)
	}
	singles := b.singles(lead)
	for i, x := range singles {
		for _, y := range singles[i+1:] {
			if x.ID() == y.ID() || there[[2]*Hypothesis{x, y}] || there[[2]*Hypothesis{y, x}] {
				continue
			}
			c := couple{x: x, y: y, prior: x.prior + y.prior - math.Log(total) + math.Log(2*pairOdds)}
			if lead == "" { // else whatever the readings speak for is held against it, likely before or not
				c.start = c.prior
			}
			between := b.explained(x, y)
			if lead != "" && !b.companions(x, y, between) {
				continue
			}
			c.score = c.start + between
			out = append(out, c)
		}
	}
	sortCouples(out)
	return out, len(there)
}

// sortCouples puts the best first. Scores are rounded, so that ties do not hang on the
// order of sums.
func sortCouples(cs []couple) {
	slices.SortStableFunc(cs, func(p, q couple) int {
		if by := cmp.Compare(math.Round(q.score*1e9), math.Round(p.score*1e9)); by != 0 {
			return by
		}
		return strings.Compare(p.hypothesis().ID(), q.hypothesis().ID())
	})
}

// try is the log of the mean likelihood of all readings over a few guesses, an even number, that put
// together what each of the two has come to by itself: the circuit of either, and
// the size of both faults.
func (b *Belief) try(p *couple, guesses int) float64 {
	h := p.hypothesis()
	c := &cloud{wirings: h.of[0].cloud.wirings, faults: h.faults}
	groups := b.groups()
	var logs []float64
	for side := range 2 {
		own := h.of[side].cloud
		c.renews = own.renews
		for k, at := range spreadOut(normalWeights(own.logw), guesses/2) {
			base := &own.particles[at]
			if !b.model.Possible(h.faults[1-side], base.draw.Wiring) {
				continue
			}
			of := [2]*particle{base, base}
			other := h.of[1-side].cloud
			of[1-side] = &other.particles[spreadOut(normalWeights(other.logw), guesses/2)[k]]
			q := particle{draw: base.draw, normal: b.joined(h, of, base)}
			if b.build(c, &q) != nil {
				continue
			}
			log := 0.0
			for _, g := range groups {
				b.weigh(&q, g.ms, g.at)
			}
			for r, m := range b.readings {
				switch {
				case m.overruled(h):
					log += m.field
				case m.circuit || m.byGuess:
					log += q.of(r)
				default:
					log += b.byHand(h, m)
				}
			}
			logs = append(logs, log)
		}
	}
	if len(logs) == 0 {
		return math.Inf(-1)
	}
	return logMean(logs)
}

// joined are the normal numbers of a pair's particle: the circuit's, and each fault's
// as a particle of that fault alone has them, then those of earlier repairs.
func (b *Belief) joined(h *Hypothesis, of [2]*particle, base *particle) []float64 {
	before := h.of[0].cloud.wirings.Dims() + b.model.Dims()
	normal := slices.Clone(base.normal[:before])
	for side, p := range of {
		normal = append(normal, p.normal[before:before+h.faults[side].Dims]...)
	}
	side := 0
	if base == of[1] {
		side = 1
	}
	return append(normal, base.normal[before+h.faults[side].Dims:]...)
}
