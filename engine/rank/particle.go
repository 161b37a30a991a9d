package rank

import (
	"math"
	"math/rand/v2"
	"slices"

	"coilside/engine/circuit"
	"coilside/rules"
)

// refitCures is the chance that a joint that was bad is good after the relay
// has been pulled and refitted. Experience, no source.
const refitCures = 0.6

// wiggleShows is the chance that wiggling brings out both states of something
// that comes and goes. Experience, no source.
const wiggleShows = 0.8

// newFuse is the chance that a fuse that had gone was renewed before a reading, where whoever tests renews them and
// where they leave them: half of the guesses each. Experience, no source.
var newFuse = map[bool]float64{true: 0.9, false: 0.02}

// particle is one complete guess: standard normal numbers, and the circuits they
// stand for, one for each time between repairs.
type particle struct {
	normal    []float64
	draw      *circuit.Draw
	epochs    []broken
	loglik    []float64 // by reading: log likelihood
	complaint float64   // log likelihood of the complaint
	start     float64   // log weight before anything was heard: the prior against where it was looked for
	newest    float64   // what it predicts of the newest reading
	renews    bool      // whoever tests fits new fuses first
	total     float64   // log of the product, tempered where a reading is being taken in
}

// broken is a draw with faults, in the forms that tests bring it into. The forms
// beside the plain one are made when first asked for: most guesses are dropped
// before any test needs them.
type broken struct {
	faults  []*circuit.Fault
	own     []float64 // the normal numbers that size the faults, in turn
	comes   bool      // some of it comes and goes
	inJoint bool      // some of it sits in a joint, which refitting may make good
	inRelay bool      // a good relay mends some of it
	there   *circuit.Instance
	away    *circuit.Instance // what comes and goes is gone, joints are made good
	swapped *circuit.Instance // with a good relay
	renewed *circuit.Instance // with new fuses, where some have gone
	chance  float64           // that the fault is there at any one reading
}

// copy is the same guess, to be changed by itself.
func (p *particle) copy() particle {
	out := *p
	out.normal, out.loglik = slices.Clone(p.normal), slices.Clone(p.loglik)
	return out
}

// note keeps a log likelihood of a reading, by the reading's place.
func (p *particle) note(reading int, log float64) {
	for len(p.loglik) <= reading {
		p.loglik = append(p.loglik, 0)
	}
	p.loglik[reading] = log
}

// of is the log likelihood kept of a reading; 0 for one that says nothing.
func (p *particle) of(reading int) float64 {
	if reading < len(p.loglik) {
		return p.loglik[reading]
	}
	return 0
}

// mix is a prediction: up to three raw values with their chances.
type mix struct {
	raw    [3]circuit.Raw
	chance [3]float64
	n      int
}

func one(raw circuit.Raw) mix {
	return mix{raw: [3]circuit.Raw{raw}, chance: [3]float64{1}, n: 1}
}

// likelihood of an answer under the mix, without slips.
func (x *mix) likelihood(mode rules.Mode, a *Answer, systemVolts, blur float64) float64 {
	p := 0.0
	for i := range x.n {
		p += x.chance[i] * likelihood(mode, a, x.raw[i], systemVolts, blur)
	}
	return p
}

// cloud is the particles of one hypothesis.
type cloud struct {
	wirings    *circuit.Wirings
	faults     []*circuit.Fault
	particles  []particle
	first      []particle // of a sound circuit: as many as its full number, as they were at the opening
	probes     []particle // the first few, as they were at the opening
	logw       []float64  // by particle: log weight, not normalised
	dims       int        // normal numbers a particle
	grown      bool       // it has all the particles it will get
	renews     bool       // its last normal number says whether fuses that went are renewed
	sizes      int        // of the fault that are tried on each guess at the circuit: see resize
	behind     []int      // readings that were only glanced at
	light      bool       // it sleeps, and has circuits for the particles that it glances with only
	overruled  []int      // readings on which a rule has the word
	keen       []float64  // by normal number after that of the network's shape: how much the newest reading hangs on it, cumulative
	hangs      []float64  // by number of the circuit: by how many nats what was read hangs on it; see sense
	sensed     int        // readings that hangs takes account of
	busy       []int      // normal numbers of the circuit that are not idle
	chosen     []int      // particles that have a say in what to measure next
	share      []float64  // and how much of one
	stream     *rand.PCG
	rng        *rand.Rand // draws from stream
	generation int        // counts renewals: predictions kept of older particles are stale
	weights    []float64  // by particle, normalised: see Belief.weights
	weightsAt  int        // the change that they were worked out after
	index      int        // of the belief's clouds: where a candidate keeps its predictions
}

// build turns a particle's normal numbers into circuits: the draw, unless it has
// one already, then what is broken now, and what was broken before each repair.
func (b *Belief) build(c *cloud, p *particle) error {
	wd, dd := c.wirings.Dims(), b.model.Dims()
	if p.draw == nil {
		draw, err := b.model.DrawInto(b.spare.draw, c.wirings.Pick(p.normal[:wd]), b.known, p.normal[wd:wd+dd])
		if err != nil {
			return err
		}
		p.draw, b.spare.draw = draw, nil
	}
	draw := p.draw
	faults, left := c.faults[:len(c.faults):len(c.faults)], p.normal[wd+dd:]
	n := c.sizeDims()
	own := left[:n:n]
	left = left[n:]
	p.epochs = make([]broken, len(b.repaired)+1)
	now := len(b.repaired)
	if err := b.breakIt(&p.epochs[now], draw, faults, own); err != nil {
		return err
	}
	for i := now - 1; i >= 0; i-- {
		r := &b.repaired[i]
		if was := r.fault(left[0]); was != nil && b.model.Possible(was, draw.Wiring) && !contains(faults, was) {
			faults, own = append(faults, was), append(own, left[1:1+was.Dims]...)
		}
		left = left[r.dims():]
		if err := b.breakIt(&p.epochs[i], draw, faults, own); err != nil {
			return err
		}
	}
	p.renews = c.renews && left[0] > 0
	return nil
}

// mayRenew gives the particles of a cloud in which fuses have gone a number more: whether they are renewed.
func (b *Belief) mayRenew(c *cloud) {
	if !slices.ContainsFunc(c.particles, func(p particle) bool { return p.overloads() }) {
		return
	}
	c.renews = true
	c.dims++
	for i := range c.particles {
		p := &c.particles[i]
		own := make([]float64, c.dims)
		b.shared.numbers(i, own)
		p.normal = append(slices.Clip(p.normal), own[c.dims-1])
		p.renews = own[c.dims-1] > 0
	}
	for i := range c.probes {
		c.probes[i].renews = c.particles[i].renews
	}
}

// leftBlown reports whether what two things a guess may show is by a fuse that has gone and may have been renewed.
func (p *particle) leftBlown() bool {
	now := &p.epochs[len(p.epochs)-1]
	return now.chance == 1 && now.there.Overloaded()
}

// overloads reports whether some fuse has gone, now or before a repair.
func (p *particle) overloads() bool {
	return slices.ContainsFunc(p.epochs, func(k broken) bool { return k.there.Overloaded() })
}

// normalBelow turns a standard normal number into an event of probability p.
func normalBelow(x, p float64) bool { return 0.5*math.Erfc(-x/math.Sqrt2) < p }

func contains(faults []*circuit.Fault, f *circuit.Fault) bool {
	return slices.ContainsFunc(faults, func(is *circuit.Fault) bool { return is.ID == f.ID })
}

// breakIt applies faults to a draw and works out the circuit's other forms.
func (b *Belief) breakIt(k *broken, draw *circuit.Draw, faults []*circuit.Fault, own []float64) error {
	there, err := b.model.Instance(draw, faults, own)
	if err != nil {
		return err
	}
	*k = broken{faults: slices.Clip(faults), own: slices.Clip(own), there: there, chance: there.Chance, comes: there.Chance < 1}
	for _, f := range faults {
		k.inJoint, k.inRelay = k.inJoint || f.InJoint, k.inRelay || f.InRelay
	}
	return nil
}

// without is the circuit with what comes and goes gone and joints made good; nil
// where that makes no difference.
func (b *Belief) without(k *broken, draw *circuit.Draw) *circuit.Instance {
	if k.away == nil && (k.inJoint || k.comes) {
		k.away = b.mended(draw, k, func(f *circuit.Fault) bool { return f.InJoint || f.Comes })
	}
	return k.away
}

// withNewFuses is the circuit with new fuses in it.
func (k *broken) withNewFuses() *circuit.Instance {
	if k.renewed == nil {
		k.renewed = k.there.WithNewFuses()
	}
	return k.renewed
}

// withGoodRelay is the circuit with a good relay in it.
func (b *Belief) withGoodRelay(k *broken, draw *circuit.Draw) *circuit.Instance {
	if k.swapped == nil {
		k.swapped = k.there
		if k.inRelay {
			k.swapped = b.mended(draw, k, func(f *circuit.Fault) bool { return f.InRelay })
		}
	}
	return k.swapped
}

// mended leaves some faults out; whatever could go wrong has gone wrong with all
// of them in.
func (b *Belief) mended(draw *circuit.Draw, k *broken, which func(*circuit.Fault) bool) *circuit.Instance {
	var left []*circuit.Fault
	var own []float64
	rest := k.own
	for _, f := range k.faults {
		if !which(f) {
			left, own = append(left, f), append(own, rest[:f.Dims]...)
		}
		rest = rest[f.Dims:]
	}
	in, err := b.model.Instance(draw, left, own)
	if err != nil {
		return k.there
	}
	return in
}

// predict fills what each measurement of one setup would read on a particle.
// The measurements must share the state that the first one implies.
func (b *Belief) predict(p *particle, ms []*measurement, out []mix) {
	if ms[0].asked != nil {
		for i, m := range ms {
			out[i] = one(circuit.Raw{A: m.asked.In(p.draw)})
		}
		return
	}
	k := &p.epochs[ms[0].epoch]
	refitted := ms[0].Measure.Mode == rules.Reseat || ms[0].Measure.Mode == rules.Swap
	switch {
	case ms[0].Measure.Mode == rules.Swap && k.inRelay:
		b.fill(p, b.withGoodRelay(k, p.draw), nil, 1, ms, out)
	case refitted && k.inJoint:
		b.fill(p, k.there, b.without(k, p.draw), k.chance*(1-refitCures), ms, out)
	case k.chance < 1:
		b.fill(p, k.there, b.without(k, p.draw), k.chance, ms, out)
	case k.there.Overloaded():
		b.fill(p, k.there, k.withNewFuses(), 1-newFuse[p.renews], ms, out)
	default:
		b.fill(p, k.there, nil, 1, ms, out)
	}
}

func (b *Belief) fill(p *particle, there, away *circuit.Instance, chance float64, ms []*measurement, out []mix) {
	sv := &b.solver
	sv.SettleFor(there, ms[0].probe(b.model, p.draw.Wiring))
	for i := range ms {
		out[i] = one(p.shown(ms[i], sv.At(ms[i].probe(b.model, p.draw.Wiring))))
	}
	if away == nil {
		return
	}
	sv.SettleFor(away, ms[0].probe(b.model, p.draw.Wiring))
	for i := range ms {
		other := p.shown(ms[i], sv.At(ms[i].probe(b.model, p.draw.Wiring)))
		x := &out[i]
		x.raw[1], x.n = other, 2
		x.chance = [3]float64{chance, 1 - chance}
		if there.Chance < 1 && ms[i].Measure.During == "wiggle" {
			x.wiggle(ms[i].Measure.Mode, chance)
		}
	}
}

// shown is what the meter shows: an ohmmeter counts its leads.
func (p *particle) shown(m *measurement, raw circuit.Raw) circuit.Raw {
	if m.Measure.Mode == rules.Ohms {
		raw.A += p.draw.LeadOhms()
	}
	return raw
}

// wiggle makes of a prediction, there and away, what is seen while the place is
// moved: mostly both, else whichever it stays in.
func (x *mix) wiggle(mode rules.Mode, chance float64) {
	there, away := x.raw[0], x.raw[1]
	both := there
	switch {
	case mode == rules.MinMax:
		both = circuit.Raw{A: math.Min(there.A, away.A), B: math.Max(there.B, away.B)}
	case mode == rules.Watch && math.Abs(there.A-away.A) > 0.2:
		both = circuit.Raw{A: circuit.ComesAndGoes}
		chance = 0.8 // a look between two moves sees what moving it did
	}
	x.raw, x.n = [3]circuit.Raw{both, there, away}, 3
	x.chance = [3]float64{wiggleShows, (1 - wiggleShows) * chance, (1 - wiggleShows) * (1 - chance)}
	if mode == rules.Watch {
		x.chance = [3]float64{wiggleShows / 2, (1 - wiggleShows/2) * chance, (1 - wiggleShows/2) * (1 - chance)}
	}
}
