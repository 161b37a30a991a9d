package rank

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/rules"
)

// Many readings have nothing to do with most suspects: the volts of the battery
// read the same whether a wire is open or a coil. Each cloud estimates the
// likelihood of such a reading with the luck of its own particles, and over many
// readings luck would tell suspects apart that nothing tells apart. So
// suspects that predict a reading by the same function of the circuit, and expect
// about the same of it now, share one estimate.

// probesKept is how many of a cloud's first particles are kept to tell whether two
// suspects predict a reading by the same function.
const probesKept = 5

// signature is what a cloud's probes predict of a measurement: suspects that predict it by
// the same function of the circuit have the same one.
type signature [probesKept][3]float64

// put notes the prediction of one probe.
func (s *signature) put(probe int, x *mix) {
	s[probe] = [3]float64{x.raw[0].A, x.raw[0].B, 1}
	if x.n > 1 && x.raw[1] != x.raw[0] {
		s[probe][2] = 10 + x.raw[1].A + x.raw[1].B + x.chance[0]
	}
}

// same reports whether two signatures are, but for what no meter tells apart; error is
// the standard deviation of the reading.
func (s *signature) same(t *signature, error float64) bool {
	for i := range s {
		for k := range s[i] {
			x, y := finite(s[i][k]), finite(t[i][k])
			if math.Abs(x-y) > 0.3*error+0.01*math.Max(math.Abs(x), math.Abs(y)) {
				return false
			}
		}
	}
	return true
}

// foreseen is what a hypothesis expects of a reading before it is taken.
type foreseen struct {
	ok        bool
	mixes     []mix // by particle
	signed    bool  // the signature is there; also of what is dormant
	signature signature
	about            // of what is expected; of the lowest where a span is read
	highest   *about // of a span; nil where one number or choice is read
}

// about is what a hypothesis expects a number to be.
type about struct {
	middle    float64 // median
	width     float64 // half of what holds two thirds of it, as a standard deviation does
	effective float64 // particles that carry the weight
}

// foresee works out what each hypothesis expects of a reading; of one that is dormant, or
// of which a rule has the word, only by which function it predicts it.
func (b *Belief) foresee(m *measurement) []foreseen {
	out := make([]foreseen, len(b.hyps))
	if !m.circuit {
		return out
	}
	if m.wiring != "" {
		b.foreseeWiring(m, out)
		return out
	}
	for _, hand := range append(b.hands, b) {
		hand.foreseen = hand.foreseen[:0]
	}
	b.eachHypothesis(func(hand *Belief, i int, h *Hypothesis) {
		if h.cloud == nil {
			return
		}
		hand.signFor(&out[i], h.cloud, m)
		if !h.cloud.dormant(h) && !m.overruled(h) {
			hand.foreseeOne(&out[i], h, m)
		}
	})
	return out
}

// foreseeWiring notes how many of each hypothesis's particles are wired as a question was
// answered. All predict that by the same function.
func (b *Belief) foreseeWiring(m *measurement, out []foreseen) {
	field, all := 0.0, 0.0
	for i, h := range b.hyps {
		s := &out[i]
		s.signed = h.cloud != nil
		if !s.signed || h.cloud.dormant(h) || m.overruled(h) {
			continue
		}
		s.ok = true
		number := h.cloud.wirings.Number(m.wiring)
		descent := make([]weighted, len(h.cloud.particles))
		for k, w := range normalWeights(h.cloud.logw) {
			p := &h.cloud.particles[k]
			if is, _ := p.draw.Wiring.Choice(m.wiring); is == m.Answer.Choice {
				s.middle += w
			}
			descent[k] = weighted{p.normal[number], w}
		}
		slices.SortFunc(descent, func(a, b weighted) int { return cmp.Compare(a.value, b.value) })
		s.effective = min(effective(h.cloud.logw), distinct(descent))
		field, all = field+h.bare*s.middle, all+h.bare
	}
	for i := range out { // what few particles say is no more than a hint
		if s := &out[i]; s.ok {
			s.middle = (s.effective*s.middle + field/all) / (s.effective + 1)
			s.width = math.Sqrt(s.middle * (1 - s.middle))
		}
	}
}

func (b *Belief) signFor(s *foreseen, c *cloud, m *measurement) {
	s.signed = true
	ms := []*measurement{m}
	var out [1]mix
	for i := range c.probes {
		b.predict(&c.probes[i], ms, out[:])
		s.signature.put(i, &out[0])
	}
}

func (b *Belief) foreseeOne(s *foreseen, h *Hypothesis, m *measurement) {
	c := h.cloud
	s.ok = true
	ms := []*measurement{m}
	start := len(b.foreseen)
	b.foreseen = append(b.foreseen, make([]mix, len(c.particles))...)
	s.mixes = b.foreseen[start:len(b.foreseen):len(b.foreseen)]
	weights := normalWeights(c.logw)
	for i := range weights {
		b.predict(&c.particles[i], ms, s.mixes[i:i+1])
	}
	s.about = s.tell(weights, func(r circuit.Raw) float64 { return r.A })
	if m.Measure.Mode == rules.MinMax {
		highest := s.tell(weights, func(r circuit.Raw) float64 { return r.B })
		s.highest = &highest
	}
	if h.bare >= liveAt {
		h.expect(m, inWords(m, s.mixes, weights))
	}
}

// tell sums up what is foreseen of one number that a reading shows.
func (s *foreseen) tell(weights []float64, number func(circuit.Raw) float64) about {
	expected := make([]weighted, 0, len(weights)+8)
	for i, w := range weights {
		x := &s.mixes[i]
		for k := range x.n {
			expected = append(expected, weighted{finite(number(x.raw[k])), w * x.chance[k]})
		}
	}
	slices.SortFunc(expected, func(a, b weighted) int { return cmp.Compare(a.value, b.value) })
	return about{
		middle:    quantile(expected, 0.5),
		width:     (quantile(expected, 0.84) - quantile(expected, 0.16)) / 2,
		effective: min(1/squares(weights), distinct(expected)),
	}
}

// weighted is a value and how much it counts.
type weighted struct{ value, weight float64 }

// distinct is how many different values carry the weight: copies of a particle that nothing
// has moved yet are one. Values are in order, weights sum to 1.
func distinct(sorted []weighted) float64 {
	squares, same := 0.0, 0.0
	for i, x := range sorted {
		same += x.weight
		if i+1 == len(sorted) || sorted[i+1].value != x.value {
			squares += same * same
			same = 0
		}
	}
	return 1 / squares
}

// quantile of values in order whose weights sum to 1.
func quantile(sorted []weighted, part float64) float64 {
	for _, x := range sorted {
		if part -= x.weight; part <= 0 {
			return x.value
		}
	}
	return sorted[len(sorted)-1].value
}

func finite(x float64) float64 {
	if math.IsInf(x, 1) {
		return 2 * circuit.OverRange
	}
	return x
}

// alike reports whether two hypotheses expect the same of a reading, as far as the
// luck of their particles lets one say: their expectations are narrow and the same,
// or they predict by the same function and expect the same but for that luck.
// error is the standard deviation of the reading.
func (s *foreseen) alike(t *foreseen, error float64) bool {
	same := s.sameFunction(t, error)
	return s.about.alike(&t.about, error, same) && (s.highest == nil || s.highest.alike(t.highest, error, same))
}

// tellsWidth is how many different values it takes to say how widely they spread.
const tellsWidth = 8

func (s *about) alike(t *about, error float64, sameFunction bool) bool {
	apart := math.Abs(s.middle - t.middle)
	a, b := math.Hypot(s.width, error), math.Hypot(t.width, error)
	likeWide := max(a, b) < 1.8*min(a, b)
	if wide := 3 * error; s.width < wide && t.width < wide && apart < 0.5*min(a, b) && likeWide {
		return true
	}
	if !sameFunction {
		return false
	}
	luck := math.Hypot(s.width/math.Sqrt(s.effective), t.width/math.Sqrt(t.effective))
	if min(s.effective, t.effective) < tellsWidth { // a handful of values are narrow by luck, too
		likeWide = true
		luck = max(s.width, t.width) * math.Hypot(1/math.Sqrt(s.effective), 1/math.Sqrt(t.effective))
	}
	return apart <= math.Max(0.5*error, 3*luck) && likeWide
}

// sameFunction reports whether two hypotheses predict a reading by the same function
// of the circuit, as their probes tell.
func (s *foreseen) sameFunction(t *foreseen, error float64) bool {
	return s.signed && t.signed && s.signature.same(&t.signature, error)
}

// twins tells which hypotheses have predicted which readings by the same functions
// of the same numbers. What two expect that differ in nothing related can differ by
// luck only.
type twins struct {
	n     int
	no    []bool      // by pair of hypotheses: nothing is shared
	apart []uint64    // by pair: the readings, a bit each, that they predict differently
	can   [][]float64 // by hypothesis: 1 for each of the sound circuits, as at the opening, that can have it
}

// mostParted is how many readings are kept apart; later ones part for good.
const mostParted = 64

// areTwins reports whether two hypotheses must expect the same of the newest reading,
// if they predict it by the same function: whatever they predicted differently has
// nothing to do with it.
func (b *Belief) areTwins(i, k int, m *measurement) bool {
	t := &b.twins
	if i >= t.n || k >= t.n || t.no[i*t.n+k] {
		return false
	}
	for apart := t.apart[i*t.n+k]; apart != 0; apart &= apart - 1 {
		if related(b.readings[bits.TrailingZeros64(apart)].sound, m.sound) {
			return false
		}
	}
	return slices.Equal(t.can[i], t.can[k]) || !related(t.can[i], m.sound) && !related(t.can[k], m.sound)
}

// relatedFrom is the squared correlation of two readings over sound circuits from
// which on one is taken to tell something about the other.
const relatedFrom = 0.1

// related reports whether two things that sound circuits show hang on the same of their numbers.
func related(x, y []float64) bool {
	if len(x) == 0 || len(x) != len(y) {
		return true
	}
	n := float64(len(x))
	var a, b, aa, bb, ab float64
	for i := range x {
		a, b = a+x[i]/n, b+y[i]/n
	}
	for i := range x {
		dx, dy := x[i]-a, y[i]-b
		aa, bb, ab = aa+dx*dx, bb+dy*dy, ab+dx*dy
	}
	if aa < 1e-12 || bb < 1e-12 { // one of them shows nothing of the circuit's numbers
		return false
	}
	return ab*ab >= relatedFrom*aa*bb
}

// foreseeSound notes what sound circuits as they were at the opening would read.
func (b *Belief) foreseeSound(m *measurement) {
	if !m.circuit {
		return
	}
	var out [1]mix
	for i := range b.soundFirst() {
		p := &b.soundFirst()[i]
		if m.wiring != "" {
			is, _ := p.draw.Wiring.Choice(m.wiring)
			m.sound = append(m.sound, oneIf(is == m.Answer.Choice))
			continue
		}
		b.predict(p, []*measurement{m}, out[:])
		m.sound = append(m.sound, scaled(m.Measure.Mode, out[0].raw[0]))
	}
}

// soundFirst are the guesses at a sound circuit as they were at the opening.
func (b *Belief) soundFirst() []particle {
	for _, h := range b.hyps {
		if h.cloud != nil && h.cloud.sound() {
			return h.cloud.first
		}
	}
	return nil
}

func oneIf(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

// part notes which hypotheses the newest reading tells apart.
func (b *Belief) part(m *measurement, expect []foreseen) {
	t := &b.twins
	if t.n == 0 {
		t.n = len(b.hyps)
		t.no, t.apart = make([]bool, t.n*t.n), make([]uint64, t.n*t.n)
		b.partForGood()
	}
	b.foreseeSound(m)
	newest := len(b.readings) - 1
	for i := range t.n {
		error := sigma(instrument(m.Measure), expect[i].middle, b.systemVolts)
		for k := i + 1; k < t.n; k++ {
			if t.no[i*t.n+k] || !m.circuit ||
				expect[i].sameFunction(&expect[k], error) && m.overruled(b.hyps[i]) == m.overruled(b.hyps[k]) {
				continue
			}
			if newest >= mostParted || !expect[i].signed || !expect[k].signed {
				t.no[i*t.n+k], t.no[k*t.n+i] = true, true
				continue
			}
			t.apart[i*t.n+k] |= 1 << newest
			t.apart[k*t.n+i] |= 1 << newest
		}
	}
}

// partForGood does it for what has no cloud, and notes for the others in which wirings they
// can be.
func (b *Belief) partForGood() {
	t := &b.twins
	t.can = make([][]float64, t.n)
	for i, h := range b.hyps {
		for k := range t.n {
			if h.cloud == nil || b.hyps[k].cloud == nil {
				t.no[i*t.n+k] = true
			}
		}
		if h.cloud == nil || !b.wirings.Unknown() {
			continue
		}
		can := map[*circuit.Wiring]float64{}
		for k := range b.soundFirst() {
			w := b.soundFirst()[k].draw.Wiring
			if _, ok := can[w]; !ok {
				can[w] = oneIf(!slices.ContainsFunc(h.cloud.faults, func(f *circuit.Fault) bool { return !b.model.Possible(f, w) }))
			}
			t.can[i] = append(t.can[i], can[w])
		}
	}
}

// pool gives alike hypotheses the mean of their estimates of the newest reading.
func (b *Belief) pool(m *measurement, expect []foreseen) {
	newest := len(b.readings) - 1
	m.pooled = map[*Hypothesis]bool{}
	done := make([]bool, len(b.hyps))
	for _, lead := range b.byProbability() {
		if done[lead] || !expect[lead].ok {
			continue
		}
		error := sigma(instrument(m.Measure), expect[lead].middle, b.systemVolts)
		var group []int
		var terms, shares []float64
		for i, h := range b.hyps {
			if !done[i] && expect[i].ok && (i == lead || b.areTwins(lead, i, m) && expect[lead].sameFunction(&expect[i], error) || expect[lead].alike(&expect[i], error)) {
				done[i] = true
				group = append(group, i)
				terms = append(terms, math.Log(h.bare)+h.gained[newest])
				shares = append(shares, math.Log(h.bare))
			}
		}
		mean := logSum(terms) - logSum(shares)
		for _, i := range group {
			b.hyps[i].gained[newest] = mean
			m.pooled[b.hyps[i]] = len(group) > 1
		}
	}
}

// byProbability lists the hypotheses' indexes, likeliest first.
func (b *Belief) byProbability() []int {
	out := make([]int, len(b.hyps))
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, func(x, y int) int {
		switch p, q := b.hyps[x].bare, b.hyps[y].bare; {
		case p > q:
			return -1
		case p < q:
			return 1
		}
		return strings.Compare(b.hyps[x].ID(), b.hyps[y].ID())
	})
	return out
}
