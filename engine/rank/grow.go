package rank

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"coilside/engine/circuit"
)

// How many particles a hypothesis has: few while its readings are broad or it
// hardly matters, many once a reading would leave too few of them any weight.
// The figures come from the table in testdata/inference.
const (
	DefaultDraws = 64
	grownTo      = 4 // times the particles it started with
)

// shared are the normal numbers that all suspects' draws have in common, so that
// suspects differ by their fault and not by luck: a Latin hypercube for each block
// of particles, extended dimension by dimension as needed. Clones of a belief share
// them: what is there does not depend on who asked for it.
type shared struct {
	mu    sync.Mutex
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

// numbers fills in the first numbers of a particle.
func (s *shared) numbers(i int, normal []float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for k := range normal {
		normal[k] = s.at(k, i)
	}
}

// drawn is a particle's draw in a wiring, nil if there is none yet.
func (s *shared) drawn(i int, w *circuit.Wiring) *circuit.Draw {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.draws[i][w]
}

func (s *shared) keep(i int, d *circuit.Draw) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.draws[i][d.Wiring] = d
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
		b.shared.numbers(i, p.normal)
		p.draw = b.shared.drawn(i, c.wirings.Pick(p.normal))
		known := p.draw != nil
		if err := b.build(c, p); err != nil {
			return err
		}
		if !known {
			b.shared.keep(i, p.draw)
		}
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
	c.startAgain()
	b.hear(h)
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

// enough is the likelihood of the complaint from which on a guess or a suspect can
// well bring it about.
const enough = 0.1

// hear works out the log factor that the complaint puts on a suspect. The
// complaint's own table already says how often each suspect is behind it, so the
// model's word only counts against one that can hardly bring the complaint about,
// and not at all against one that the table names and some guess of it fits.
func (b *Belief) hear(h *Hypothesis) {
	h.complain = 0
	if b.complaint == "" || h.cloud.found > 0 && len(b.repaired) == 0 {
		return
	}
	mean := fits(h.cloud)
	h.complain = math.Log(mean / math.Max(mean, enough))
}

// fits is the mean likelihood of the complaint under a cloud's prior; its weights
// must be those from before any reading.
func fits(c *cloud) float64 { return math.Exp(logMean(c.logw)) }

// rarelyFits is the mean likelihood of the complaint below which guesses that fit
// it are looked for among the extremes of the fault's size.
const rarelyFits = 0.05

// wider is by how much the extremes are favoured there: the standard deviation of
// the fault's own numbers.
const wider = 2.5

// reachedFor is how many guesses are tried there, for each that a cloud has at the
// start.
const reachedFor = 8

// reach looks for guesses that fit the complaint where the fault is unusually large
// or small. They take up to half of the cloud, and their weight is the part of the
// prior that fits, as the tries tell.
func (b *Belief) reach(c *cloud) error {
	own := c.wirings.Dims() + b.model.Dims()
	n := len(c.particles)
	c.stream.Seed(b.seed, 0x7a115)
	var found []particle
	fit := 0.0
	tries := 0
	for ; tries < reachedFor*n && len(found) < n/2; tries++ {
		p := particle{normal: make([]float64, c.dims)}
		density := 0.0 // log of the prior's over that of where it was looked for
		for k := range p.normal {
			z := c.rng.NormFloat64()
			if k >= own {
				density += math.Log(wider) - (wider*wider-1)*z*z/2
				z *= wider
			}
			p.normal[k] = z
		}
		if err := b.build(c, &p); err != nil {
			return err
		}
		if p.complaint = math.Log(b.complaintLikelihood(c, &p)); p.complaint < math.Log(enough) {
			continue
		}
		p.start = density
		fit += math.Exp(density)
		found = append(found, p)
	}
	if len(found) == 0 {
		return nil
	}
	c.fit = math.Min(fit/float64(tries), 0.5)
	kept := slices.DeleteFunc(c.particles, func(p particle) bool { return p.complaint >= math.Log(enough) })
	c.found = len(found)
	c.particles = append(found, kept[:min(len(kept), n-c.found)]...)
	c.logw = c.logw[:len(c.particles)]
	c.startAgain()
	return nil
}

// startAgain sets the weights that the particles have before anything is read: where
// some were looked for, those have the part of the prior that fits, and the others
// the rest.
func (c *cloud) startAgain() {
	var shares []float64
	for i := range c.found {
		shares = append(shares, c.particles[i].start)
	}
	whole := logSum(shares)
	for i := range c.particles {
		p := &c.particles[i]
		switch n := float64(len(c.particles)); {
		case c.found == 0:
			p.start = 0
		case i < c.found:
			p.start += math.Log(c.fit*n) - whole
		default:
			p.start = math.Log((1 - c.fit) * n / (n - float64(c.found)))
		}
		c.logw[i] = p.start + p.complaint
	}
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
	ms, at := []*measurement{m}, []int{len(b.readings) - 1}
	logs := make([]float64, 0, glanced)
	for _, j := range spreadOut(normalWeights(c.logw), glanced) {
		p := &c.particles[j]
		b.weigh(p, ms, at)
		logs = append(logs, p.of(at[0]))
	}
	return logMean(logs)
}

// spreadOut picks n particles by weight, in order, the heavy ones several times.
func spreadOut(weights []float64, n int) []int {
	out := make([]int, n)
	upTo, j := weights[0], 0
	for k := range out {
		for upTo < (float64(k)+0.5)/float64(n) && j < len(weights)-1 {
			j++
			upTo += weights[j]
		}
		out[k] = j
	}
	return out
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
