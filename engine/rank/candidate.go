package rank

import (
	"math"
	"slices"

	"coilside/rules"
)

// pair is a kept prediction: two cells and the chance of the first.
type pair struct {
	a, b   int16
	chance float32
}

// Candidate is a test that may be asked in a job, ready to be predicted often.
type Candidate struct {
	Test    *rules.Test
	Measure rules.Measure
	Setup   rules.Setup
	m       *measurement
	grid    grid
	kept    []*kept              // by cloud
	figures map[string][]float64 // by suspect: see byFigures
	table   [][]float64          // choices: by cell, chance of each choice
}

// kept are the predictions for one cloud's particles, as far as they were made.
type kept struct {
	by         *Belief // whose they are to write to: a clone reads those of its model
	generation int
	pairs      []pair // by particle
	there      []bool // by particle
	signature  *signature
}

// Candidate prepares a test with its roles already filled in.
func (b *Belief) Candidate(t *rules.Test, measure rules.Measure, setup rules.Setup) (*Candidate, error) {
	m, err := b.measurement(Reading{Measure: measure, Setup: setup, Test: t, Epoch: len(b.repaired)})
	if err != nil {
		return nil, err
	}
	c := &Candidate{Test: t, Measure: measure, Setup: setup, m: m, figures: map[string][]float64{}}
	c.grid = b.gridFor(m)
	if c.grid.asked != nil {
		for cell := range c.grid.cells {
			c.table = append(c.table, m.asked.Shares(m.asked.Choice(cell)))
		}
	}
	if c.grid.half == 0 && c.grid.mode != rules.MinMax && c.grid.mode != rules.Ask {
		for cell := range c.grid.cells {
			row := make([]float64, len(c.grid.of))
			sum := 0.0
			for i, choice := range c.grid.of {
				row[i] = choiceProbability(c.grid.mode, choice, c.grid.raw(cell))
				sum += row[i]
			}
			for i := range row {
				row[i] /= sum
			}
			c.table = append(c.table, row)
		}
	}
	return c, nil
}

// refresh predicts every candidate for every live cloud whose particles have
// changed, state by state, so that each circuit is settled once a state.
func (b *Belief) refresh(cs []*Candidate, live []*Hypothesis) {
	byState := map[string][]*Candidate{}
	var states []string
	for _, c := range cs {
		if !c.m.circuit || c.m.wiring != "" {
			continue
		}
		if _, ok := byState[c.m.state]; !ok {
			states = append(states, c.m.state)
		}
		byState[c.m.state] = append(byState[c.m.state], c)
	}
	used := make([]bool, b.clouds)
	for _, h := range live {
		if h.cloud != nil {
			used[h.cloud.index] = true
		}
	}
	for _, c := range cs {
		c.kept = append(c.kept, make([]*kept, max(0, b.clouds-len(c.kept)))...)
		for i, is := range used {
			if !is {
				c.kept[i] = nil // predictions for what does not count any more
			}
		}
	}
	b.each(len(live), func(hand *Belief, i int) {
		if h := live[i]; h.cloud != nil {
			hand.choose(h.cloud, h.bare)
			for _, s := range states {
				hand.refreshState(byState[s], h.cloud)
			}
		}
	})
}

func (b *Belief) refreshState(cs []*Candidate, c *cloud) {
	for _, t := range cs {
		t.make(b, c)
	}
	b.sign(cs, c)
	var todo []*Candidate
	var ms []*measurement
	last := -1
	for _, i := range c.chosen {
		if i == last {
			continue
		}
		last = i
		todo, ms = todo[:0], ms[:0]
		for _, t := range cs {
			if !t.kept[c.index].there[i] {
				todo, ms = append(todo, t), append(ms, t.m)
			}
		}
		if len(todo) > 0 {
			b.keep(todo, ms, c, i)
		}
	}
}

// sign notes the signatures of candidates of one state for a cloud, once for all.
func (b *Belief) sign(cs []*Candidate, c *cloud) {
	var todo []*Candidate
	var ms []*measurement
	for _, t := range cs {
		if t.grid.half > 0 && t.kept[c.index].signature == nil {
			t.ours(b, c).signature = new(signature)
			todo, ms = append(todo, t), append(ms, t.m)
		}
	}
	if len(todo) == 0 {
		return
	}
	out := make([]mix, len(ms))
	for i := range c.probes {
		b.predict(&c.probes[i], ms, out)
		for k, t := range todo {
			t.kept[c.index].signature.put(i, &out[k])
		}
	}
}

// keep predicts some candidates of one state for one particle.
func (b *Belief) keep(todo []*Candidate, ms []*measurement, c *cloud, i int) {
	if cap(b.mixes) < len(ms) {
		b.mixes = make([]mix, len(ms)+8)
	}
	out := b.mixes[:len(ms)]
	b.predict(&c.particles[i], ms, out)
	for k, t := range todo {
		p := pair{a: t.grid.cell(out[k].raw[0]), chance: float32(out[k].chance[0])}
		if out[k].n > 1 { // of three the last two are much the same to what is asked next
			p.b = t.grid.cell(out[k].raw[1])
		}
		k := t.ours(b, c)
		k.pairs[i], k.there[i] = p, true
	}
}

// make sees to it that there is room for predictions of a cloud as it is now.
func (t *Candidate) make(b *Belief, c *cloud) {
	b = b.self()
	n := len(c.particles)
	switch k := t.kept[c.index]; {
	case k == nil:
		t.kept[c.index] = &kept{b, c.generation, make([]pair, n), make([]bool, n), nil}
	case len(k.there) != n || k.by != b && k.generation != c.generation:
		t.kept[c.index] = &kept{b, c.generation, make([]pair, n), make([]bool, n), k.signature}
	case k.generation != c.generation:
		k.generation = c.generation
		clear(k.there)
	}
}

// ours are a cloud's predictions, to be written to.
func (t *Candidate) ours(b *Belief, c *cloud) *kept {
	b = b.self()
	k := t.kept[c.index]
	if k.by != b {
		k = &kept{b, k.generation, slices.Clone(k.pairs), slices.Clone(k.there), k.signature}
		t.kept[c.index] = k
	}
	return k
}

// How many of a cloud's particles have a say in what to measure next: of a
// hypothesis that hardly counts fewer, which an odd ratio makes some of the same.
const (
	askedOf     = 48
	askedOfFew  = 16
	countsAbove = 0.08
)

// choose picks the particles that have a say: all of a small cloud, and of a grown
// one as many by weight, each then counting the same.
func (b *Belief) choose(c *cloud, probability float64) {
	b.readyAll(c)
	askedOf := askedOf
	if probability < countsAbove {
		askedOf = askedOfFew
	}
	n := len(c.particles)
	c.chosen, c.share = c.chosen[:0], c.share[:0]
	weights := b.weights(c)
	if n <= askedOf {
		for i, w := range weights {
			if w > 1e-5 {
				c.chosen, c.share = append(c.chosen, i), append(c.share, w)
			}
		}
		return
	}
	for _, i := range spreadOut(weights, askedOf) {
		c.chosen, c.share = append(c.chosen, i), append(c.share, 1/float64(askedOf))
	}
}

func normalWeights(logw []float64) []float64 { return normalWeightsInto(nil, logw) }

func normalWeightsInto(out, logw []float64) []float64 {
	total := logSum(logw)
	out = slices.Grow(out[:0], len(logw))
	for _, l := range logw {
		out = append(out, math.Exp(l-total))
	}
	return out
}

// weights are a cloud's normalised weights between two readings, worked out once a change.
func (b *Belief) weights(c *cloud) []float64 {
	if c.weightsAt != b.changes {
		c.weights, c.weightsAt = normalWeightsInto(c.weights, c.logw), b.changes
	}
	return c.weights
}

// outcomes is each hypothesis's chance of each outcome of a candidate, slips and meter
// error included. at lists the cells to tell apart, nil for all.
func (b *Belief) outcomes(c *Candidate, live []*Hypothesis, at []int) [][]float64 {
	out := make([][]float64, len(live))
	floor := Slip / float64(c.grid.outcomes())
	block := make([]float64, len(live)*len(at))
	for i, h := range live {
		p := block[i*len(at) : (i+1)*len(at) : (i+1)*len(at)]
		switch {
		case !c.m.circuit || h.cloud == nil && c.m.wiring == "":
			p = b.outcomesByHand(c, h)
		case c.m.wiring != "":
			p = c.wired(h.cloud)
		case c.table != nil:
			p = c.named(h.cloud)
		default:
			b.gather(c, h.cloud, at, p)
		}
		for k := range p {
			p[k] = (1-Slip)*p[k] + floor
		}
		if n := len(at); n > 0 && at[n-1] == rest {
			p[n-1] = floor * float64(c.grid.cells-n+1)
		}
		out[i] = p
	}
	return out
}

// wired is what a cloud says of a wiring unknown that a question settles.
func (c *Candidate) wired(from *cloud) []float64 {
	p := make([]float64, len(c.grid.of))
	for k, i := range from.chosen {
		is, _ := from.particles[i].draw.Wiring.Choice(c.m.wiring)
		if at := slices.Index(c.grid.of, is); at >= 0 {
			p[at] += from.share[k]
		}
	}
	return p
}

// each gives a cloud's predictions and how much each counts.
func (c *Candidate) each(from *cloud, give func(cell int16, weight float64)) {
	pairs := c.kept[from.index].pairs
	for k, i := range from.chosen {
		pr, w := pairs[i], from.share[k]
		give(pr.a, w*float64(pr.chance))
		if pr.chance < 1 {
			give(pr.b, w*float64(1-pr.chance))
		}
	}
}

// named adds weighted predictions of levels into choices, through the table of what
// people call each level.
func (c *Candidate) named(from *cloud) []float64 {
	cells := make([]float64, c.grid.cells)
	c.each(from, func(cell int16, w float64) { cells[cell] += w })
	p := make([]float64, len(c.grid.of))
	for cell, w := range cells {
		if w > 0 {
			for k, q := range c.table[cell] {
				p[k] += w * q
			}
		}
	}
	return p
}

// expectedCells lists the cells of numbers that some hypothesis expects, with the
// neighbours that the meter's error reaches, in order, and the rest at the end; nil where
// outcomes are few or come from elsewhere.
func (b *Belief) expectedCells(c *Candidate, live []*Hypothesis) []int {
	if c.table != nil || c.m.wiring != "" || !c.m.circuit || slices.ContainsFunc(live, func(h *Hypothesis) bool { return h.cloud == nil }) {
		return nil
	}
	expected := make([]bool, c.grid.cells)
	last := c.grid.cells - 2
	for _, h := range live {
		c.each(h.cloud, func(cell int16, _ float64) {
			i := int(cell)
			expected[i] = true
			for k := 1; k < len(meterError) && c.grid.half > 0 && i <= last; k++ {
				expected[max(i-k, 0)], expected[min(i+k, last)] = true, true
			}
		})
	}
	var at []int
	for cell, is := range expected {
		if is {
			at = append(at, cell)
		}
	}
	if len(at) < c.grid.cells {
		at = append(at, rest)
	}
	return at
}

// gather adds weighted predictions of numbers into the listed cells, with the meter's
// error; OL keeps to itself.
func (b *Belief) gather(c *Candidate, from *cloud, at []int, p []float64) {
	n := c.grid.cells
	if cap(b.cells) < 2*n {
		b.cells = make([]float64, 2*n) // all zero, as each use leaves it
	}
	exact, read := b.cells[:n], b.cells[n:2*n]
	c.each(from, func(cell int16, w float64) { exact[cell] += w })
	last := n - 2
	for _, i := range at {
		if i == rest || exact[i] == 0 {
			continue
		}
		w := exact[i]
		if c.grid.half == 0 || i > last {
			read[i] += w
			continue
		}
		read[i] += meterError[0] * w
		for k := 1; k < len(meterError); k++ {
			read[max(i-k, 0)] += meterError[k] * w
			read[min(i+k, last)] += meterError[k] * w
		}
	}
	for k, i := range at {
		if i != rest {
			p[k] = read[i]
			exact[i], read[i] = 0, 0
		}
	}
}
