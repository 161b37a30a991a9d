package rank

import (
	"math"
	"slices"

	"coilside/engine/circuit"
	"coilside/rules"
)

// Outlook is what a test that has not been done yet would read: for each live
// hypothesis the chance of each outcome. Numbers are sorted into cells about as
// wide as a meter and the model can tell apart.
type Outlook struct {
	Hyps  []*Hypothesis
	Prior []float64   // by hypothesis, sums to 1
	Cells [][]float64 // by hypothesis, by cell: chance, sums to 1
	grid  grid
}

// grid maps raw predictions of one mode to cells, and cells to outcomes.
type grid struct {
	mode        rules.Mode
	of          []string // choices
	cells       int
	half        int // numeric: cells on each side of zero
	systemVolts float64
}

// cellWidth is the width of a numeric cell in standard deviations of a reading.
const cellWidth = 2.5

// levels is how finely a load's or lamp's brightness is kept, cells from 0 to 1.2.
const levels = 60

// spanCells is how finely each end of a min/max reading is kept.
const spanCells = 24

func (b *Belief) gridFor(m *measurement) grid {
	g := grid{mode: instrument(m.Measure), systemVolts: b.systemVolts, of: Choices(m.Measure.Mode)}
	switch g.mode {
	case rules.Ask:
		g.of = m.Test.Of
		g.cells = len(g.of)
	case rules.MinMax:
		g.cells = spanCells * spanCells
	case rules.VoltsDC, rules.Ohms, rules.AmpsDC, ampsInSeries, rules.PullIn, rules.DropOut:
		g.half = int(g.stretch(g.most())/cellWidth) + 1
		g.cells = 2*g.half + 2 // the last is OL
	default:
		g.cells = levels + 3
	}
	return g
}

// most is the largest number a mode can show, in its unit.
func (g *grid) most() float64 {
	switch g.mode {
	case rules.Ohms:
		return circuit.OverRange
	case rules.AmpsDC, ampsInSeries:
		return 200
	}
	return 1.3 * g.systemVolts
}

// stretch counts standard deviations from zero to v >= 0: the integral of
// dv / sigma(v) with sigma = floor + part v.
func (g *grid) stretch(v float64) float64 {
	floor := sigma(g.mode, 0, g.systemVolts)
	part := (sigma(g.mode, 1, g.systemVolts) - floor)
	return math.Log1p(part*v/floor) / part
}

// cell of a raw prediction.
func (g *grid) cell(raw circuit.Raw) int16 {
	switch {
	case g.mode == rules.MinMax:
		return int16(g.spanCell(raw.A)*spanCells + g.spanCell(raw.B))
	case g.half > 0:
		if math.IsInf(raw.A, 0) {
			return int16(g.cells - 1)
		}
		n := int(math.Round(g.stretch(math.Min(math.Abs(raw.A), g.most())) / cellWidth))
		if raw.A < 0 {
			n = -n
		}
		return int16(min(max(n+g.half, 0), g.cells-2))
	case raw.A < 0 || g.mode == rules.Listen || g.mode == rules.Look:
		return int16(levels + int(math.Abs(raw.A))) // a mark, not a level
	}
	return int16(min(int(raw.A*levels/1.2), levels-1))
}

func (g *grid) spanCell(v float64) int {
	part := (v/g.systemVolts + 0.2) / 1.5
	return min(max(int(part*spanCells), 0), spanCells-1)
}

// value is the middle of a numeric cell, in the mode's unit; +Inf for OL.
func (g *grid) value(cell int) float64 {
	if cell == g.cells-1 {
		return math.Inf(1)
	}
	n := float64(cell-g.half) * cellWidth
	floor := sigma(g.mode, 0, g.systemVolts)
	part := sigma(g.mode, 1, g.systemVolts) - floor
	return math.Copysign(math.Expm1(math.Abs(n)*part)*floor/part, n)
}

// raw is a representative raw value of a cell of a mode with choices.
func (g *grid) raw(cell int) float64 {
	switch {
	case g.mode == rules.Listen || g.mode == rules.Look:
		return float64(cell - levels)
	case cell >= levels:
		return -float64(cell - levels)
	}
	return (float64(cell) + 0.5) * 1.2 / levels
}

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
	kept    map[*cloud]*kept
	table   [][]float64 // choices: by cell, chance of each choice
}

type kept struct {
	generation int
	pairs      []pair // by particle; of those chosen, where chosen is not nil
	there      []bool
}

// Candidate prepares a test with its roles already filled in.
func (b *Belief) Candidate(t *rules.Test, measure rules.Measure, setup rules.Setup) (*Candidate, error) {
	m, err := b.measurement(Reading{Measure: measure, Setup: setup, Test: t, Epoch: len(b.repaired)})
	if err != nil {
		return nil, err
	}
	c := &Candidate{Test: t, Measure: measure, Setup: setup, m: m, kept: map[*cloud]*kept{}}
	c.grid = b.gridFor(m)
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
	for _, h := range live {
		if h.cloud == nil {
			continue
		}
		h.cloud.choose()
		for _, s := range states {
			b.refreshState(byState[s], h.cloud)
		}
	}
}

func (b *Belief) refreshState(cs []*Candidate, c *cloud) {
	n := len(c.particles)
	for _, t := range cs {
		if k, ok := t.kept[c]; !ok || k.generation != c.generation || len(k.there) != n {
			t.kept[c] = &kept{c.generation, make([]pair, n), make([]bool, n)}
		}
	}
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
			if !t.kept[c].there[i] {
				todo, ms = append(todo, t), append(ms, t.m)
			}
		}
		if len(todo) > 0 {
			b.keep(todo, ms, c, i)
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
		if out[k].n == 2 {
			p.b = t.grid.cell(out[k].raw[1])
		}
		t.kept[c].pairs[i], t.kept[c].there[i] = p, true
	}
}

// askedOf is how many of a cloud's particles have a say in what to measure next.
const askedOf = 48

// choose picks the particles that have a say: all of a small cloud, and of a grown
// one as many by weight, each then counting the same.
func (c *cloud) choose() {
	n := len(c.particles)
	c.chosen, c.share = c.chosen[:0], c.share[:0]
	weights := normalWeights(c.logw)
	if n <= askedOf {
		for i, w := range weights {
			if w > 1e-5 {
				c.chosen, c.share = append(c.chosen, i), append(c.share, w)
			}
		}
		return
	}
	upTo, j := weights[0], 0
	for k := range askedOf {
		for upTo < (float64(k)+0.5)/askedOf && j < n-1 {
			j++
			upTo += weights[j]
		}
		c.chosen, c.share = append(c.chosen, j), append(c.share, 1.0/askedOf)
	}
}

// worthAsking is the probability below which a hypothesis has no say in what to
// measure next.
const worthAsking = 0.008

// Outlooks predicts candidates over the hypotheses that matter: by what is
// believed of them or, where the likeliest has yet to be proven, by what the
// readings alone leave of them.
func (b *Belief) Outlooks(cs []*Candidate, byReadingsAlone bool) []Outlook {
	live := b.Live(worthAsking)
	weigh := (*Hypothesis).Probability
	if byReadingsAlone {
		alone := b.aloneProbabilities()
		weigh = func(h *Hypothesis) float64 { return alone[h] }
		live = live[:0:0]
		for _, h := range b.Ranking() {
			if alone[h] >= worthProving {
				live = append(live, h)
			}
		}
	}
	b.refresh(cs, live)
	prior := make([]float64, len(live))
	sum := 0.0
	for i, h := range live {
		prior[i] = weigh(h)
		sum += prior[i]
	}
	for i := range prior {
		prior[i] /= sum
	}
	out := make([]Outlook, len(cs))
	for k, c := range cs {
		out[k] = Outlook{Hyps: live, Prior: prior, grid: c.grid, Cells: make([][]float64, len(live))}
		for i, h := range live {
			out[k].Cells[i] = b.outcomes(c, h)
		}
		out[k].pool()
	}
	return out
}

// pool gives hypotheses that expect the same number, as far as a meter can tell,
// the same outcomes: small clouds differ by luck, and luck is no reason to measure.
func (o *Outlook) pool() {
	if o.grid.half == 0 {
		return
	}
	const narrow, same = 1.5, 0.4 // cells
	done := make([]bool, len(o.Cells))
	for lead := range o.Cells {
		if done[lead] {
			continue
		}
		mean, sd := o.center(lead)
		group := []int{lead}
		for h := lead + 1; h < len(o.Cells) && sd < narrow; h++ {
			m, s := o.center(h)
			if !done[h] && s < narrow && math.Abs(m-mean) < max(same, sd/2) {
				group = append(group, h)
			}
		}
		if len(group) == 1 {
			continue
		}
		mixed, sum := make([]float64, len(o.Cells[lead])), 0.0
		for _, h := range group {
			sum += o.Prior[h]
			for cell, p := range o.Cells[h] {
				mixed[cell] += o.Prior[h] * p
			}
		}
		for cell := range mixed {
			mixed[cell] /= sum
		}
		for _, h := range group {
			done[h], o.Cells[h] = true, mixed
		}
	}
}

// center is the mean and the standard deviation of what a hypothesis expects, in
// cells, the slips left out; a wide one where OL is as likely as not.
func (o *Outlook) center(h int) (mean, sd float64) {
	cells := o.Cells[h]
	floor := 1.5 * Slip / float64(len(cells))
	var sum, squares float64
	for i, p := range cells {
		if p <= floor {
			continue
		}
		sum += p
		mean += p * float64(i)
		squares += p * float64(i) * float64(i)
	}
	mean /= sum
	return mean, math.Sqrt(math.Max(squares/sum-mean*mean, 0))
}

// worthProving is the probability by readings alone below which a hypothesis
// counts as excluded.
const worthProving = 0.02

// Live lists the hypotheses above a probability, likeliest first.
func (b *Belief) Live(above float64) []*Hypothesis {
	ranked := b.Ranking()
	for i, h := range ranked {
		if h.prob < above {
			return ranked[:i]
		}
	}
	return ranked
}

func normalWeights(logw []float64) []float64 {
	total := logSum(logw)
	out := make([]float64, len(logw))
	for i, l := range logw {
		out[i] = math.Exp(l - total)
	}
	return out
}

// outcomes is one hypothesis's chance of each outcome of a candidate, slips and
// meter error included.
func (b *Belief) outcomes(c *Candidate, h *Hypothesis) []float64 {
	var p []float64
	switch {
	case !c.m.circuit || h.cloud == nil && c.m.wiring == "":
		p = b.outcomesByHand(c, h)
	case c.m.wiring != "":
		p = make([]float64, len(c.grid.of))
		for k, i := range h.cloud.chosen {
			is, _ := h.cloud.particles[i].draw.Wiring.Choice(c.m.wiring)
			if at := slices.Index(c.grid.of, is); at >= 0 {
				p[at] += h.cloud.share[k]
			}
		}
	default:
		p = c.spread(h.cloud)
	}
	floor := Slip / float64(len(p))
	for i := range p {
		p[i] = (1-Slip)*p[i] + floor
	}
	return p
}

// outcomesByHand is the same by the rulebook's own figures; of two suspects at
// once, the one that makes an outcome likelier speaks.
func (b *Belief) outcomesByHand(c *Candidate, h *Hypothesis) []float64 {
	p := make([]float64, c.grid.outcomes())
	for _, s := range h.Suspects {
		if len(c.grid.of) == 0 {
			for i, x := range c.grid.foretold(b.figure(c.Test, s)) {
				p[i] = max(p[i], x)
			}
			continue
		}
		for i, choice := range c.grid.of {
			p[i] = max(p[i], expectedChoice(c.Test, c.Measure, s, choice, len(c.grid.of)))
		}
	}
	sum := 0.0
	for _, x := range p {
		sum += x
	}
	scale(p, 1/sum)
	return p
}

// outcomes is how many outcomes a test can have.
func (g *grid) outcomes() int {
	if len(g.of) > 0 {
		return len(g.of)
	}
	return g.cells
}

// spread adds weighted predictions into cells: for choices through the table of
// what people call each level, for numbers with the meter's error.
func (c *Candidate) spread(from *cloud) []float64 {
	cells := make([]float64, c.grid.cells)
	pairs := c.kept[from].pairs
	for k, i := range from.chosen {
		pr, w := pairs[i], from.share[k]
		cells[pr.a] += w * float64(pr.chance)
		if pr.chance < 1 {
			cells[pr.b] += w * float64(1-pr.chance)
		}
	}
	if c.table != nil {
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
	if c.grid.half == 0 {
		return cells
	}
	return blur(cells)
}

// blur passes a quarter of each numeric cell to each neighbour, which stands for
// the meter's error across cell borders; OL keeps to itself.
func blur(cells []float64) []float64 {
	out := make([]float64, len(cells))
	last := len(cells) - 2
	for i, w := range cells {
		switch {
		case w == 0:
		case i > last:
			out[i] += w
		default:
			out[i] += 0.6 * w
			out[max(i-1, 0)] += 0.2 * w
			out[min(i+1, last)] += 0.2 * w
		}
	}
	return out
}

// Likeliest is the most probable choice of a wiring unknown or of a name that
// follows from the wiring, and its probability.
func (b *Belief) Likeliest(id string) (string, float64) {
	mass := map[string]float64{}
	total := 0.0
	for _, h := range b.hyps {
		if h.cloud == nil || h.prob < 1e-4 {
			continue
		}
		for i, w := range normalWeights(h.cloud.logw) {
			is, _ := h.cloud.particles[i].draw.Wiring.Choice(id)
			mass[is] += h.prob * w
			total += h.prob * w
		}
	}
	best, top := "", 0.0
	for is, p := range mass {
		if p > top || p == top && is < best {
			best, top = is, p
		}
	}
	if total == 0 {
		return "", 0
	}
	return best, top / total
}

// Has reports whether any wiring still in play has a place.
func (b *Belief) Has(place string) bool {
	for _, h := range b.hyps {
		if h.cloud == nil || h.prob < liveAt {
			continue
		}
		for i := range h.cloud.particles {
			if h.cloud.particles[i].draw.Wiring.Has(place) {
				return true
			}
		}
	}
	return false
}

// LiveProbability is how probable it is that a place carries more than a dead
// circuit's volts against the battery's negative post in a setup; 1 where the
// setup gives no access to the place.
func (b *Belief) LiveProbability(place string, s rules.Setup) float64 {
	key := place + " " + circuit.StateKey(rules.Measure{}, s)
	c, ok := b.lives[key]
	if !ok {
		var err error
		c, err = b.Candidate(nil, rules.Measure{Mode: rules.VoltsDC, Red: place, Black: circuit.Reference}, s)
		if err != nil {
			return 1
		}
		if b.lives == nil {
			b.lives = map[string]*Candidate{}
		}
		b.lives[key] = c
	}
	live := b.Live(liveAt)
	b.refresh([]*Candidate{c}, live)
	total := 0.0
	for _, h := range live {
		if h.cloud == nil {
			continue
		}
		for k, i := range h.cloud.chosen {
			p := c.kept[h.cloud].pairs[i]
			part := 0.0
			if math.Abs(c.grid.value(int(p.a))) > deadVolts {
				part = float64(p.chance)
			}
			if p.chance < 1 && math.Abs(c.grid.value(int(p.b))) > deadVolts {
				part += float64(1 - p.chance)
			}
			total += h.prob * h.cloud.share[k] * part
		}
	}
	return total
}

// deadVolts is what still counts as dead, volts.
const deadVolts = 0.1
