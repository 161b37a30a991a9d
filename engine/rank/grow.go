package rank

import (
	"math"
	"math/rand/v2"
	"slices"

	"coilside/engine/circuit"
)

// How many particles a hypothesis has: few while its readings are broad or it
// hardly matters, many once a reading would leave too few of them any weight.
// The figures come from the table in testdata/inference.
const (
	DefaultDraws = 64
	grownTo      = 2 // times the particles it started with
)

// shared are the normal numbers that all suspects' draws have in common, so that
// suspects differ by their fault and not by luck: a Latin hypercube for each block
// of particles, extended dimension by dimension as needed.
type shared struct {
	rng   *rand.Rand
	block int
	n     int
	dims  [][]float64

	draws []map[*circuit.Wiring]*circuit.Draw // by particle: the draw that its numbers stand for
}

func newShared(seed uint64, block int) *shared {
	n := block * grownTo
	s := &shared{rng: rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15)), block: block, n: n,
		draws: make([]map[*circuit.Wiring]*circuit.Draw, n)}
	for i := range s.draws {
		s.draws[i] = map[*circuit.Wiring]*circuit.Draw{}
	}
	return s
}

func (s *shared) at(dim, i int) float64 {
	for len(s.dims) <= dim {
		column := make([]float64, s.n)
		for start := 0; start < s.n; start += s.block {
			for k, cell := range s.rng.Perm(s.block) {
				column[start+k] = inverseNormal((float64(cell) + s.rng.Float64()) / float64(s.block))
			}
		}
		s.dims = append(s.dims, column)
	}
	return s.dims[dim][i]
}

// inverseNormal is the standard normal quantile of p, 0 < p < 1.
func inverseNormal(p float64) float64 {
	return math.Sqrt2 * math.Erfinv(2*min(max(p, 1e-12), 1-1e-12)-1)
}

// extend gives a cloud more particles from the prior, up to n, and hears what the
// complaint says of them.
func (b *Belief) extend(c *cloud, n int) error {
	have := len(c.particles)
	c.particles = append(slices.Grow(c.particles, n-have), make([]particle, n-have)...)
	c.logw = append(slices.Grow(c.logw, n-have), make([]float64, n-have)...)
	numbers := make([]float64, c.dims*(n-have))
	for i := have; i < n; i++ {
		p := &c.particles[i]
		p.normal, numbers = numbers[:c.dims:c.dims], numbers[c.dims:]
		for k := range p.normal {
			p.normal[k] = b.shared.at(k, i)
		}
		wiring := c.wirings.Pick(p.normal)
		p.draw = b.shared.draws[i][wiring]
		if err := b.build(c, p); err != nil {
			return err
		}
		b.shared.draws[i][wiring] = p.draw
		if b.complaint != "" {
			p.complaint = math.Log(b.complaintLikelihood(c, p))
			c.logw[i] = p.complaint
		}
	}
	return nil
}

// grow gives a hypothesis its full number of particles and works out again, with
// all of them, how likely each earlier reading was.
func (b *Belief) grow(h *Hypothesis, groups []group, newest int) {
	c := h.cloud
	have := len(c.particles)
	if c.grown {
		return
	}
	c.grown = true
	if err := b.extend(c, b.shared.n); err != nil {
		return
	}
	for i := have; i < len(c.particles); i++ {
		p := &c.particles[i]
		for _, g := range groups {
			b.weigh(p, g.ms, g.at)
		}
	}
	for i := range c.particles {
		c.logw[i] = c.particles[i].complaint
	}
	h.complain = fromComplaint(c.logw, b.complaint)
	for r := range newest {
		before := logSum(c.logw)
		if slices.Contains(c.overruled, r) {
			continue
		}
		for i := range c.particles {
			c.logw[i] += c.particles[i].of(r)
		}
		if m := b.readings[r]; m.circuit && !m.overruled(h) && !m.pooled[h] {
			h.gained[r] = logSum(c.logw) - before
		}
	}
}

// fromComplaint is the log factor that the complaint puts on a suspect. The
// complaint's own table already says how often each suspect is behind it, so the
// model's word only counts against one that can hardly bring the complaint about.
func fromComplaint(logs []float64, complaint string) float64 {
	if complaint == "" {
		return 0
	}
	const enough = 0.1
	mean := math.Exp(logMean(logs))
	return math.Log(mean / math.Max(mean, enough))
}

// dormantBelow is the probability under which a hypothesis only glances at new
// readings; it catches up when it comes to matter again.
const dormantBelow = 1e-4

func (c *cloud) dormant(h *Hypothesis) bool { return h.bare < dormantBelow }

// glanced is how many particles a dormant hypothesis weighs a reading with.
const glanced = 16

// glance estimates the mean likelihood of the newest reading from a few particles,
// picked by weight, and returns its log.
func (b *Belief) glance(c *cloud, m *measurement) float64 {
	ms := []*measurement{m}
	upTo, j := 0.0, -1
	weights := normalWeights(c.logw)
	var logs [glanced]float64
	for k := range logs {
		if j < 0 || upTo < (float64(k)+0.5)/glanced {
			for j < len(weights)-1 && (j < 0 || upTo < (float64(k)+0.5)/glanced) {
				j++
				upTo += weights[j]
			}
		}
		p := &c.particles[j]
		old := p.loglik
		p.loglik = []float64{0}
		b.weigh(p, ms, []int{0})
		logs[k], p.loglik = p.loglik[0], old
	}
	return logMean(logs[:])
}

// wake lets hypotheses that are no longer dormant catch up with the readings they
// only glanced at.
func (b *Belief) wake(groups []group) {
	changed := false
	for _, h := range b.hyps {
		c := h.cloud
		if c == nil || len(c.behind) == 0 || c.dormant(h) {
			continue
		}
		changed = true
		for i := range c.particles {
			p := &c.particles[i]
			for _, g := range groups {
				b.weigh(p, g.ms, g.at)
			}
		}
		for _, r := range c.behind {
			ll := make([]float64, len(c.particles))
			for i := range ll {
				ll[i] = c.particles[i].of(r)
			}
			h.gained[r] = plainStep(c.logw, ll, 1)
		}
		c.behind = c.behind[:0]
	}
	if changed {
		b.normalise()
	}
}
