package rank

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/rules"
)

// Belief is what one job knows about its suspects. It is built by Open and fed
// by Read, in order; the same calls give the same numbers. Not safe for
// concurrent use.
type Belief struct {
	book        *rules.Book
	model       *circuit.Model // nil: a rulebook without a circuit
	known       map[string]float64
	facts       map[string]any
	seed        uint64
	systemVolts float64
	named       map[string]bool // suspects that the complaint\'s table names one by one
	complaint   string
	repaired    []Repaired
	solver      circuit.Solver
	mixes       []mix
	foreseen    []mix
	twins       twins
	shared      *shared
	wirings     *circuit.Wirings
	paired      int                   // how many readings there were when pairs of faults were last added
	lives       map[string]*Candidate // volts readings that tell whether a place is live
	changes     int                   // counts what changed the ranking
	clouds      int                   // how many there are
	wired       []wiringShare         // see wiringShares
	wiredAt     int                   // the change that they were worked out after
	livesAt     int                   // the change that lives were last predicted after

	readings []*measurement
	hyps     []*Hypothesis
}

// Hypothesis is one explanation: a suspect, or a pair of them.
type Hypothesis struct {
	Suspects []string
	prior    float64   // log, before anything was read
	weight   float64   // log odds factor from rules
	complain float64   // log factor from the complaint
	gained   []float64 // by reading: log of the mean likelihood given the readings before
	moved    []float64 // by reading: bits of odds against the others
	log      float64   // log of prior x weight x likelihoods, not normalised
	prob     float64
	bare     float64                 // the same without the rules' weights: what readings are weighed by
	cloud    *cloud                  // nil: nothing in the circuit predicts for it
	expects  map[*measurement]string // in words, of readings taken
}

// ID joins the suspects' ids: "coil.open" or "coil.open + feed_fuse.open".
func (h *Hypothesis) ID() string { return strings.Join(h.Suspects, " + ") }

// Probability is the posterior, 0..1; over all hypotheses it sums to 1.
func (h *Hypothesis) Probability() float64 { return h.prob }

// Opening is what a belief starts from.
type Opening struct {
	Book      *rules.Book
	Model     *circuit.Model    // nil for a rulebook without a circuit
	Complaint string            // "" = none given
	Wiring    map[string]string // known choices and names of the wiring
	Known     map[string]float64
	Facts     map[string]any // that a test's own figures may depend on
	Repaired  []Repaired     // in the order they were done
	Seed      uint64
	Draws     int // particles a suspect; 0 = DefaultDraws
}

// Repaired is one repair that did not end the job. Readings taken before it are
// predicted with its fault still present, as far as it was really there.
type Repaired struct {
	Suspect     string
	Probability float64 // that the fault was there, as believed when it was mended
	Complains   bool    // the complaint was still there afterwards
	fault       *circuit.Fault
}

// botched is the chance, against its prior, that a repaired fault is still or
// again there. Experience, no source.
const botched = 0.05

// Open starts a belief. It is an error when no wiring fits what is known.
func Open(o Opening) (*Belief, error) {
	b := &Belief{book: o.Book, model: o.Model, known: o.Known, facts: o.Facts, seed: o.Seed, complaint: o.Complaint,
		repaired: slices.Clone(o.Repaired), systemVolts: 12}
	var ws *circuit.Wirings
	if b.model != nil {
		var err error
		if ws, err = b.model.Wirings(o.Wiring); err != nil {
			return nil, err
		}
		if o.Wiring["system_volts"] == "24" {
			b.systemVolts = 24
		}
	}
	priors := complaintPriors(o.Book, o.Complaint)
	if table, ok := o.Book.Complaint(o.Complaint); ok {
		b.named = map[string]bool{}
		for pattern := range table.Priors {
			b.named[pattern] = true
		}
	}
	for i := range b.repaired {
		r := &b.repaired[i]
		priors[r.Suspect] *= botched
		if b.model != nil {
			r.fault, _ = b.model.Fault(r.Suspect)
		}
	}
	draws := o.Draws
	if draws == 0 {
		draws = DefaultDraws
	}
	b.shared, b.wirings = newShared(b.seed, draws), ws
	for _, s := range o.Book.Suspects {
		h := &Hypothesis{Suspects: []string{s.ID}, prior: math.Log(priors[s.ID])}
		possible, err := b.populate(h, ws)
		if err != nil {
			return nil, err
		}
		if possible {
			b.hyps = append(b.hyps, h)
		}
	}
	if len(b.hyps) == 0 {
		return nil, fmt.Errorf("the rulebook has no suspect that fits this circuit")
	}
	b.normalise()
	return b, nil
}

// Priors gives every suspect's share under a complaint before anything is known of the circuit;
// they add up to 1.
func Priors(book *rules.Book, complaint string) map[string]float64 {
	priors := complaintPriors(book, complaint)
	sum := 0.0
	for _, s := range book.Suspects {
		sum += priors[s.ID]
	}
	for id := range priors {
		priors[id] /= sum
	}
	return priors
}

// complaintPriors spreads the complaint's table over the suspects; where it is
// silent a suspect keeps a part of its own weight.
func complaintPriors(book *rules.Book, id string) map[string]float64 {
	priors := map[string]float64{}
	c, ok := book.Complaint(id)
	if !ok {
		for _, s := range book.Suspects {
			priors[s.ID] = s.Prior
		}
		return priors
	}
	const silent = 0.15
	for _, s := range book.Suspects {
		priors[s.ID] = silent * s.Prior
	}
	for pattern, weight := range c.Priors {
		var hit []string
		for _, s := range book.Suspects {
			if rules.Matches(pattern, s.ID) {
				hit = append(hit, s.ID)
			}
		}
		for _, s := range hit {
			priors[s] = max(priors[s], weight/float64(len(hit)))
		}
	}
	for s, weight := range c.Own {
		priors[s] = weight
	}
	return priors
}

// populate gives a hypothesis its cloud, if the circuit has a part in it, and
// reports whether it is possible at all.
func (b *Belief) populate(h *Hypothesis, ws *circuit.Wirings) (bool, error) {
	if b.model == nil {
		return true, nil
	}
	c := &cloud{wirings: ws, index: b.clouds}
	b.clouds++
	dims := b.model.Dims()
	for _, id := range h.Suspects {
		f, ok := b.model.Fault(id)
		if !ok {
			return true, nil
		}
		some, part := c.wirings.Possible(f)
		if some == nil {
			return false, nil
		}
		c.wirings = some
		h.prior += math.Log(part)
		c.faults = append(c.faults, f)
		dims += f.Dims
	}
	for _, r := range b.repaired {
		dims++
		if r.fault != nil {
			dims += r.fault.Dims
		}
	}
	dims += c.wirings.Dims()
	b.stir(c)
	c.dims = dims
	h.cloud = c
	if err := b.extend(c, b.shared.block); err != nil {
		return false, err
	}
	if b.named[h.ID()] && fits(c) < rarelyFits {
		if err := b.reach(c); err != nil {
			return false, err
		}
	}
	b.hear(h)
	if c.sound() {
		c.first = slices.Clone(c.particles)
	}
	c.probes = slices.Clone(c.particles[:min(probesKept, len(c.particles))])
	return true, nil
}

// stir gives a cloud its own source of chance; whoever draws from it seeds it first.
func (b *Belief) stir(c *cloud) {
	c.stream = rand.NewPCG(b.seed, 0)
	c.rng = rand.New(c.stream)
}

// normalise turns the hypotheses' logs into probabilities. How readings are
// weighed depends on the probabilities without the rules, so that it makes no
// difference when a rule came to fire.
func (b *Belief) normalise() {
	b.changes++
	for _, h := range b.hyps {
		h.log = h.prior + h.complain
		for _, g := range h.gained {
			h.log += g
		}
	}
	b.spread(func(h *Hypothesis) *float64 { return &h.bare })
	for _, h := range b.hyps {
		h.log += h.weight
	}
	b.spread(func(h *Hypothesis) *float64 { return &h.prob })
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
	out := slices.Clone(b.hyps)
	slices.SortStableFunc(out, func(x, y *Hypothesis) int {
		switch {
		case x.prob > y.prob:
			return -1
		case x.prob < y.prob:
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
