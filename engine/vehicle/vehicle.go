// Package vehicle is a simulated vehicle: one relay-controlled circuit with
// faults hidden in it, its own tolerances, and a technician's meter and eyes that
// err a little. It answers any measurement in any setup, and can be repaired. It
// serves the demonstration, practice and the benchmarks; nothing of what it knows
// reaches the diagnosis but its answers.
package vehicle

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// Options say which vehicle to make.
type Options struct {
	Book   *rules.Book
	Model  *circuit.Model
	Wiring map[string]string  // choices that are fixed; the rest is drawn
	Known  map[string]float64 // numbers that are fixed, by fact id
	Faults []string           // suspect ids hidden in it; none = sound
	Flat   bool               // tolerances spread evenly over twice their standard deviation, not about the middle
	Seed   uint64
}

// Vehicle is one simulated vehicle. Not safe for concurrent use.
type Vehicle struct {
	book    *rules.Book
	model   *circuit.Model
	wiring  *circuit.Wiring
	draw    *circuit.Draw
	normal  []float64 // standard normal numbers that the draw stands for
	faults  []hidden
	there   *circuit.Instance
	away    *circuit.Instance
	rng     *rand.Rand
	solver  circuit.Solver
	gain    float64 // of the meter: 1 = true
	leads   float64 // resistance of its leads, ohms
	volts24 bool
}

type hidden struct {
	fault *circuit.Fault
	own   []float64
}

// New makes a vehicle. It is an error when a fault is unknown or can't occur in
// any circuit wired as asked.
func New(o Options) (*Vehicle, error) {
	v := &Vehicle{book: o.Book, model: o.Model, rng: rand.New(rand.NewPCG(o.Seed, 0x5eed))}
	v.gain, v.leads = 1+0.004*v.rng.NormFloat64(), 0.1+0.15*v.rng.Float64()
	ws, err := o.Model.Wirings(o.Wiring)
	if err != nil {
		return nil, err
	}
	for _, id := range o.Faults {
		f, ok := o.Model.Fault(id)
		if !ok {
			return nil, fmt.Errorf("no suspect is called %q", id)
		}
		some, _ := ws.Possible(f)
		if some == nil {
			return nil, fmt.Errorf("%s can't occur in a circuit wired like this", id)
		}
		ws = some
		v.faults = append(v.faults, hidden{f, v.normals(f.Dims)})
	}
	v.wiring = ws.Pick(v.normals(ws.Dims()))
	v.normal = v.normals(o.Model.Dims())
	if o.Flat {
		for i := range v.normal {
			v.normal[i] = 4*v.rng.Float64() - 2
		}
	}
	if v.draw, err = o.Model.Draw(v.wiring, o.Known, v.normal); err != nil {
		return nil, err
	}
	nominal, _ := v.wiring.Choice("system_volts")
	v.volts24 = nominal == "24"
	return v, v.assemble()
}

// normals draws n standard normal numbers, the far tails left out: a vehicle in
// the workshop is an ordinary one.
func (v *Vehicle) normals(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		for out[i] = v.rng.NormFloat64(); math.Abs(out[i]) > 2.5; {
			out[i] = v.rng.NormFloat64()
		}
	}
	return out
}

// assemble builds the circuit with the faults that are left.
func (v *Vehicle) assemble() error {
	var faults []*circuit.Fault
	var own []float64
	for _, h := range v.faults {
		faults, own = append(faults, h.fault), append(own, h.own...)
	}
	var err error
	if v.there, err = v.model.Instance(v.draw, faults, own); err != nil {
		return err
	}
	v.away, err = v.with(func(f *circuit.Fault) bool { return !comesAndGoes(f.Suspect.Does) })
	return err
}

// comesAndGoes reports whether effects are not always there.
func comesAndGoes(effects []rules.Effect) bool {
	return slices.ContainsFunc(effects, func(e rules.Effect) bool {
		return e.ComesAnd != nil || comesAndGoes(e.OneOf) || comesAndGoes(e.AllOf)
	})
}

// Intermittent reports whether a suspect's fault comes and goes.
func Intermittent(s *rules.Suspect) bool { return comesAndGoes(s.Does) }

// with is the circuit with only the faults that keep says.
func (v *Vehicle) with(keep func(*circuit.Fault) bool) (*circuit.Instance, error) {
	var faults []*circuit.Fault
	var own []float64
	for _, h := range v.faults {
		if keep(h.fault) {
			faults, own = append(faults, h.fault), append(own, h.own...)
		}
	}
	return v.model.Instance(v.draw, faults, own)
}

// Wiring tells how the circuit is wired.
func (v *Vehicle) Wiring() *circuit.Wiring { return v.wiring }

// Faults lists the suspects that are still hidden in it.
func (v *Vehicle) Faults() []string {
	var out []string
	for _, h := range v.faults {
		out = append(out, h.fault.ID)
	}
	return out
}

// Complaint is what a customer would say is wrong; "" when nothing shows.
func (v *Vehicle) Complaint() string {
	p := rank.Present(&v.solver, v.there, v.away, v.there.Chance)
	best, at := p.None, -1
	for i, share := range p.Of {
		if share > best {
			best, at = share, i
		}
	}
	if at < 0 {
		return ""
	}
	return rank.Complaints[at]
}

// Repair mends a suspect: the fault goes, and with a new relay every fault inside
// the old one. It reports whether anything was mended.
func (v *Vehicle) Repair(suspect string) (bool, error) {
	mended := false
	fault, known := v.model.Fault(suspect)
	v.faults = slices.DeleteFunc(v.faults, func(h hidden) bool {
		gone := h.fault.ID == suspect || known && fault.Suspect.Repair.Class == h.fault.Suspect.Repair.Class
		mended = mended || gone
		return gone
	})
	return mended, v.assemble()
}

// wiggleShows is how likely wiggling brings out something that comes and goes; practice,
// no source.
const wiggleShows = 0.8

// Answer measures, looks, listens or asks. Errors name a place that can't be
// reached in the setup.
func (v *Vehicle) Answer(m rules.Measure, s rules.Setup) (rank.Answer, error) {
	if err := circuit.Check(m, s); err != nil {
		return rank.Answer{}, err
	}
	switch m.Mode {
	case rules.Ask:
		return v.told(m), nil
	case rules.Look:
		if !v.model.Fuse(m.At) {
			return v.seen(m), nil
		}
	}
	return v.read(m, s), nil
}

// read takes a reading that the circuit decides.
func (v *Vehicle) read(m rules.Measure, s rules.Setup) rank.Answer {
	in, other := v.there, v.away
	switch m.Mode {
	case rules.Swap, rules.Reseat:
		in = v.refitted(m.Mode)
	case rules.MinMax:
		return v.span(m, s)
	default:
		there := v.there.Chance
		if m.During == "wiggle" { // it is there whenever it is moved, nearly
			there = max(there, wiggleShows)
		}
		if v.rng.Float64() >= there {
			in = other
		}
	}
	raw := v.measure(in, m, s)
	switch m.Mode {
	case rules.VoltsDC, rules.AmpsDC, rules.PullIn, rules.DropOut, rules.Ohms:
		return v.number(m, raw.A)
	}
	return rank.Answer{Choice: v.choose(rank.Choices(m.Mode), func(c string) float64 { return rank.Named(m.Mode, c, raw.A) })}
}

func (v *Vehicle) measure(in *circuit.Instance, m rules.Measure, s rules.Setup) circuit.Raw {
	p := v.model.Resolve(v.wiring, m, s)
	v.solver.SettleFor(in, &p)
	return v.solver.At(&p)
}

// refitted is the circuit after the relay has been out and in: bad joints are
// often good again, and a swapped relay leaves its faults on the bench.
func (v *Vehicle) refitted(mode rules.Mode) *circuit.Instance {
	cured := v.rng.Float64() < 0.6
	in, err := v.with(func(f *circuit.Fault) bool {
		return !(f.InRelay && mode == rules.Swap || f.InJoint && cured)
	})
	if err != nil {
		return v.there
	}
	return in
}

func (v *Vehicle) span(m rules.Measure, s rules.Setup) rank.Answer {
	a, b := v.measure(v.there, m, s), v.measure(v.away, m, s)
	if v.there.Chance >= 1 || v.rng.Float64() > 0.85 {
		if v.rng.Float64() < v.there.Chance {
			b = a
		} else {
			a = b
		}
	}
	low, high := math.Min(a.A, b.A), math.Max(a.B, b.B)
	span := [2]float64{v.shown(m, low), v.shown(m, high)}
	span[1] = math.Max(span[0], span[1])
	return rank.Answer{MinMax: &span}
}

func (v *Vehicle) number(m rules.Measure, value float64) rank.Answer {
	if math.IsInf(value, 1) {
		return rank.Answer{Over: true}
	}
	shown := v.shown(m, value)
	return rank.Answer{Number: &shown}
}

// shown is what the display says: the meter's own gain, a little noise, lead
// resistance in the ohms range, and the digits it has.
func (v *Vehicle) shown(m rules.Measure, value float64) float64 {
	digit := 0.01
	switch m.Mode {
	case rules.Ohms:
		value += v.leads
		digit = 0.1
		if value > 1000 {
			digit = value / 1000
		}
	case rules.AmpsDC:
		value *= 1 + 0.015*v.rng.NormFloat64()
		if m.How != "series" {
			digit = 0.1
		}
	case rules.PullIn, rules.DropOut:
		digit = 0.1
	}
	value = value*v.gain + 0.5*digit*v.rng.NormFloat64()
	if m.Mode == rules.Ohms {
		value = math.Max(value, 0)
	}
	return math.Round(value/digit) * digit
}

// choose draws one of the choices by its probability.
func (v *Vehicle) choose(of []string, p func(string) float64) string {
	sum := 0.0
	for _, c := range of {
		sum += p(c)
	}
	at := v.rng.Float64() * sum
	for _, c := range of {
		if at -= p(c); at <= 0 {
			return c
		}
	}
	return of[0]
}

// told answers a question: how the circuit is wired is known by looking it up.
func (v *Vehicle) told(m rules.Measure) rank.Answer {
	for _, t := range v.book.Tests {
		if t.Measure.Mode != rules.Ask || t.Measure.Question != m.Question {
			continue
		}
		if is, ok := v.wiring.Choice(t.Sets); ok && slices.Contains(t.Of, is) {
			return rank.Answer{Choice: is}
		}
		if asked := v.model.Asked(t); asked != nil { // the maker had his own idea of it, the same each time
			own := rand.New(rand.NewPCG(uint64(math.Float64bits(v.normal[0])), 0xa5)).NormFloat64()
			return rank.Answer{Choice: t.Of[asked.Nearest(asked.In(v.draw)+asked.Spread()*own)]}
		}
		if rank.ByHand(t) {
			return v.byHand(t, t.Of)
		}
	}
	return rank.Answer{Unsure: true}
}

// seen is what a look at a part shows, by the rulebook's own figures for it.
func (v *Vehicle) seen(m rules.Measure) rank.Answer {
	of := rank.Choices(rules.Look)
	for _, t := range v.book.Tests {
		if t.Measure.Mode != rules.Look || t.Measure.At != m.At {
			continue
		}
		return v.byHand(t, of)
	}
	for _, h := range v.faults {
		if strings.HasPrefix(h.fault.ID, m.At+".") && v.rng.Float64() < 0.5 {
			return rank.Answer{Choice: "burnt"}
		}
	}
	return rank.Answer{Choice: "sound"}
}

// Choices are what the circuit's wiring unknowns are here, by id.
func (v *Vehicle) Choices() map[string]string {
	out := map[string]string{}
	for _, w := range v.book.Circuits[0].Wiring {
		if is, ok := v.wiring.Choice(w.ID); ok {
			out[w.ID] = is
		}
	}
	return out
}

// Variates are the standard normal numbers that everything in the vehicle was drawn
// from: those of the sound circuit, and by fault those of its size. With the choices
// they say what the vehicle is to anything that can read the rulebook.
func (v *Vehicle) Variates() (sound []float64, faults map[string][]float64) {
	faults = map[string][]float64{}
	for _, h := range v.faults {
		faults[h.fault.ID] = h.own
	}
	return v.normal, faults
}

// byHand answers by the rulebook's own figures for a test.
func (v *Vehicle) byHand(t *rules.Test, of []string) rank.Answer {
	suspect := "none.found"
	for _, h := range v.faults {
		if rank.SpeaksOf(t, h.fault.ID) {
			suspect = h.fault.ID
		}
	}
	return rank.Answer{Choice: v.choose(of, func(c string) float64 { return rank.Expected(t, suspect, c) })}
}
