package rank

import (
	"fmt"
	"math"
	"slices"

	"coilside/engine/circuit"
	"coilside/rules"
)

// How a cloud is renewed when few of its particles still carry weight.
const (
	liveAt     = 1e-3 // hypotheses below this are weighed but not renewed
	renewBelow = 0.25 // of the particles: effective number under which a cloud is renewed
	growBelow  = 20   // effective particles under which a hypothesis gets its full number
	growAbove  = 0.02 // probability from which on it is worth them
	stagesMost = 8    // tempering stages a reading
	sweeps     = 3    // moves a particle a renewal
)

// Read takes in one reading. Errors name a place that the setup does not give
// access to; then nothing has changed. An unsure answer changes nothing either.
func (b *Belief) Read(r Reading) error {
	m, err := b.measurement(r)
	if err != nil || r.Answer.Unsure {
		return err
	}
	m.best = b.bestLog(m)
	m.again = b.earlier(m)
	b.readings = append(b.readings, m)
	groups := b.groups()
	expect := b.foresee(m)
	matters := b.mattering(m, expect)
	b.eachHypothesis(func(hand *Belief, i int, h *Hypothesis) {
		gained := math.NaN() // an overruled hypothesis has the field's word
		if !m.overruled(h) {
			gained = hand.take(h, m, groups, &expect[i], matters[i])
		} else if h.cloud != nil {
			h.cloud.overruled = append(h.cloud.overruled, len(b.readings)-1)
		}
		h.gained = append(h.gained, gained)
	})
	b.part(m, expect)
	b.pool(m, expect)
	b.compareToField(m)
	b.normalise()
	b.wake(groups)
	b.eachHypothesis(func(hand *Belief, _ int, h *Hypothesis) {
		if h.cloud != nil && h.bare > 0.01 && effective(h.cloud.logw) < renewBelow/3*float64(len(h.cloud.logw)) {
			hand.grow(h, groups, len(b.readings))
			hand.renew(h.cloud, groups, 1)
		}
	})
	b.normalise() // growing changes what earlier readings are worth
	b.consider()
	b.lighten()
	return nil
}

// overruled reports whether a rule speaks for one of the hypothesis's suspects.
func (m *measurement) overruled(h *Hypothesis) bool {
	for _, s := range h.Suspects {
		if m.Overruled[s] {
			return true
		}
	}
	return false
}

// compareToField gives overruled hypotheses the field's mean likelihood, and
// notes for every hypothesis how far the newest reading moved it, in bits of odds
// against the others.
func (b *Belief) compareToField(m *measurement) {
	n := len(b.readings)
	var terms, shares []float64
	for _, h := range b.hyps {
		if !math.IsNaN(h.gained[n-1]) {
			terms = append(terms, math.Log(h.bare)+h.gained[n-1])
			shares = append(shares, math.Log(h.bare))
		}
	}
	field := 0.0 // where rules have the word on all of them, the reading has none
	if len(terms) > 0 {
		field = logSum(terms) - logSum(shares)
	}
	m.field = field
	for _, h := range b.hyps {
		if math.IsNaN(h.gained[n-1]) {
			h.gained[n-1] = field
		}
	}
	for _, h := range b.hyps {
		var before float64
		var terms, shares []float64
		for _, form := range h.forms {
			before += form.bare
			terms = append(terms, math.Log(max(form.bare, 1e-300))+form.gained[n-1])
			shares = append(shares, math.Log(max(form.bare, 1e-300)))
		}
		gained := logSum(terms) - logSum(shares)
		rest := math.Log(max(math.Exp(field)-before*math.Exp(gained), 1e-300)) - math.Log(max(1-before, 1e-12))
		h.moved = append(h.moved, (gained-rest)/math.Ln2)
	}
}

// group is the readings that were taken in one state.
type group struct {
	at []int
	ms []*measurement
}

// groups sorts the readings of which each guess has its own word by state, in order of first appearance.
func (b *Belief) groups() []group {
	var out []group
	where := map[string]int{}
	for i, m := range b.readings {
		if !m.circuit && !m.byGuess {
			continue
		}
		state := fmt.Sprint(m.epoch, " ", m.state, m.byGuess)
		k, ok := where[state]
		if !ok {
			k = len(out)
			where[state] = k
			out = append(out, group{})
		}
		out[k].at = append(out[k].at, i)
		out[k].ms = append(out[k].ms, m)
	}
	return out
}

// mattering is by hypothesis the greater of what was believed of it and what the newest
// reading will leave it with, as its particles tell before they follow: one that comes up by
// the reading is weighed as carefully as one that was likely before.
func (b *Belief) mattering(m *measurement, expect []foreseen) []float64 {
	out := make([]float64, len(b.hyps))
	logs := make([]float64, len(b.hyps))
	b.eachHypothesis(func(hand *Belief, i int, h *Hypothesis) {
		out[i], logs[i] = h.bare, math.Inf(-1)
		if expect[i].ok {
			ll := hand.likelihoods(h.cloud, m, len(b.readings)-1, expect[i].mixes)
			logs[i] = math.Log(h.bare) + plainStep(slices.Clone(h.cloud.logw), ll, 1)
		}
	})
	sum := logSum(logs)
	for i := range out {
		out[i] = max(out[i], math.Exp(logs[i]-sum))
	}
	return out
}

// take weighs one hypothesis by the newest reading and returns the log of its
// mean likelihood given the readings before.
func (b *Belief) take(h *Hypothesis, m *measurement, groups []group, expect *foreseen, matters float64) float64 {
	c := h.cloud
	if !m.circuit && (c == nil || !m.byGuess) {
		return b.byHand(h, m)
	}
	if c == nil {
		return math.Log(slipLikelihood(instrument(m.Measure), &m.Answer, m.choices, b.systemVolts))
	}
	newest := len(b.readings) - 1
	if c.dormant(h) {
		c.behind = append(c.behind, newest)
		return b.glance(c, m)
	}
	ll := c.of(newest, nil)
	if expect.mixes == nil {
		ll = b.likelihoods(c, m, newest, nil)
	}
	if matters < liveAt {
		return plainStep(c.logw, ll, 1)
	}
	mixes := expect.mixes
	if !c.grown && matters > growAbove && effectiveAfter(c.logw, ll, 1) < growBelow {
		b.grow(h, groups, newest)
		ll, mixes = c.of(newest, ll), nil
	}
	if m.circuit && m.numeric() && matters > growAbove && (effectiveAfter(c.logw, ll, 1) < renewBelow*float64(len(ll)) || b.missed(c, m, ll)) {
		return b.focus(c, groups, newest, mixes)
	}
	return b.temper(c, groups, newest, ll)
}

// likelihoods is each particle's log likelihood of the newest reading, from what
// was foreseen of it where anything was.
func (b *Belief) likelihoods(c *cloud, m *measurement, newest int, foreseen []mix) []float64 {
	ll := make([]float64, len(c.particles))
	one, at := []*measurement{m}, []int{newest}
	for i := range c.particles {
		p := &c.particles[i]
		if foreseen != nil {
			p.note(newest, b.logFor(p, m, &foreseen[i]))
		} else {
			b.weigh(p, one, at)
		}
		ll[i] = p.loglik[newest]
	}
	return ll
}

// weigh fills a particle's log likelihood of some readings of one state.
func (b *Belief) weigh(p *particle, ms []*measurement, at []int) {
	if ms[0].wiring != "" {
		for k, m := range ms {
			is, _ := p.draw.Wiring.Choice(m.wiring)
			like := Slip / float64(m.choices)
			if is == m.Answer.Choice {
				like += 1 - Slip
			}
			p.note(at[k], math.Log(like))
		}
		return
	}
	if ms[0].byGuess {
		b.weighByHand(p, ms, at)
		return
	}
	if cap(b.mixes) < len(ms) {
		b.mixes = make([]mix, len(ms)+8)
	}
	out := b.mixes[:len(ms)]
	b.predict(p, ms, out)
	for k, m := range ms {
		p.note(at[k], b.logFor(p, m, &out[k]))
	}
}

// logLikelihood is the log likelihood of a reading's answer under a prediction,
// slips included.
func (b *Belief) logLikelihood(m *measurement, x *mix) float64 {
	like := 0.0
	if m.asked != nil {
		like = m.asked.Shares(x.raw[0].A)[slices.Index(m.Test.Of, m.Answer.Choice)]
	} else {
		like = x.likelihood(instrument(m.Measure), &m.Answer, b.systemVolts, b.blurOf(m))
	}
	return math.Log((1-Slip)*like +
		Slip*slipLikelihood(instrument(m.Measure), &m.Answer, m.choices, b.systemVolts))
}

// blurOf is how many times its instrument's error a number counts with.
func (b *Belief) blurOf(m *measurement) float64 {
	switch {
	case b.tries:
		return tryBlur
	case m == b.blurred:
		return b.blur
	}
	return 1
}

// sameSlip is the chance that whoever made a slip makes the same one again when
// they repeat the reading: a lead in the wrong cavity stays there. Eyes and ears that
// went wrong once seldom do so again. Experience, no source.
func sameSlip(m *measurement) float64 {
	if m.choices > 0 && m.Measure.Mode != rules.TestLamp {
		return 0.1
	}
	return 0.5
}

// earlier finds the last reading of the same thing since the last repair.
func (b *Belief) earlier(m *measurement) int {
	for i := len(b.readings) - 1; i >= 0; i-- {
		was := b.readings[i]
		if m.circuit && was.epoch == m.epoch && was.state == m.state && was.Measure == m.Measure {
			return i
		}
	}
	return -1
}

// logFor is the log likelihood of a reading for a particle. Where the same thing
// was read before, what made that reading wrong may make this one wrong again.
func (b *Belief) logFor(p *particle, m *measurement, x *mix) float64 {
	p.newest = scaled(m.Measure.Mode, x.raw[0])
	log := b.logLikelihood(m, x)
	if m.again < 0 {
		return log
	}
	mode, was := instrument(m.Measure), &b.readings[m.again].Answer
	wrong := Slip * slipLikelihood(mode, was, m.choices, b.systemVolts) / math.Exp(p.of(m.again))
	again := sameSlip(m) * math.Min(wrong, 1)
	return math.Log((1-again)*math.Exp(log) + again*b.repeats(mode, &m.Answer, was))
}

// repeats is how likely an answer is when it only repeats an earlier one.
func (b *Belief) repeats(mode rules.Mode, a, was *Answer) float64 {
	switch {
	case was.Choice != "":
		if a.Choice == was.Choice {
			return 1
		}
		return 0
	case was.MinMax != nil:
		return likelihood(mode, a, circuit.Raw{A: was.MinMax[0], B: was.MinMax[1]}, b.systemVolts, 1)
	case was.Over:
		return likelihood(mode, a, circuit.Raw{A: math.Inf(1)}, b.systemVolts, 1)
	}
	return likelihood(mode, a, circuit.Raw{A: *was.Number}, b.systemVolts, 1)
}

// bestLog is a bound on what logLikelihood can say of a reading's answer: that of a
// prediction that is exact, a little more for numbers since a smaller one is taken
// to be read more finely.
func (b *Belief) bestLog(m *measurement) float64 {
	mode, a := instrument(m.Measure), &m.Answer
	peak := func(v float64) float64 { return 0.375 / sigma(mode, 0.5*math.Abs(v), b.systemVolts) }
	most := 1.0
	switch {
	case m.wiring != "" || a.Choice != "" || a.Over:
		return 0
	case a.Number != nil:
		most = peak(*a.Number)
	case a.MinMax != nil:
		most = peak(a.MinMax[0]) * peak(a.MinMax[1])
	}
	return math.Log((1-Slip)*most + Slip*slipLikelihood(mode, a, m.choices, b.systemVolts))
}

func logSum(v []float64) float64 {
	top := math.Inf(-1)
	for _, x := range v {
		top = max(top, x)
	}
	if math.IsInf(top, -1) {
		return top
	}
	sum := 0.0
	for _, x := range v {
		sum += math.Exp(x - top)
	}
	return top + math.Log(sum)
}

func logMean(v []float64) float64 { return logSum(v) - math.Log(float64(len(v))) }

// effective is how many particles carry the weight: (sum w)^2 / sum w^2.
func effective(logw []float64) float64 { return effectiveAfter(logw, nil, 0) }

func effectiveAfter(logw, ll []float64, part float64) float64 {
	at := func(i int) float64 {
		if ll == nil {
			return logw[i]
		}
		return logw[i] + part*ll[i]
	}
	top := math.Inf(-1)
	for i := range logw {
		top = max(top, at(i))
	}
	var sum, squares float64
	for i := range logw {
		w := math.Exp(at(i) - top)
		sum += w
		squares += w * w
	}
	return sum * sum / squares
}

// Readings lists what has been taken in, in order.
func (b *Belief) Readings() []Reading {
	out := make([]Reading, len(b.readings))
	for i, m := range b.readings {
		out[i] = m.Reading
	}
	return out
}

// Moved is by how many bits of odds a reading moved a hypothesis against the
// others when it was taken in; 0 for an unknown reading.
func (b *Belief) Moved(h *Hypothesis, id int) float64 {
	for i, m := range b.readings {
		if m.ID == id && i < len(h.moved) {
			return h.moved[i]
		}
	}
	return 0
}
