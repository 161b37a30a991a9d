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
	cells       []float64 // scratch of gather
	twins       twins
	shared      *shared
	wirings     *circuit.Wirings
	paired      int                     // how many readings there were when pairs of faults were last added
	lives       map[string]*Candidate   // volts readings that tell whether a place is live
	changes     int                     // counts what changed the ranking
	alone       map[*Hypothesis]float64 // see aloneProbabilities
	aloneAt     int                     // the change that they were worked out after
	clouds      int                     // how many there are
	wired       []wiringShare           // see wiringShares
	wiredAt     int                     // the change that they were worked out after
	livesAt     int                     // the change that lives were last predicted after

	readings []*measurement
	hyps     []*Hypothesis
}

// Hypothesis is one explanation: a suspect, or a pair of them. A fault that has one
// of several forms is weighed form by form, each with particles of its own, so that
// one that the readings rule out takes nothing from the others; the first speaks for
// all of them.
type Hypothesis struct {
	Suspects []string
	faults   []*circuit.Fault // what it does to the circuit
	of       [2]*Hypothesis   // of a pair: what it is made of
	forms    []*Hypothesis    // of the first: all forms, itself the first; nil of the others
	share    float64          // of the first of all forms when nothing has been read; over the forms it sums to 1
	sum      float64          // of the first: the probability of all forms
	prior    float64          // log, before anything was read
	weight   float64          // log odds factor from rules
	complain float64          // log factor from the complaint
	gained   []float64        // by reading: log of the mean likelihood given the readings before
	moved    []float64        // by reading: bits of odds against the others
	log      float64          // log of prior x weight x likelihoods, not normalised
	prob     float64
	bare     float64                 // the same without the rules' weights: what readings are weighed by
	cloud    *cloud                  // nil: nothing in the circuit predicts for it
	expects  map[*measurement]string // in words, of readings taken
}

// ID joins the suspects' ids: "coil.open" or "coil.open + feed_fuse.open".
func (h *Hypothesis) ID() string { return strings.Join(h.Suspects, " + ") }

// Probability is the posterior, 0..1; over all hypotheses it sums to 1.
func (h *Hypothesis) Probability() float64 { return h.sum }

// likeliest is the form that is believed most.
func (h *Hypothesis) likeliest() *Hypothesis {
	best := h
	for _, form := range h.forms {
		if form.prob > best.prob {
			best = form
		}
	}
	return best
}

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
	Suspect   string
	Was       []Was // what was mended: at most one of these was there
	Complains bool  // the complaint was still there afterwards
}

// Was is a fault that a repair may have mended.
type Was struct {
	Suspect     string
	Probability float64 // that it was there, as believed when it was mended, 0..1
	fault       *circuit.Fault
}

// dims is how many normal numbers it takes to say which fault was there, and its size.
func (r *Repaired) dims() int {
	n := 0
	for _, w := range r.Was {
		if w.fault != nil {
			n = max(n, w.fault.Dims)
		}
	}
	return 1 + n
}

// fault is what was there by a standard normal number; nil = nothing.
func (r *Repaired) fault(normal float64) *circuit.Fault {
	upTo := 0.0
	for _, w := range r.Was {
		if upTo += w.Probability; normalBelow(normal, upTo) {
			return w.fault
		}
	}
	return nil
}

// botched is the chance, against its prior, that a repaired fault is still or
// again there. Experience, no source.
const botched = 0.02

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
	told := o.Complaint
	if slices.ContainsFunc(b.repaired, func(r Repaired) bool { return !r.Complains }) {
		told = "" // what is left makes another complaint, and nobody said which
	}
	priors := complaintPriors(o.Book, told)
	if table, ok := o.Book.Complaint(told); ok {
		b.named = map[string]bool{}
		for pattern := range table.Priors {
			b.named[pattern] = true
		}
	}
	for i := range b.repaired {
		r := &b.repaired[i]
		b.botch(r, priors)
		r.Was = slices.Clone(r.Was)
		for k := range r.Was {
			if b.model != nil {
				r.Was[k].fault, _ = b.model.Fault(r.Was[k].Suspect)
			}
		}
	}
	draws := o.Draws
	if draws == 0 {
		draws = DefaultDraws
	}
	b.shared, b.wirings = newShared(b.seed, draws), ws
	for _, s := range o.Book.Suspects {
		if err := b.suspect(s.ID, math.Log(priors[s.ID])); err != nil {
			return nil, err
		}
	}
	if len(b.hyps) == 0 {
		return nil, fmt.Errorf("the rulebook has no suspect that fits this circuit")
	}
	b.normalise()
	return b, nil
}

// botch lessens what a repair mends.
func (b *Belief) botch(r *Repaired, priors map[string]float64) {
	for _, s := range b.book.Suspects {
		if r.mends(b.book, []string{s.ID}) {
			priors[s.ID] *= botched
		}
	}
}

// mends reports whether any of the suspects is of the class that the repair mended.
func (r *Repaired) mends(book *rules.Book, suspects []string) bool {
	named, ok := book.Suspect(r.Suspect)
	return ok && slices.ContainsFunc(suspects, func(id string) bool {
		s, ok := book.Suspect(id)
		return ok && s.Repair.Class == named.Repair.Class
	})
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

// suspect adds a suspect in each of its forms, as far as they are possible.
func (b *Belief) suspect(id string, prior float64) error {
	if b.model == nil {
		b.enlist(&Hypothesis{Suspects: []string{id}, prior: prior, share: 1})
		return nil
	}
	f, ok := b.model.Fault(id)
	if !ok {
		b.enlist(&Hypothesis{Suspects: []string{id}, prior: prior, share: 1})
		return nil
	}
	_, part := b.wirings.Possible(f)
	whole := 0.0
	var forms []*Hypothesis
	for _, form := range f.Forms {
		h := &Hypothesis{Suspects: []string{id}, faults: []*circuit.Fault{form}, prior: prior}
		possible, err := b.populate(h, b.wirings)
		if err != nil {
			return err
		}
		if possible {
			forms = append(forms, h)
			whole += h.share
		}
	}
	for _, h := range forms { // each in as many of the vehicles as can have it
		h.share /= whole
		h.prior = prior + math.Log(part*h.share)
		b.enlist(h)
	}
	return nil
}

// enlist adds a hypothesis, as another form where its suspects are known.
func (b *Belief) enlist(h *Hypothesis) {
	b.hyps = append(b.hyps, h)
	for _, first := range b.hyps {
		if first.forms != nil && slices.Equal(first.Suspects, h.Suspects) {
			first.forms = append(first.forms, h)
			return
		}
	}
	h.forms = []*Hypothesis{h}
}

// populate gives a hypothesis its cloud and, as its share, the part of the wirings
// in which it can be. It reports whether there are any.
func (b *Belief) populate(h *Hypothesis, ws *circuit.Wirings) (bool, error) {
	c := &cloud{wirings: ws, faults: h.faults, index: b.clouds}
	b.clouds++
	dims := b.model.Dims()
	h.share = 1
	for _, f := range h.faults {
		some, part := c.wirings.Possible(f)
		if some == nil {
			return false, nil
		}
		c.wirings = some
		h.share *= part
		dims += f.Dims
	}
	for i := range b.repaired {
		dims += b.repaired[i].dims()
	}
	dims += c.wirings.Dims()
	b.stir(c)
	c.dims = dims
	h.cloud = c
	if err := b.extend(c, b.shared.block); err != nil {
		return false, err
	}
	c.probes = slices.Clone(c.particles[:min(probesKept, len(c.particles))])
	if b.named[h.ID()] && fits(c) < rarelyFits {
		if err := b.reach(c); err != nil {
			return false, err
		}
	}
	b.hear(h)
	if c.sound() {
		c.first = slices.Clone(c.particles)
	}
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
	for _, h := range b.hyps {
		h.sum = 0
		for _, form := range h.forms {
			h.sum += form.prob
		}
	}
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
	out := slices.DeleteFunc(slices.Clone(b.hyps), func(h *Hypothesis) bool { return h.forms == nil })
	slices.SortStableFunc(out, func(x, y *Hypothesis) int {
		switch {
		case x.sum > y.sum:
			return -1
		case x.sum < y.sum:
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
