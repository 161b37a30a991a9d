package vehicle

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// This file decides whether two faults can be told apart at all: the vehicle as it
// is, and the same vehicle with another fault in the place of the true one, sized
// so that it looks as much like the true one as it can.

// How alike two vehicles must be to count as the same.
const (
	likeReadings = 3.0  // log of how much better the truth may explain what was read
	likeChoices  = 0.15 // how differently an answer in words, or OL, may come up: total variation
	likeLooks    = 0.1  // what a look that the circuit does not decide may be worth, bits: less is a hint, no proof
	meterErrors  = 3.0  // numbers this many standard deviations of the meter apart are the same
)

// Taken is one test: where its leads go in this vehicle, in which setup, and what
// it was answered with if it was done.
type Taken struct {
	Test    *rules.Test
	Measure rules.Measure
	Setup   rules.Setup
	Answer  rank.Answer
}

// ToldApart says which test tells the vehicle from one that has another fault in
// the place of one of its own; "" where none does: neither what was done since the
// last repair nor what could still be asked. The fault replaced is "" in a sound
// vehicle, and other may be a suspect that does nothing. It looks at the vehicle
// alone and knows nothing of what the diagnosis believes.
func (v *Vehicle) ToldApart(replaced, other string, done, open []Taken) (string, error) {
	f, ok := v.model.Fault(other)
	if !ok || !v.model.Possible(f, v.wiring) {
		return "this circuit can't have it", nil
	}
	telling := slices.DeleteFunc(slices.Clone(done), func(d Taken) bool {
		return d.Answer.Unsure || d.Measure.Mode == rules.Ask && !rank.ByHand(d.Test) // which speaks of the wiring
	})
	m := matcher{truth: v, replaced: replaced, done: telling, open: open}
	m.outlook()
	return m.fit(f)
}

// Reach fills the roles of a test in for this vehicle. It is false where the vehicle
// lacks a place, and for ohms where a lead would be on a live one.
func (v *Vehicle) Reach(t *rules.Test) (Taken, bool) {
	m := v.filled(t.Measure)
	taken := Taken{Test: t, Measure: m, Setup: circuit.SetupFor(m, t.Setup)}
	return taken, v.canReach(m) && (m.Mode != rules.Ohms || len(v.Live(m, taken.Setup)) == 0)
}

func (v *Vehicle) filled(m rules.Measure) rules.Measure {
	for _, place := range []*string{&m.Red, &m.Black, &m.At, &m.From, &m.To} {
		*place = v.wiring.Fill(*place)
	}
	return m
}

func (v *Vehicle) canReach(m rules.Measure) bool {
	return !slices.ContainsFunc(m.Places(), func(place string) bool { return !v.wiring.Has(place) })
}

// Live lists the places of a measurement's leads that are more than 0.1 V from the
// battery's negative post in a setup, in the true circuit, with the faults there or
// away.
func (v *Vehicle) Live(m rules.Measure, s rules.Setup) []string {
	var live []string
	for _, place := range []string{m.Red, m.Black} {
		if math.Abs(v.voltsAt(v.there, place, s)) > deadVolts || math.Abs(v.voltsAt(v.away, place, s)) > deadVolts {
			live = append(live, place)
		}
	}
	return live
}

// deadVolts is what still counts as dead, volts.
const deadVolts = 0.1

func (v *Vehicle) voltsAt(in *circuit.Instance, place string, s rules.Setup) float64 {
	m := rules.Measure{Mode: rules.VoltsDC, Red: place, Black: circuit.Reference}
	return v.solver.Read(in, m, circuit.SetupFor(m, s)).A
}

// state is one thing a test may show, and its chance.
type state struct {
	raw    circuit.Raw
	chance float64
}

// shows is what the vehicle may show in a test, in the way it answers.
func (v *Vehicle) shows(m rules.Measure, s rules.Setup) []state {
	chance := v.there.Chance
	switch m.Mode {
	case rules.Swap, rules.Reseat:
		gone := func(cured bool) circuit.Raw {
			in, err := v.with(func(f *circuit.Fault) bool {
				return !(f.InRelay && m.Mode == rules.Swap || f.InJoint && cured)
			})
			if err != nil {
				in = v.there
			}
			return v.measure(in, m, s)
		}
		return []state{{gone(true), 0.6}, {gone(false), 0.4}}
	case rules.MinMax:
		a, b := v.measure(v.there, m, s), v.measure(v.away, m, s)
		both := circuit.Raw{A: math.Min(a.A, b.A), B: math.Max(a.B, b.B)}
		if chance >= 1 {
			return []state{{a, 1}}
		}
		return []state{{both, 0.85}, {a, 0.15 * chance}, {b, 0.15 * (1 - chance)}}
	}
	if chance >= 1 {
		return []state{{v.measure(v.there, m, s), 1}}
	}
	return []state{{v.measure(v.there, m, s), chance}, {v.measure(v.away, m, s), 1 - chance}}
}

// inWords reports whether a test is answered by one of some words, and which.
func inWords(t *rules.Test, m rules.Measure) []string {
	if m.Mode == rules.Ask && rank.ByHand(t) {
		return t.Of
	}
	return rank.Choices(m.Mode)
}

// says is the chance of each word that a test may be answered with.
func (v *Vehicle) says(t *rules.Test, m rules.Measure, s rules.Setup) []float64 {
	of := inWords(t, m)
	out := make([]float64, len(of))
	if m.Mode == rules.Ask || m.Mode == rules.Look && !v.model.Fuse(m.At) {
		fault := "none.found"
		for _, h := range v.faults {
			if rank.SpeaksOf(t, h.fault.ID) {
				fault = h.fault.ID
			}
		}
		for i, c := range of {
			out[i] = rank.Expected(t, fault, c)
		}
		return normalised(out)
	}
	for _, st := range v.shows(m, s) {
		one := make([]float64, len(of))
		for i, c := range of {
			one[i] = rank.Named(m.Mode, c, st.raw.A)
		}
		for i, p := range normalised(one) {
			out[i] += st.chance * p
		}
	}
	return out
}

func normalised(p []float64) []float64 {
	sum := 0.0
	for _, x := range p {
		sum += x
	}
	for i := range p {
		p[i] /= math.Max(sum, 1e-300)
	}
	return p
}

// meterError is the standard deviation of what the vehicle's technician reads
// about the true value, in the unit of the mode: gain, noise, digits, leads.
func meterError(mode rules.Mode, value float64) float64 {
	value = math.Abs(value)
	switch mode {
	case rules.Ohms:
		return math.Hypot(0.07, 0.004*value+math.Max(value-1000, 0)/1500)
	case rules.AmpsDC:
		return math.Hypot(0.06, 0.0155*value)
	case rules.PullIn, rules.DropOut:
		return math.Hypot(0.06, 0.004*value)
	}
	return math.Hypot(0.006, 0.004*value)
}

// apart is how far two values are from each other, in the meter's standard
// deviations; 1e3 where one is over range.
func apart(mode rules.Mode, a, b float64) float64 {
	switch overA, overB := math.IsInf(a, 0), math.IsInf(b, 0); {
	case overA && overB:
		return 0
	case overA || overB:
		return 1e3
	}
	return math.Min(math.Abs(a-b)/meterError(mode, (a+b)/2), 1e3)
}

func rawApart(mode rules.Mode, a, b circuit.Raw) float64 {
	d := apart(mode, a.A, b.A)
	if mode == rules.MinMax {
		d = math.Max(d, apart(mode, a.B, b.B))
	}
	return d
}

// likelihood of an answer, as the meter errs; a slipped probe is one in a hundred.
func (v *Vehicle) likelihood(d *Taken) float64 {
	const slipped = 0.01
	a := &d.Answer
	if of := inWords(d.Test, d.Measure); len(of) > 0 {
		at := slices.Index(of, a.Choice)
		return (1-slipped)*v.says(d.Test, d.Measure, d.Setup)[at] + slipped/float64(len(of))
	}
	like := 0.0
	for _, st := range v.shows(d.Measure, d.Setup) {
		switch {
		case a.Over:
			if math.IsInf(st.raw.A, 1) {
				like += st.chance
			}
		case a.MinMax != nil:
			like += st.chance * bell(d.Measure.Mode, a.MinMax[0], st.raw.A) * bell(d.Measure.Mode, a.MinMax[1], st.raw.B)
		default:
			like += st.chance * bell(d.Measure.Mode, *a.Number, st.raw.A)
		}
	}
	return (1-slipped)*like + slipped*0.01
}

// bell is how well a number read fits a true value, 1 = exactly.
func bell(mode rules.Mode, read, value float64) float64 {
	if mode == rules.Ohms {
		value += 0.175 // leads, on average
	}
	z := apart(mode, read, value)
	return math.Exp(-z * z / 2)
}

// matcher looks for a size of the other fault that makes the two alike.
type matcher struct {
	truth    *Vehicle
	replaced string
	done     []Taken
	open     []Taken

	wasLike []float64   // by test done: log likelihood under the truth
	words   [][]float64 // by open test: chance of each word
	states  [][]state   // by open test: what the truth shows
}

// outlook works out the truth's side of every comparison.
func (m *matcher) outlook() {
	for i := range m.done {
		m.wasLike = append(m.wasLike, math.Log(m.truth.likelihood(&m.done[i])))
	}
	for _, t := range m.open {
		if len(inWords(t.Test, t.Measure)) > 0 {
			m.words, m.states = append(m.words, m.truth.says(t.Test, t.Measure, t.Setup)), append(m.states, nil)
			continue
		}
		m.words, m.states = append(m.words, nil), append(m.states, m.truth.shows(t.Measure, t.Setup))
	}
}

// difference is how unlike the truth another vehicle is: the worst of what was
// read and of what may be asked, 1 = just alike enough; and which test it is. The
// sum over all tests is what a search for a better size can climb on.
func (m *matcher) difference(w *Vehicle) (worst, sum float64, by string) {
	note := func(d float64, what string) {
		sum += math.Min(d, 20)
		if d > worst {
			worst, by = d, what
		}
	}
	lost, most, where := 0.0, 0.0, ""
	for i := range m.done {
		l := m.wasLike[i] - math.Log(w.likelihood(&m.done[i]))
		if lost += l; l > most {
			most, where = l, m.done[i].Test.ID
		}
	}
	note(math.Max(lost, 0)/likeReadings, where+" (done)")
	for i, t := range m.open {
		switch {
		case m.words[i] == nil:
		case t.Measure.Mode == rules.Look && !w.model.Fuse(t.Measure.At):
			note(worth(m.words[i], w.says(t.Test, t.Measure, t.Setup))/likeLooks, t.Test.ID)
			continue
		default:
			note(totalVariation(m.words[i], w.says(t.Test, t.Measure, t.Setup))/likeChoices, t.Test.ID)
			continue
		}
		note(statesApart(t.Measure.Mode, m.states[i], w.shows(t.Measure, t.Setup)), t.Test.ID)
	}
	return worst, sum, by
}

func totalVariation(p, q []float64) float64 {
	sum := 0.0
	for i := range p {
		sum += math.Abs(p[i]-q[i]) / 2
	}
	return sum
}

// worth is what an answer tells about which of two equally likely vehicles it
// came from, in bits: the Jensen-Shannon divergence.
func worth(p, q []float64) float64 {
	bits := 0.0
	for i := range p {
		mean := (p[i] + q[i]) / 2
		for _, x := range []float64{p[i], q[i]} {
			if x > 0 {
				bits += x / 2 * math.Log2(x/mean)
			}
		}
	}
	return bits
}

// statesApart compares what two vehicles may show: each state of one is held
// against the states of the other that look like it. States within the meter's
// error are one; what is left over is the part of the cases in which they differ.
func statesApart(mode rules.Mode, a, b []state) float64 {
	left := make([]float64, len(b))
	for i := range b {
		left[i] = b[i].chance
	}
	different, furthest := 0.0, 0.0
	for _, x := range a {
		need := x.chance
		for need > 1e-12 {
			best, near := -1, math.Inf(1)
			for i := range b {
				if d := rawApart(mode, x.raw, b[i].raw); left[i] > 1e-12 && d < near {
					best, near = i, d
				}
			}
			if best < 0 {
				break
			}
			part := math.Min(need, left[best])
			need -= part
			left[best] -= part
			if near > meterErrors {
				different += part
			} else {
				furthest = math.Max(furthest, near)
			}
			if near > meterErrors && part > likeChoices {
				furthest = math.Max(furthest, near)
			}
		}
	}
	return math.Max(different/likeChoices, furthest/meterErrors)
}

// guess is one way the other vehicle may be: the numbers that size its fault and
// those behind everything else that varies.
type guess struct {
	own, rest []float64
	sum       float64 // how unlike the truth it is
	by        string  // the test that shows it most
	alike     bool
}

// weigh builds the vehicle of a guess and holds it against the truth. What varies
// may differ from the truth's as far as it is hardly less ordinary.
func (m *matcher) weigh(f *circuit.Fault, own, rest []float64) (*guess, error) {
	w := *m.truth
	w.faults = []hidden{{f, own}}
	for _, h := range m.truth.faults {
		if h.fault.ID != m.replaced {
			w.faults = append(w.faults, h)
		}
	}
	odd := 0.0
	if rest != nil {
		draw, err := w.model.Draw(w.wiring, nil, rest)
		if err != nil {
			return nil, err
		}
		w.draw = draw
		for i := range rest {
			odd += (rest[i]*rest[i] - m.truth.normal[i]*m.truth.normal[i]) / 2
		}
	}
	if err := w.assemble(); err != nil {
		return nil, err
	}
	g := &guess{own: own, rest: rest}
	worst, sum, by := m.difference(&w)
	g.sum, g.by, g.alike = sum+math.Max(odd, 0)/likeReadings, by, worst <= 1 && odd <= likeReadings
	return g, nil
}

// fit searches for a guess that is alike: first among the sizes of the other fault,
// with everything else as it is, then with that free as well. It returns "" when it
// finds one, else what told the closest apart.
func (m *matcher) fit(f *circuit.Fault) (string, error) {
	var ranked []*guess
	for _, own := range starts(f.Dims) {
		g, err := m.weigh(f, own, nil)
		if err != nil || g.alike {
			return "", err
		}
		ranked = append(ranked, g)
	}
	slices.SortStableFunc(ranked, func(a, b *guess) int { return cmp.Compare(a.sum, b.sum) })
	ranked = ranked[:min(4, len(ranked))]
	for i, g := range ranked {
		near, err := m.climb(f, g)
		if err != nil || near.alike {
			return "", err
		}
		ranked[i] = near
	}
	for _, g := range ranked[:min(2, len(ranked))] {
		g.rest = m.truth.normal
		near, err := m.climb(f, g)
		if err != nil || near.alike {
			return "", err
		}
		ranked[0] = near
	}
	return ranked[0].by, nil
}

// climb goes from a guess to more alike ones, one number at a time in steps that
// halve, until nothing helps.
func (m *matcher) climb(f *circuit.Fault, from *guess) (*guess, error) {
	best, free := from, 0
	if from.rest != nil { // the named unknowns: what the parts have beside them matters little
		free = len(m.truth.book.Circuits[0].Vary)
	}
	for step := 0.8; step > 2e-3; step /= 2 {
		for moved := true; moved; {
			moved = false
			for d := range len(best.own) + free {
				for _, sign := range []float64{-1, 1} {
					own, rest := slices.Clone(best.own), slices.Clone(best.rest)
					if d < len(own) {
						own[d] += sign * step
					} else {
						rest[d-len(own)] += sign * step
					}
					g, err := m.weigh(f, own, rest)
					if err != nil || g.alike {
						return g, err
					}
					if g.sum < best.sum-1e-6 {
						best, moved = g, true
					}
				}
			}
		}
	}
	return best, nil
}

// starts are sizes of a fault to search from: spread over its whole range.
func starts(dims int) [][]float64 {
	if dims == 0 {
		return [][]float64{{}}
	}
	const perDim = 24
	rng := rand.New(rand.NewPCG(uint64(dims), 0xf17))
	out := make([][]float64, perDim*dims)
	for i := range out {
		out[i] = make([]float64, dims)
		for d := range out[i] {
			out[i][d] = 2.4 * (2*rng.Float64() - 1)
		}
		if dims == 1 {
			out[i][0] = 2.4 * (2*(float64(i)+0.5)/perDim - 1)
		}
	}
	return out
}
