package rank

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"coilside/engine/circuit"
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

// foreseen is what a hypothesis expects of a reading before it is taken.
type foreseen struct {
	ok        bool
	mixes     []mix // by particle
	signature [probesKept * 2]float64
	middle    float64 // median of what is expected
	width     float64 // half of what holds two thirds of it, as a standard deviation does
	effective float64 // particles that carry the weight
}

// foresee works out what each hypothesis that is not dormant expects of a reading.
func (b *Belief) foresee(m *measurement) []foreseen {
	out := make([]foreseen, len(b.hyps))
	if !m.circuit || m.wiring != "" {
		return out
	}
	b.foreseen = b.foreseen[:0]
	for i, h := range b.hyps {
		if h.cloud != nil && !h.cloud.dormant(h) && !m.overruled(h) {
			b.foreseeOne(&out[i], h, m)
		}
	}
	return out
}

func (b *Belief) foreseeOne(s *foreseen, h *Hypothesis, m *measurement) {
	c := h.cloud
	s.ok = true
	ms := []*measurement{m}
	var out [1]mix
	for i := range c.probes {
		b.predict(&c.probes[i], ms, out[:])
		s.signature[2*i], s.signature[2*i+1] = out[0].raw[0].A, 1
		if out[0].n > 1 && out[0].raw[1] != out[0].raw[0] {
			s.signature[2*i+1] = 10 + out[0].raw[1].A + out[0].chance[0]
		}
	}
	start := len(b.foreseen)
	b.foreseen = append(b.foreseen, make([]mix, len(c.particles))...)
	s.mixes = b.foreseen[start:len(b.foreseen):len(b.foreseen)]
	expected := make([]weighted, 0, len(c.particles)+8)
	weights := normalWeights(c.logw)
	for i, w := range weights {
		x := &s.mixes[i]
		b.predict(&c.particles[i], ms, s.mixes[i:i+1])
		for k := range x.n {
			expected = append(expected, weighted{finite(x.raw[k].A), w * x.chance[k]})
		}
	}
	slices.SortFunc(expected, func(a, b weighted) int { return cmp.Compare(a.value, b.value) })
	s.middle = quantile(expected, 0.5)
	s.width = (quantile(expected, 0.84) - quantile(expected, 0.16)) / 2
	s.effective = effective(c.logw)
	if h.bare >= liveAt {
		h.expect(m, inWords(m, s.mixes, weights))
	}
}

// weighted is a value and how much it counts.
type weighted struct{ value, weight float64 }

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
	apart := math.Abs(s.middle - t.middle)
	a, b := math.Hypot(s.width, error), math.Hypot(t.width, error)
	if wide := 3 * error; s.width < wide && t.width < wide {
		return apart < 0.5*min(a, b) && max(a, b) < 1.8*min(a, b)
	}
	if !s.sameFunction(t, error) {
		return false
	}
	luck := math.Hypot(s.width/math.Sqrt(s.effective), t.width/math.Sqrt(t.effective))
	return apart <= math.Max(0.5*error, 3*luck) && max(a, b) < 1.8*min(a, b)
}

// sameFunction reports whether two hypotheses predict a reading by the same function
// of the circuit, as their probes tell.
func (s *foreseen) sameFunction(t *foreseen, error float64) bool {
	if !s.ok || !t.ok {
		return false
	}
	for i := range s.signature {
		x, y := finite(s.signature[i]), finite(t.signature[i])
		if math.Abs(x-y) > 0.3*error+0.01*math.Max(math.Abs(x), math.Abs(y)) {
			return false
		}
	}
	return true
}

// twins tells which hypotheses have predicted everything so far by the same
// functions of the same numbers. What such two expect can differ by luck only.
type twins struct {
	n  int
	no []bool // by pair of hypotheses
}

func (t *twins) are(i, k int) bool { return i < t.n && k < t.n && !t.no[i*t.n+k] }

// part notes which hypotheses the newest reading tells apart.
func (b *Belief) part(m *measurement, expect []foreseen) {
	t := &b.twins
	if t.n == 0 {
		t.n = len(b.hyps)
		t.no = make([]bool, t.n*t.n)
		b.partByComplaint()
	}
	for i := range t.n {
		for k := i + 1; k < t.n; k++ {
			if t.no[i*t.n+k] {
				continue
			}
			error := sigma(instrument(m.Measure), expect[i].middle, b.systemVolts)
			if m.circuit && m.wiring == "" && !expect[i].sameFunction(&expect[k], error) {
				t.no[i*t.n+k], t.no[k*t.n+i] = true, true
			}
		}
	}
}

// partByComplaint does it for the complaint, and for what has no cloud.
func (b *Belief) partByComplaint() {
	t := &b.twins
	apart := func(x, y *Hypothesis) bool {
		if x.cloud == nil || y.cloud == nil || x.cloud.dims != y.cloud.dims || x.cloud.found+y.cloud.found > 0 ||
			len(x.cloud.probes) != len(y.cloud.probes) || x.cloud.wirings.Count() != y.cloud.wirings.Count() {
			return true
		}
		for i := range x.cloud.probes {
			if math.Abs(x.cloud.probes[i].complaint-y.cloud.probes[i].complaint) > 0.1 {
				return true
			}
		}
		return false
	}
	for i := range t.n {
		for k := i + 1; k < t.n; k++ {
			if apart(b.hyps[i], b.hyps[k]) {
				t.no[i*t.n+k], t.no[k*t.n+i] = true, true
			}
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
			if !done[i] && expect[i].ok && (i == lead || b.twins.are(lead, i) || expect[lead].alike(&expect[i], error)) {
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
