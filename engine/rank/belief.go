package rank

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/rules"
)

// scratch is what one who works on a belief needs beside it.
type scratch struct {
	solver   circuit.Solver
	mixes    []mix
	foreseen []mix
	cells    []float64 // of gather
	names    []string  // of weighByHand
	spare    particle  // the last proposal that was not taken: the next one has its room
}

// Belief is what one job knows about its suspects. It is built by Open and fed
// by Read, in order; the same calls give the same numbers. Not safe for
// concurrent use.
type Belief struct {
	*scratch
	of       *Belief   // of a hand: the belief it works for
	hands    []*Belief // see each
	handless bool      // there are none

	book        *rules.Book
	model       *circuit.Model // nil: a rulebook without a circuit
	known       map[string]float64
	facts       map[string]any
	seed        uint64
	systemVolts float64
	named       map[string]bool // suspects that the complaint\'s table names one by one
	complaint   string
	repaired    []Repaired
	twins       twins
	shared      *shared
	wirings     *circuit.Wirings
	ungrown     bool                    // no cloud gets more particles than it starts with
	paired      int                     // how many readings there were when pairs of faults were last added
	doubted     string                  // the suspect that led when two others were last held against it
	lives       map[string]*Candidate   // volts readings that tell whether a place is live
	changes     int                     // counts what changed the ranking
	alone       map[*Hypothesis]float64 // see aloneProbabilities
	aloneAt     int                     // the change that they were worked out after
	anew        map[*Hypothesis]float64 // see afreshProbabilities
	anewAt      int                     // the change that they were worked out after
	since       map[*Hypothesis]float64 // see SinceRepair
	sinceAt     int                     // the change that they were worked out after
	clouds      int                     // how many there are
	wired       []wiringShare           // see wiringShares
	wiredAt     int                     // the change that they were worked out after
	livesAt     int                     // the change that lives were last predicted after
	blurred     *measurement            // a number that is let in by degrees, nil = none
	blur        float64                 // how many times its instrument's error it counts with
	tries       bool                    // all numbers count with tryBlur

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
	Draws     int  // particles a suspect; 0 = DefaultDraws
	Alone     bool // one goroutine does all the work
}

// Repaired is one repair that did not end the job. Readings taken before it are
// predicted with its fault still present, as far as it was really there.
type Repaired struct {
	Suspect   string
	Was       []Was  // what was mended: at most one of these was there
	Complains bool   // the complaint was still there afterwards
	Now       string // what was complained of afterwards, where it was not the same; "" = not said
	Gone      bool   // nobody complained of anything afterwards
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
const botched = 0.005

// Open starts a belief. It is an error when no wiring fits what is known.
func Open(o Opening) (*Belief, error) {
	b := &Belief{scratch: new(scratch), book: o.Book, model: o.Model, known: o.Known, facts: o.Facts, seed: o.Seed, complaint: o.Complaint, handless: o.Alone,
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
	for _, r := range b.repaired {
		switch {
		case r.Now != "":
			told = r.Now
		case !r.Complains:
			told = "" // what is left makes another complaint, and nobody said which
		}
	}
	priors := Priors(o.Book, told)
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
	if err := b.suspects(priors); err != nil {
		return nil, err
	}
	if n := len(b.repaired); n > 0 && b.repaired[n-1].Gone {
		b.expectSound()
	}
	if len(b.hyps) == 0 {
		return nil, fmt.Errorf("the rulebook has no suspect that fits this circuit")
	}
	b.normalise()
	return b, nil
}

// soundOnceGone is how likely nothing is wrong any more once a repair made the complaint go.
// Experience, no source.
const soundOnceGone = 0.9

// expectSound makes a sound circuit as likely as it is once the complaint is gone.
func (b *Belief) expectSound() {
	isSound := func(h *Hypothesis) bool { return h.cloud != nil && h.cloud.sound() }
	others := math.Inf(-1)
	for _, h := range b.hyps {
		if !isSound(h) {
			others = logSum([]float64{others, h.prior})
		}
	}
	for _, h := range b.hyps {
		if isSound(h) {
			h.prior = others + math.Log(soundOnceGone/(1-soundOnceGone))
		}
	}
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

// suspects adds the rulebook's suspects in each of their forms, as far as they are possible.
func (b *Belief) suspects(priors map[string]float64) error {
	var all []*Hypothesis
	for _, s := range b.book.Suspects {
		prior := math.Log(priors[s.ID])
		if f, ok := b.fault(s.ID); ok {
			for _, form := range f.Forms {
				all = append(all, &Hypothesis{Suspects: []string{s.ID}, faults: []*circuit.Fault{form}, prior: prior, cloud: b.newCloud(form)})
			}
			continue
		}
		all = append(all, &Hypothesis{Suspects: []string{s.ID}, prior: prior, share: 1})
	}
	if err := b.populate(all, b.wirings); err != nil {
		return err
	}
	for len(all) > 0 {
		forms := all[:1]
		for len(forms) < len(all) && all[len(forms)].Suspects[0] == forms[0].Suspects[0] {
			forms = all[:len(forms)+1]
		}
		all = all[len(forms):]
		b.addForms(forms)
	}
	return nil
}

// addForms adds those forms of a suspect that can be, each in as many of the vehicles as
// can have it.
func (b *Belief) addForms(forms []*Hypothesis) {
	part, whole := 1.0, 0.0
	if f, ok := b.fault(forms[0].Suspects[0]); ok {
		_, part = b.wirings.Possible(f)
	}
	for _, h := range forms {
		whole += h.share
	}
	for _, h := range forms {
		if h.share > 0 {
			h.share /= whole
			h.prior += math.Log(part * h.share)
			b.enlist(h)
		}
	}
}

// fault is what a suspect does to the circuit; false where there is none, or it does nothing to it.
func (b *Belief) fault(suspect string) (*circuit.Fault, bool) {
	if b.model == nil {
		return nil, false
	}
	return b.model.Fault(suspect)
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

// newCloud is an empty cloud of some faults at once.
func (b *Belief) newCloud(faults ...*circuit.Fault) *cloud {
	c := &cloud{faults: faults, index: b.clouds}
	b.clouds++
	return c
}

// populate fills the clouds of hypotheses and gives each, as its share, the part of the
// wirings in which it can be; 0 where there are none.
func (b *Belief) populate(hs []*Hypothesis, ws *circuit.Wirings) error {
	errs := make([]error, len(hs))
	b.each(len(hs), func(hand *Belief, i int) {
		if hs[i].cloud != nil {
			errs[i] = hand.fillCloud(hs[i], ws)
		}
	})
	return cmp.Or(errs...)
}

func (b *Belief) fillCloud(h *Hypothesis, ws *circuit.Wirings) error {
	c := h.cloud
	c.wirings = ws
	dims := b.model.Dims()
	h.share = 1
	for _, f := range h.faults {
		some, part := c.wirings.Possible(f)
		if some == nil {
			h.share = 0
			return nil
		}
		c.wirings = some
		h.share *= part
		dims += f.Dims
	}
	for i := range b.repaired {
		dims += b.repaired[i].dims()
	}
	c.dims = dims + c.wirings.Dims()
	b.stir(c)
	if err := b.extend(c, b.shared.block); err != nil {
		return err
	}
	c.probes = slices.Clone(c.particles[:min(probesKept, len(c.particles))])
	if b.complaint != "" && h.prior > math.Log(worthSizing) {
		c.sizes = sizesFor(fits(c))
		if err := b.resize(c, 0); err != nil {
			return err
		}
	}
	b.mayRenew(c)
	b.hear(h)
	if c.sound() {
		many := *c
		if err := b.extend(&many, b.shared.n); err != nil {
			return err
		}
		c.first = many.particles
	} else if effective(c.logw) < hearAgainBelow*float64(len(c.logw)) {
		b.renewTempered(c, nil, -1, 1)
	}
	return nil
}

// stir gives a cloud its own source of chance; whoever draws from it seeds it first.
func (b *Belief) stir(c *cloud) {
	c.stream = rand.NewPCG(b.seed, 0)
	c.rng = rand.New(c.stream)
}
