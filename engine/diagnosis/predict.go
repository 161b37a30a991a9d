package diagnosis

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// Predicted is what a measurement gives in circuits like this one, by the circuit's own
// computation: a range of numbers, or one of the mode's choices.
type Predicted struct {
	Mode      rules.Mode
	Low, High float64 // V, ohms or A, the meter's error included; of min_max the lowest and the highest
	Over      bool    // open: the ohms range shows OL; of pull_in: never
	Choice    string  // the likeliest of the mode's choices; "" for a number
	Typical   float64 // the middle one of the numbers
}

// How a prediction is drawn: so many circuits, of which those count whose battery is as
// it was read.
const (
	predictDraws  = 64
	predictTries  = 256
	predictFewest = 12
	predictSure   = 0.8  // share of the circuits that must give the same choice
	batteryWithin = 0.15 // volts, of a 12 V system; practice, no source
)

// Predict computes what a measurement gives with these suspects in the circuit, none for a
// sound one, as far as the circuit is known: what was told of it, what the readings made
// sure, and the battery as it was last read. False where the circuit does not decide it, or
// has no such place.
func (c *Case) Predict(m rules.Measure, s rules.Setup, suspects ...string) (Predicted, bool) {
	p := Predicted{Mode: m.Mode}
	model := c.knowledge.model
	if model == nil || m.Mode == rules.Ask || circuit.Check(m, s) != nil {
		return p, false
	}
	if m.Mode == rules.Look && !model.Fuse(m.At) {
		p.Choice = "sound"
		return p, len(suspects) == 0
	}
	raws, ok := c.simulate(m, s, suspects)
	if !ok {
		return p, false
	}
	if choices := rank.Choices(m.Mode); choices != nil {
		share := 0.0
		p.Choice, share = commonest(m.Mode, choices, raws)
		return p, share >= predictSure
	}
	p.take(raws)
	return p, true
}

// guess is one circuit drawn like this one, with suspects in it and without.
type guess struct {
	wiring      *circuit.Wiring
	there, away *circuit.Instance
}

// guesses draws circuits like this one and gives them one after the other, until enough
// is reported. False where there are none.
func (c *Case) guesses(suspects []string, each func(*guess) (enough bool)) bool {
	model := c.knowledge.model
	ws, known, ok := c.wirings()
	var faults []*circuit.Fault
	dims := 0
	for _, id := range suspects {
		f, known := model.Fault(id)
		if !ok || !known {
			return false
		}
		if ws, _ = ws.Possible(f); ws == nil {
			return false
		}
		faults, dims = append(faults, f), dims+f.Dims
	}
	rng := rand.New(rand.NewPCG(c.opening.Seed, 0x50de))
	for range predictTries {
		if !ok {
			break
		}
		g := guess{wiring: ws.Pick(normals(rng, ws.Dims()))}
		draw, err := model.Draw(g.wiring, known, normals(rng, model.Dims()))
		if err != nil {
			return false
		}
		if g.away, err = model.Instance(draw, nil, nil); err != nil {
			return false
		}
		if g.there, err = model.Instance(draw, faults, normals(rng, dims)); err != nil {
			return false
		}
		if each(&g) {
			break
		}
	}
	return ok
}

// wirings are the ways the circuit can be wired by what was told and what is sure.
func (c *Case) wirings() (*circuit.Wirings, map[string]float64, bool) {
	wiring, known := c.knowledge.split(c.facts)
	told := maps.Clone(wiring)
	for id, is := range c.roles() {
		if _, ok := wiring[id]; !ok {
			wiring[id] = is
		}
	}
	ws, err := c.knowledge.model.Wirings(wiring)
	if err != nil { // what was told and what was read disagree: what was told stands
		ws, err = c.knowledge.model.Wirings(told)
	}
	return ws, known, err == nil
}

// simulate reads the measurement off circuits drawn like this one.
func (c *Case) simulate(m rules.Measure, s rules.Setup, suspects []string) ([]circuit.Raw, bool) {
	battery := c.batteryRead()
	var near, all []circuit.Raw
	var solver circuit.Solver
	ok := c.guesses(suspects, func(g *guess) bool {
		if !places(g.wiring, m) {
			return false
		}
		raw := solver.Read(g.there, m, s)
		all = append(all, raw)
		if battery != nil && math.Abs(solver.Read(g.away, battery.Measure, battery.Setup).A-*battery.Answer.Number) <= batteryWithin**battery.Answer.Number/12 {
			near = append(near, raw)
		}
		return len(near) == predictDraws || battery == nil && len(all) == predictDraws
	})
	if len(near) >= predictFewest {
		return near, ok
	}
	return all, ok && len(all) >= predictFewest
}

// Shows is how likely a measurement gives something else than a sound circuit does, 0..1,
// while a suspect is behind the complaint: what the test is worth as proof that the suspect
// is mended. 0 where it can't be computed.
func (c *Case) Shows(m rules.Measure, s rules.Setup, suspect string) float64 {
	want, ok := c.Predict(m, s)
	if !ok || c.knowledge.model == nil {
		return 0
	}
	complaint := slices.Index(rank.Complaints, c.opening.Complaint)
	var solver circuit.Solver
	var shown, weight float64
	drawn := 0
	c.guesses([]string{suspect}, func(g *guess) bool {
		if !places(g.wiring, m) {
			return false
		}
		w := 1e-3 // a fault that seldom makes this complaint counts a little
		if complaint >= 0 {
			w += rank.Present(&solver, g.there, g.away, g.there.Chance).Of[complaint]
		}
		there := g.there.Chance
		if m.During == "wiggle" {
			there = max(there, wiggleShows)
		}
		shown += w * (there*want.unlike(solver.Read(g.there, m, s)) + (1-there)*want.unlike(solver.Read(g.away, m, s)))
		weight += w
		drawn++
		return drawn == predictDraws
	})
	if drawn < predictFewest {
		return 0
	}
	return shown / weight
}

// wiggleShows is how likely wiggling brings out something that comes and goes; practice,
// no source.
const wiggleShows = 0.8

// unlike is how likely a reading of this raw value does not fit the prediction.
func (p Predicted) unlike(raw circuit.Raw) float64 {
	switch {
	case p.Choice != "":
		return 1 - rank.Named(p.Mode, p.Choice, raw.A)
	case p.Over || math.IsInf(raw.A, 0):
		if p.Over && math.IsInf(raw.A, 0) {
			return 0
		}
		return 1
	case p.Mode == rules.MinMax && raw.A >= p.Low && raw.B <= p.High, p.Mode != rules.MinMax && raw.A >= p.Low && raw.A <= p.High:
		return 0
	}
	return 1
}

func places(w *circuit.Wiring, m rules.Measure) bool {
	return !slices.ContainsFunc(m.Places(), func(place string) bool { return !w.Has(place) })
}

func normals(rng *rand.Rand, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = rng.NormFloat64()
	}
	return out
}

// batteryRead is the last reading of the battery's own volts; nil where there is none.
func (c *Case) batteryRead() *Reading {
	for _, e := range slices.Backward(c.events) {
		if r := e.reading; r != nil && r.Measure.Mode == rules.VoltsDC && r.Answer.Number != nil &&
			r.Measure.Red == "battery.positive" && r.Measure.Black == circuit.Reference {
			return r
		}
	}
	return nil
}

func commonest(mode rules.Mode, choices []string, raws []circuit.Raw) (string, float64) {
	best, most := "", -1.0
	for _, choice := range choices {
		sum := 0.0
		for _, raw := range raws {
			sum += rank.Named(mode, choice, raw.A)
		}
		if sum > most {
			best, most = choice, sum
		}
	}
	return best, most / float64(len(raws))
}

// take makes a range of numbers: all but the outermost of the draws, and what the meter
// may add.
func (p *Predicted) take(raws []circuit.Raw) {
	var low, high []float64
	over := 0
	for _, raw := range raws {
		if math.IsInf(raw.A, 0) || math.IsNaN(raw.A) {
			over++
			continue
		}
		low = append(low, raw.A)
		if p.Mode == rules.MinMax {
			high = append(high, raw.B)
		}
	}
	if 2*over > len(raws) {
		p.Over = true
		return
	}
	if high == nil {
		high = slices.Clone(low)
	}
	slices.Sort(low)
	slices.Sort(high)
	cut := len(low) / 40
	p.Low, p.High, p.Typical = low[cut], high[len(high)-1-cut], low[len(low)/2]
	p.Low, p.High = p.Low-meterError(p.Mode, p.Low, false), p.High+meterError(p.Mode, p.High, true)
	if p.Mode == rules.Ohms || p.Mode == rules.AmpsDC {
		p.Low = max(0, p.Low)
	}
}

// meterError is what a workshop meter may be off by: about 1 % and two digits; in the ohms
// range its leads add up to half an ohm; a clamp is off by 3 % and two digits. Practice, no
// source.
func meterError(mode rules.Mode, value float64, above bool) float64 {
	a := math.Abs(value)
	switch {
	case mode == rules.Ohms && above:
		return 0.01*a + 0.5
	case mode == rules.Ohms:
		return 0.01*a + 0.1
	case mode == rules.AmpsDC:
		return 0.03*a + 0.1
	case mode == rules.PullIn || mode == rules.DropOut:
		return 0.01*a + 0.2
	}
	return 0.01*a + 0.02
}

// Fits reports whether an answer is as predicted; a number counts as the figure that it is said by, as the limits do.
func (p Predicted) Fits(a Answer) bool {
	switch {
	case a.Unsure:
		return false
	case p.Choice != "":
		return a.Choice == p.Choice
	case p.Over || a.Over:
		return p.Over && a.Over
	case a.MinMax != nil:
		return p.notBelow(a.MinMax[0]) && p.notAbove(a.MinMax[1])
	}
	return a.Number != nil && p.notBelow(*a.Number) && p.notAbove(*a.Number)
}

func (p Predicted) notBelow(v float64) bool {
	return v >= p.Low || rank.Figure(v) == rank.Figure(p.Low)
}

func (p Predicted) notAbove(v float64) bool {
	return v <= p.High || rank.Figure(v) == rank.Figure(p.High)
}

// Words says the prediction for a technician: "11.8 to 12.7 V", "runs", "OL".
func (p Predicted) Words() string {
	unit := map[string]string{"volt": " V", "ohm": " ohms", "ampere": " A"}[p.Mode.Unit()]
	switch {
	case p.Choice != "":
		return wordsOfChoice(p.Choice)
	case p.Over:
		return "OL"
	case max(math.Abs(p.Low), math.Abs(p.High)) < 0.06:
		return "about 0" + unit
	case p.Low <= 0:
		return "at most " + rank.Figure(p.High) + unit
	case p.High-p.Low < 0.03*p.High:
		return "about " + rank.Figure((p.Low+p.High)/2) + unit
	}
	return rank.Figure(p.Low) + " to " + rank.Figure(p.High) + unit
}

func wordsOfChoice(choice string) string {
	if choice == "comes_and_goes" {
		return "comes and goes"
	}
	return choice
}

// Roles are the names that follow from the wiring, such as the contact's supply terminal,
// as far as they are sure.
func (c *Case) Roles() map[string]string { return maps.Clone(c.roles()) }

// Forbidden reports whether a rule forbids a test now.
func (c *Case) Forbidden(test string) bool { return c.forbidden(test) }

// healthySure is how likely a test's own figures must make an answer for it to be the sound one.
const healthySure = 0.6

// Healthy is what a test gives where nothing is wrong, for what the circuit does not predict:
// by the test's own figures, or, where the rulebook has no circuit, that what is switched on
// runs. False where neither tells.
func (c *Case) Healthy(t *rules.Test) (Predicted, bool) {
	p := Predicted{Mode: t.Measure.Mode}
	if rank.ByHand(t) {
		most := 0.0
		for _, choice := range t.Answers() {
			if is := rank.Expected(t, "none.found", choice); is > most {
				p.Choice, most = choice, is
			}
		}
		return p, most >= healthySure
	}
	p.Choice = "runs"
	return p, c.knowledge.model == nil && p.Mode == rules.Watch && t.Setup.Command != "off"
}
