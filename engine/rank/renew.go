package rank

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"coilside/engine/circuit"
	"coilside/rules"
)

// Clouds are renewed with the same random numbers, particle by particle: two
// suspects that no reading so far tells apart then keep the same particles, and
// luck does not tell them apart either.

// renew draws a cloud again around the particles that still carry weight:
// systematic resampling, then Metropolis moves that leave the posterior as it
// is. Afterwards all weights are equal.
func (b *Belief) renew(c *cloud, groups []group, part float64) {
	b.renewTempered(c, groups, len(b.readings)-1, part)
}

// renewTempered does the same while the newest reading counts only in part.
func (b *Belief) renewTempered(c *cloud, groups []group, newest int, part float64) {
	c.generation++
	step := uint64(len(b.readings))<<20 | uint64(part*(1<<16))
	c.stream.Seed(b.seed^0xc0ffee, step)
	c.feel()
	b.sense(c, groups)
	b.resample(c)
	for i := range c.particles {
		p := &c.particles[i]
		p.total = p.score(c, newest, part)
	}
	for sweep := range sweeps {
		for i := range c.particles {
			c.stream.Seed(b.seed^step, uint64(sweep)<<32|uint64(i))
			b.move(c, &c.particles[i], groups, newest, part, sweep)
		}
	}
}

// score is the log of the particle's likelihood of everything read.
func (p *particle) score(c *cloud, newest int, part float64) float64 {
	total := p.complaint
	for i, l := range p.loglik {
		if slices.Contains(c.overruled, i) {
			continue
		}
		if i == newest {
			l *= part
		}
		total += l
	}
	return total
}

// resample replaces the particles by copies in proportion to their weights. They are
// gone through wiring by wiring, so that each wiring keeps its part to within one
// particle and a rare one does not die out by luck.
func (b *Belief) resample(c *cloud) {
	n := len(c.particles)
	if c.wirings.Count() > 1 {
		c.sortByWiring()
	}
	weights := normalWeights(c.logw)
	old := slices.Clone(c.particles)
	used := make([]bool, n)
	upTo, j := weights[0], 0
	start := c.rng.Float64()
	for i := range n {
		want := (float64(i) + start) / float64(n)
		for upTo < want && j < n-1 {
			j++
			upTo += weights[j]
		}
		c.particles[i] = old[j]
		if used[j] { // a second copy must not share what a move writes to
			c.particles[i] = old[j].copy()
		}
		used[j] = true
		c.logw[i] = 0
	}
}

// sortByWiring puts particles of one wiring together.
func (c *cloud) sortByWiring() {
	order := make([]int, len(c.particles))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, k int) int { return cmp.Compare(c.particles[i].normal[0], c.particles[k].normal[0]) })
	particles, logw := slices.Clone(c.particles), slices.Clone(c.logw)
	for i, at := range order {
		c.particles[i], c.logw[i] = particles[at], logw[at]
	}
}

// move proposes one changed guess and takes it with the Metropolis probability.
// Most proposals keep the standard normal prior (x' = r x + sqrt(1-r^2) n, the
// preconditioned Crank-Nicolson step of Cotter, Roberts, Stuart and White 2013),
// so that only the likelihoods decide.
func (b *Belief) move(c *cloud, p *particle, groups []group, newest int, part float64, sweep int) {
	q := particle{normal: append(b.spare.normal[:0], p.normal...), loglik: append(b.spare.loglik[:0], p.loglik...)}
	if b.accepts(c, p, &q, groups, newest, part, sweep) {
		*p, q = q, particle{}
	} else if q.draw == p.draw {
		q.draw = nil
	}
	b.spare = q
}

// accepts changes a copy of a particle and reports whether it takes the particle's place.
func (b *Belief) accepts(c *cloud, p, q *particle, groups []group, newest int, part float64, sweep int) bool {
	accept := math.Log(c.rng.Float64())
	onlyFault, prior := b.propose(c, q.normal, newest, sweep)
	if accept += prior; math.IsInf(accept, 1) {
		return false
	}
	if onlyFault {
		q.draw = p.draw
	} else {
		c.renewIdle(q.normal)
	}
	if b.build(c, q) != nil || b.hopeless(c, q, groups, newest, part, p.total+accept) {
		return false
	}
	if b.complaint != "" {
		q.complaint = math.Log(b.complaintLikelihood(c, q))
	}
	q.total = q.score(c, newest, part)
	return accept < q.total-p.total
}

// hopeless weighs a proposal by the readings, the newest first, and reports
// whether it can be told before the end that it will not reach what it needs: no
// reading can speak for a guess better than for one that predicts it exactly.
func (b *Belief) hopeless(c *cloud, q *particle, groups []group, newest int, part, needs float64) bool {
	upTo := 0.0 // the most that the log likelihood can still come to
	at := func(i int) float64 {
		switch {
		case slices.Contains(c.overruled, i):
			return 0
		case i == newest:
			return part
		}
		return 1
	}
	for _, g := range groups {
		for k, m := range g.ms {
			upTo += at(g.at[k]) * m.best
		}
	}
	for i := len(groups) - 1; i >= 0; i-- {
		g := groups[(i+b.newestGroup(groups, newest)+1)%len(groups)]
		b.weigh(q, g.ms, g.at)
		for k, m := range g.ms {
			upTo += at(g.at[k]) * (q.loglik[g.at[k]] - m.best)
		}
		if upTo < needs {
			return true
		}
	}
	return false
}

// newestGroup is the group that holds the newest reading.
func (b *Belief) newestGroup(groups []group, newest int) int {
	for i, g := range groups {
		if slices.Contains(g.at, newest) {
			return i
		}
	}
	return len(groups) - 1
}

// propose changes normal in place, in every sweep another part of it: the fault's own
// numbers, which a reading of something else leaves as they were and the copying
// made fewer; then along the differences of others, or, after an answer about the wiring, in
// what was answered; then those that the newest reading hangs on, the wiring, or those that
// it does not hang on. It reports whether only the fault's own numbers changed, and the log
// of the prior before against that after, where it is not kept: +Inf where nothing changed.
func (b *Belief) propose(c *cloud, normal []float64, newest, sweep int) (onlyFault bool, prior float64) {
	wiring := c.wirings.Dims()
	if sweep == alongSweep {
		if newest >= 0 && newest < len(b.readings) && b.readings[newest].wiring != "" {
			return false, c.wirings.StepIn(b.readings[newest].wiring, normal[:wiring], c.rng)
		}
		return b.along(c, normal)
	}
	shift := func(i int, step float64) { // 0..1: from nothing to a fresh number
		normal[i] = math.Sqrt(1-step*step)*normal[i] + step*c.rng.NormFloat64()
	}
	own := wiring + b.model.Dims()
	step := math.Exp(math.Log(leastStep) * c.rng.Float64())
	if sweep == 0 && own < len(normal) {
		if c.rng.Float64() < 0.5 {
			step = 0.2 + 0.8*c.rng.Float64()
		}
		for i := own; i < len(normal); i++ {
			shift(i, step)
		}
		return true, 0
	}
	switch kind := c.rng.Float64(); {
	case kind < 0.45 && len(c.keen) > 0:
		onlyFault = true
		for range 1 + c.rng.IntN(3) {
			i := min(unshaped+sort.SearchFloat64s(c.keen, c.rng.Float64()), len(normal)-1)
			shift(i, step)
			onlyFault = onlyFault && i >= own
		}
		return onlyFault, 0
	case kind < 0.5 && c.wirings.Count() > 1:
		shift(0, 1)
	case kind < 0.75 && c.wirings.Count() > 1:
		return false, c.wirings.Step(normal[:wiring], c.rng)
	case c.rng.Float64() < 0.5 && len(c.busy) > 0:
		for range 1 + c.rng.IntN(3) {
			shift(c.busy[c.rng.IntN(len(c.busy))], step)
		}
	default:
		c.freshen(normal)
	}
	return false, 0
}

// alongSweep is the sweep in which particles move along the differences of others.
const alongSweep = 1

// along moves by a part of the difference between two other particles, in the numbers
// that the newest reading hangs on, or any (differential evolution, ter Braak 2006): what
// several readings pin together, such as a poor joint's ohms and its load's, then moves together.
func (b *Belief) along(c *cloud, normal []float64) (onlyFault bool, prior float64) {
	wiring := c.wirings.Dims()
	own := wiring + b.model.Dims()
	from, to := c.particles[c.rng.IntN(len(c.particles))].normal, c.particles[c.rng.IntN(len(c.particles))].normal
	step := 0.3 + 0.9*c.rng.Float64()
	least := alongLeast
	if c.rng.Float64() < 0.5 {
		least = 0 // whatever anything read hangs on
	}
	onlyFault = true
	for i := wiring; i < len(normal); i++ {
		if i < own && (c.idle(i) || c.keenOn(i) < least) {
			continue
		}
		onlyFault = onlyFault && i >= own
		was := normal[i]
		normal[i] += step * (to[i] - from[i])
		prior += (normal[i]*normal[i] - was*was) / 2
	}
	return onlyFault, prior
}

// alongLeast is the share of a reading from which on a number is moved along.
const alongLeast = 0.03

// freshen draws anew some of the numbers that the newest reading does not hang on,
// few or many: copies of one particle would else go on agreeing in them, until a
// reading comes that does.
func (c *cloud) freshen(normal []float64) {
	few := math.Pow(float64(len(normal)-unshaped), -c.rng.Float64()) // the part of them that is drawn
	for i := unshaped; i < len(normal); i++ {
		if x := c.rng.NormFloat64(); c.keenOn(i) < keenMost && c.rng.Float64() < few {
			normal[i] = x
		}
	}
}

// keenOn is the share that a normal number has in what the newest reading hangs on.
func (c *cloud) keenOn(number int) float64 {
	switch k := number - unshaped; {
	case len(c.keen) == 0:
		return 0
	case k == 0:
		return c.keen[0]
	default:
		return c.keen[k] - c.keen[k-1]
	}
}

// unshaped is where the normal numbers start after the one that picks the network's shape,
// which is changed by itself.
const unshaped = 1

// keenMost is the share of a reading from which on a number is left to the moves that
// follow the reading.
const keenMost = 0.15

// leastStep is the shortest step of a move, in standard deviations of the prior.
const leastStep = 0.02

// feel works out on which of the normal numbers the newest reading hangs: by the
// squared correlation of what the particles predict of it with each.
func (c *cloud) feel() {
	n := float64(len(c.particles))
	var mean, squares float64
	for i := range c.particles {
		mean += c.particles[i].newest / n
	}
	for i := range c.particles {
		d := c.particles[i].newest - mean
		squares += d * d
	}
	c.keen = c.keen[:0]
	if squares < 1e-18 {
		return
	}
	sum := 0.0
	for k := unshaped; k < c.dims; k++ {
		var about, spread, both float64
		for i := range c.particles {
			about += c.particles[i].normal[k] / n
		}
		for i := range c.particles {
			d := c.particles[i].normal[k] - about
			spread += d * d
			both += d * (c.particles[i].newest - mean)
		}
		sum += both*both/(squares*math.Max(spread, 1e-12)) + 1/(n*10)
		c.keen = append(c.keen, sum)
	}
	for i := range c.keen {
		c.keen[i] /= sum
	}
}

// scaled is a prediction on a scale on which its cause acts about evenly; of a span, its middle.
func scaled(mode rules.Mode, raw circuit.Raw) float64 {
	switch mode {
	case rules.Ohms:
		return math.Log(math.Min(math.Abs(raw.A), circuit.OverRange) + ohmsFloor)
	case rules.MinMax:
		return (raw.A + raw.B) / 2
	}
	return finite(raw.A)
}
