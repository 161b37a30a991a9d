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
				column[start+k] = circuit.NormalQuantile((float64(cell) + s.rng.Float64()) / float64(s.block))
			}
		}
		s.dims = append(s.dims, column)
	}
	return s.dims[dim][i]
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

// grow gives a hypothesis its full number of particles. A cloud that was never renewed gets
// more from the prior, and with all of them it is worked out again how likely each earlier
// reading was; one that was renewed stands for what has been read, and multiplies.
func (b *Belief) grow(h *Hypothesis, groups []group, newest int) {
	c := h.cloud
	if c.grown || b.ungrown {
		return
	}
	c.grown = true
	if c.generation > 0 {
		b.multiply(c, groups, newest)
		return
	}
	have := len(c.particles)
	if err := b.extend(c, b.shared.n); err != nil {
		return
	}
	if err := b.resize(c, have); err != nil {
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
		if m := b.readings[r]; (m.circuit || m.byGuess) && !m.overruled(h) && !m.pooled[h] {
			h.gained[r] = logSum(c.logw) - before
		}
	}
}

// multiply makes as many particles of each of a cloud's as its full number takes, and lets
// them part.
func (b *Belief) multiply(c *cloud, groups []group, newest int) {
	times := b.shared.n / len(c.particles)
	particles := make([]particle, 0, times*len(c.particles))
	logw := make([]float64, 0, cap(particles))
	for i, p := range c.particles {
		for range times {
			particles = append(particles, p.copy())
			logw = append(logw, c.logw[i])
		}
	}
	c.particles, c.logw = particles, logw
	b.renewTempered(c, groups, newest, 0)
}

// enough is the likelihood of the complaint from which on a guess or a suspect can
// well bring it about, and enoughNamed that of a suspect that the complaint's table names.
const (
	enough      = 0.1
	enoughNamed = 0.004
)

// hear works out the log factor that the complaint puts on a suspect. The
// complaint's own table already says how often each suspect is behind it, so the
// model's word only counts against one that can hardly bring the complaint about,
// and against one that the table names only where next to no guess of it does.
func (b *Belief) hear(h *Hypothesis) {
	h.complain = 0
	if b.complaint == "" {
		return
	}
	mean := fits(h.cloud)
	part := math.Min(mean/enough, 1)
	if b.named[h.ID()] && len(b.repaired) == 0 {
		part = math.Max(part, math.Min((mean-misnamed)/enoughNamed, 1))
	}
	h.complain = math.Log(part)
}

// misnamed is the likelihood of a complaint that a circuit never brings about.
const misnamed = complaintError / float64(8)

// fits is the mean likelihood of the complaint under a cloud's prior; its weights
// must be those from before any reading.
func fits(c *cloud) float64 { return math.Exp(logMean(c.logw)) }

// startAgain sets the weights that the particles have before anything is read.
func (c *cloud) startAgain() {
	for i := range c.particles {
		c.logw[i] = c.particles[i].start + c.particles[i].complaint
	}
}
