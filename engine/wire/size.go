package wire

import (
	"fmt"
	"math"
	"slices"

	"coilside/engine/inrush"
	"coilside/engine/quantity"
	"coilside/rules"
)

// plan is a Run with everything decided.
type plan struct {
	book                       *rules.Book
	copper                     Copper
	amps, length, back         float64
	coilAmps, coilLength       float64
	volts, percent             float64
	ambient, insulation, basis float64
	bundle                     float64
	kind                       string
	mils                       float64 // factor of the circular-mil formula
	overLoad, overWire         float64
	taken                      []string
}

// Size sizes a circuit. The error is a *quantity.FieldError that names the field,
// or a *rules.Error for tables and parameters that cannot be used.
func Size(book *rules.Book, r Run) (Sizing, error) {
	p, err := r.plan(book)
	if err != nil {
		return Sizing{}, err
	}
	awg, err := awgSizes(book, int(p.insulation), p.copper)
	if err != nil {
		return Sizing{}, err
	}
	metric, err := metricSizes(book, awg)
	if err != nil {
		return Sizing{}, err
	}
	fuses, err := fuseRatings(book)
	if err != nil {
		return Sizing{}, err
	}
	out := Sizing{Taken: p.taken, Notes: []string{}, Options: []LegOther{}}
	factor, err := p.factor()
	if err != nil {
		return Sizing{}, err
	}
	out.Load, out.Fuse, err = p.load(awg, metric, fuses, factor)
	if err != nil {
		return Sizing{}, err
	}
	out.Coil, err = p.coil(awg, metric, factor)
	if err != nil {
		return Sizing{}, err
	}
	if out.Relay, out.Connector, err = p.parts(out.Fuse); err != nil {
		return Sizing{}, err
	}
	p.options(&out, awg, metric)
	p.words(&out)
	return out, nil
}

func (r Run) plan(book *rules.Book) (*plan, error) {
	p := &plan{book: book, taken: []string{}}
	var err error
	if p.copper, err = readCopper(book); err != nil {
		return nil, err
	}
	var critical, other, engine, plain, coil float64
	err = book.Values(map[string]*float64{
		"circular_mil_factor": &p.mils, "wire_drop_critical": &critical, "wire_drop_other": &other, "ampacity_ambient": &p.basis,
		"engine_space_ambient": &engine, "wire_insulation": &plain, "coil_amps_taken": &coil, "fuse_over_load": &p.overLoad, "fuse_over_wire": &p.overWire,
	})
	if err != nil {
		return nil, err
	}
	var f quantity.Fields
	p.amps = quantity.Need(&f, "amps", r.Amps, ampsRange)
	p.length = quantity.Need(&f, "length_m", r.Length, metresRange)
	p.volts = quantity.System(&f, "system_volts", r.SystemVolts)
	p.back = p.or(r.GroundLength == nil, quantity.Or(&f, "ground_length_m", r.GroundLength, p.length, metresRange), "the way back is as long as the way there")
	p.kind = quantity.Choice(&f, "load_kind", r.LoadKind, "unknown", inrush.Kinds...)
	p.percent = p.drop(&f, r, critical, other)
	p.place(&f, r, engine, plain)
	if r.Bundle != nil {
		p.bundle = quantity.Check(&f, "bundle", float64(*r.Bundle), quantity.Range{Low: 1, High: 500, Unit: "wires"})
	} else {
		p.bundle = p.or(true, 1, "no other wire under load lies in the bundle")
	}
	p.coilAmps = p.or(r.CoilAmps == nil, quantity.Or(&f, "coil_amps", r.CoilAmps, coil, quantity.Range{Low: 0, High: 20, Unit: "A", Above: true, Hint: "Is it in milliamperes?"}),
		"the coil draws "+quantity.Plain(coil)+" A")
	p.coilLength = p.or(r.CoilLength == nil, quantity.Or(&f, "coil_length_m", r.CoilLength, p.length, metresRange), "the coil's wires are as long as the load's")
	return p, f.Err
}

// or notes what was taken.
func (p *plan) or(taken bool, v float64, words string) float64 {
	if taken {
		p.taken = append(p.taken, words)
	}
	return v
}

func (p *plan) drop(f *quantity.Fields, r Run, critical, other float64) float64 {
	switch {
	case r.DropPercent != nil:
		return quantity.Need(f, "drop_percent", r.DropPercent, quantity.Range{Low: 0, High: 20, Unit: "%", Above: true})
	case r.Critical == nil:
		return p.or(true, critical, "the load must have its voltage ("+quantity.Plain(critical)+" %)")
	case *r.Critical:
		return critical
	}
	return other
}

func (p *plan) place(f *quantity.Fields, r Run, engine, plain float64) {
	p.insulation = quantity.Or(f, "insulation_c", r.Insulation, plain, quantity.Range{Low: 0, High: 250, Unit: "°C"})
	if r.Insulation == nil {
		p.or(true, 0, fmt.Sprintf("the insulation is rated for %s °C", quantity.Plain(plain)))
	}
	if !slices.Contains(insulations, int(p.insulation)) || p.insulation != math.Trunc(p.insulation) {
		f.Wrong("insulation_c", "is %s °C; it takes 60, 75, 80, 90, 105 or 125", quantity.Plain(p.insulation))
	}
	switch {
	case r.Ambient != nil:
		p.ambient = quantity.Need(f, "ambient_c", r.Ambient, quantity.Range{Low: -60, High: 150, Unit: "°C"})
	case r.EngineSpace == nil:
		p.ambient = p.or(true, engine, "it runs through the engine space, "+quantity.Plain(engine)+" °C")
	case *r.EngineSpace:
		p.ambient = engine
	default:
		p.ambient = p.basis
	}
	if p.ambient > p.insulation-5 {
		f.Wrong("ambient_c", "is %s °C, too near to what the insulation bears (%s °C). Route it cooler, or take insulation for more heat",
			quantity.Plain(p.ambient), quantity.Plain(p.insulation))
	}
}

// factor is what heat and bundle leave of an ampacity.
func (p *plan) factor() (float64, error) {
	bundle, err := bundled(p.book, p.bundle)
	return bundle * warmth(p.insulation, p.ambient, p.basis), err
}

// asked gives the circular mils of E-11 for a drop: 10.75 I L / E, L in feet out
// and back.
func (p *plan) asked(amps, metres, volts float64) float64 {
	return p.mils * amps * metres / foot / volts
}

// pick gives the first size that a condition holds for.
func pick(sizes []size, ok func(size) bool) (size, bool) {
	i := slices.IndexFunc(sizes, ok)
	if i < 0 {
		return size{}, false
	}
	return sizes[i], true
}

// load picks the load's wires and fuse: thick enough for drop and current, and for
// a fuse that carries the load and that the wire outlasts.
func (p *plan) load(awg, metric []size, fuses []float64, factor float64) (Leg, Fuse, error) {
	leg := p.leg(p.amps, p.length+p.back)
	i := slices.IndexFunc(fuses, func(a float64) bool { return a >= p.overLoad*p.amps-1e-9 })
	if i < 0 {
		return leg, Fuse{}, &quantity.FieldError{Field: "amps", Message: fmt.Sprintf("amps is %s A: no fuse of the table is large enough", quantity.Plain(p.amps))}
	}
	rating := fuses[i]
	var err error
	if leg.AWG, err = p.choose(leg, awg, factor, rating/p.overWire); err != nil {
		return leg, Fuse{}, err
	}
	if leg.MM2, err = p.choose(leg, metric, factor, rating/p.overWire); err != nil {
		return leg, Fuse{}, err
	}
	because := fmt.Sprintf("%s A for long asks %s A; the wire carries %s A and outlasts it",
		quantity.Plain(p.amps), quantity.Plain(p.overLoad*p.amps), quantity.Plain(min(leg.AWG.Carries, leg.MM2.Carries)))
	return leg, Fuse{Amps: rating, Because: because}, nil
}

func (p *plan) coil(awg, metric []size, factor float64) (Leg, error) {
	leg := p.leg(p.coilAmps, 2*p.coilLength)
	var err error
	if leg.AWG, err = p.choose(leg, awg, factor, 0); err != nil {
		return leg, err
	}
	leg.MM2, err = p.choose(leg, metric, factor, 0)
	return leg, err
}

func (p *plan) leg(amps, metres float64) Leg {
	allowed := p.volts * p.percent / 100
	return Leg{Amps: amps, Metres: metres, AllowedVolts: allowed, CircularMils: p.asked(amps, metres, allowed)}
}

// choose picks one size of a list; fuse is what the wire must carry beside.
func (p *plan) choose(leg Leg, sizes []size, factor, fuse float64) (Wire, error) {
	drop, ok := pick(sizes, func(s size) bool { return s.area >= leg.CircularMils*squareOfMil*(1-1e-9) })
	current, bears := pick(sizes, func(s size) bool { return s.amps*factor >= leg.Amps })
	outlasts, holds := pick(sizes, func(s size) bool { return s.amps*factor >= fuse })
	if !ok || !bears || !holds {
		return Wire{}, leg.tooMuch()
	}
	w := Wire{ByDrop: drop.name, ByAmpacity: current.name, Because: "drop"}
	best := drop
	if current.area > best.area {
		best, w.Because = current, "ampacity"
	}
	if outlasts.area > best.area {
		best, w.Because = outlasts, "fuse"
	}
	if best.name == sizes[0].name && leg.CircularMils*squareOfMil < best.area/2 {
		w.Because = "strength" // the thinnest there is
	}
	for i := slices.Index(sizes, best); i < len(sizes); i++ {
		p.under(&w, leg, sizes[i], factor)
		if w.DropVolts <= leg.AllowedVolts*(1+1e-9) {
			return w, nil
		}
		w.Because = "heat"
	}
	return Wire{}, leg.tooMuch()
}

// under works out what one size does under the leg's current.
func (p *plan) under(w *Wire, leg Leg, s size, factor float64) {
	w.Size, w.Carries = s.name, s.amps*factor
	w.ConductorC = p.ambient + (p.insulation-p.ambient)*math.Pow(leg.Amps/w.Carries, 2)
	ohms := s.ohms * p.copper.warm(w.ConductorC) * leg.Metres
	w.DropVolts, w.Watts = leg.Amps*ohms, leg.Amps*leg.Amps*ohms
	w.DropPct = 100 * w.DropVolts / p.volts
}

func (l Leg) tooMuch() error {
	return &quantity.FieldError{Field: "amps", Message: fmt.Sprintf(
		"amps is %s A over %s m: no wire of the table is thick enough (%s circular mils asked). Shorten the way, allow more drop, or use two circuits",
		quantity.Plain(l.Amps), quantity.Plain(l.Metres), quantity.Plain(l.CircularMils))}
}

func fuseRatings(book *rules.Book) ([]float64, error) {
	table, err := book.Table("fuse_ratings", "amps")
	if err != nil {
		return nil, err
	}
	var out []float64
	for _, row := range table.Rows {
		if a, ok := row.Number("amps"); ok {
			out = append(out, a)
		}
	}
	slices.Sort(out)
	return out, nil
}
