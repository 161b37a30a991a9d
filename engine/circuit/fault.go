package circuit

import (
	"fmt"
	"slices"
	"sync/atomic"

	"coilside/rules"
)

// Fault is what one suspect does to the circuit, compiled. A Fault without
// effects leaves the circuit sound.
type Fault struct {
	ID       string
	Suspect  *rules.Suspect
	Dims     int      // standard normal numbers it takes, beside those of the draw
	InRelay  bool     // it leaves with the relay: a good relay in its place cures it
	Comes    bool     // it comes and goes
	InJoint  bool     // it sits in a blade-to-receptacle joint, which refitting disturbs
	Hidden   bool     // some of it shows only in heat, under current or with something else on
	Forms    []*Fault // the fault in each of its forms, where it has one of several; itself alone where not
	number   int      // of the model's: see Model.forms
	effects  []effect
	elements []int  // elements it acts on
	needs    string // the unknown beside those that shape the network that its condition hangs on; "" = none
}

// effect is one compiled effect: elements and value names as indexes.
type effect struct {
	rule    *rules.Effect
	element int
	slot    int    // of the scaled value; -1 = none
	wakes   uint64 // the surroundings it needs
	only    cond   // what it waits for; 0 = always there

	comesAnd, addOhms, ohms, by, pulse spread

	options []effect // exactly one of these
	group   []effect // all of these
}

func (m *Model) compileFault(s *rules.Suspect) (*Fault, error) {
	f := &Fault{ID: s.ID, Suspect: s}
	if s.When != nil {
		f.needs = m.circuit.Beside(s.When)
	}
	for i := range s.Does {
		e, err := m.compileEffect(f, &s.Does[i])
		if err != nil {
			return nil, fmt.Errorf("suspect %s: %w", s.ID, err)
		}
		f.effects = append(f.effects, e)
	}
	m.describe(f)
	f.Forms = m.formsOf(f)
	m.enlist(f)
	return f, nil
}

// enlist numbers a fault and its forms.
func (m *Model) enlist(f *Fault) {
	all := f.Forms
	if all[0] != f {
		all = append([]*Fault{f}, all...)
	}
	for _, form := range all {
		form.number = len(m.forms)
		m.forms = append(m.forms, form)
	}
}

// describe works out from a fault's effects what they come to.
func (m *Model) describe(f *Fault) {
	f.Dims, f.elements, f.InRelay, f.InJoint, f.Hidden = 0, nil, false, false, false
	for i := range f.effects {
		f.Dims += f.effects[i].dims()
		f.effects[i].each(func(e *effect) {
			f.Hidden = f.Hidden || e.only != 0
			if e.element >= 0 {
				f.elements = append(f.elements, e.element)
			}
		})
	}
	for _, e := range f.elements {
		switch m.kinds[e] {
		case "coil", "armature", "make", "rest", "suppressor":
			f.InRelay = true
		case "terminal":
			f.InJoint = !f.Suspect.Stays
		}
	}
	if f.Suspect.Repair.Class == "relay" && f.rewires() {
		f.InRelay = true // a relay of another layout leaves with its wiring
	}
}

// formsOf are the fault with each of the options that it has exactly one of.
func (m *Model) formsOf(f *Fault) []*Fault {
	at := slices.IndexFunc(f.effects, func(e effect) bool { return len(e.options) > 0 })
	if at < 0 {
		return []*Fault{f}
	}
	var out []*Fault
	for _, option := range f.effects[at].options {
		form := *f
		form.effects = slices.Clone(f.effects)
		form.effects[at].options, form.effects[at].group = nil, []effect{option}
		m.describe(&form)
		form.Forms = []*Fault{&form}
		out = append(out, &form)
	}
	return out
}

// each calls for an effect and for all that it is made of.
func (e *effect) each(call func(*effect)) {
	call(e)
	for i := range e.options {
		e.options[i].each(call)
	}
	for i := range e.group {
		e.group[i].each(call)
	}
}

func (m *Model) compileEffect(f *Fault, r *rules.Effect) (effect, error) {
	e := effect{rule: r, element: -1, slot: -1, only: conditions[r.Only]}
	for _, size := range []struct {
		of *rules.Spread
		to *spread
	}{{r.ComesAnd, &e.comesAnd}, {r.AddOhms, &e.addOhms}, {r.Ohms, &e.ohms}, {r.By, &e.by}, {r.Pulse, &e.pulse}} {
		var err error
		if *size.to, err = m.compileSpread(size.of); err != nil {
			return e, err
		}
	}
	f.Comes = f.Comes || r.ComesAnd != nil
	if len(r.OneOf) > 0 {
		for i := range r.OneOf {
			o, err := m.compileEffect(f, &r.OneOf[i])
			if err != nil {
				return e, err
			}
			e.options = append(e.options, o)
		}
		return e, nil
	}
	if len(r.AllOf) > 0 {
		for i := range r.AllOf {
			g, err := m.compileEffect(f, &r.AllOf[i])
			if err != nil {
				return e, err
			}
			e.group = append(e.group, g)
		}
		return e, nil
	}
	if bit, ok := m.aroundOf[r.Rewire]; ok && r.Rewire != "" {
		e.wakes = bit
		return e, nil
	}
	if r.Join != nil {
		e.wakes = m.addJoin(r.Join)
		return e, nil
	}
	e.wakes = m.aroundOf[r.To]
	element, ok := m.elements[r.To]
	if !ok {
		return e, fmt.Errorf("the circuit has no element %q", r.To)
	}
	e.element = element
	if r.ShortTo != "" {
		m.shorts = append(m.shorts, shortSpec{element, r.ShortTo == "supply"})
	}
	if r.Scale != "" {
		at := element
		if m.kinds[element] == "armature" { // pull-in and drop-out are kept with the coil
			at = m.special.coil
		}
		slot, ok := m.slots[slotKey{at, r.Scale}]
		if !ok {
			return e, fmt.Errorf("element %s has no value %q to scale", r.To, r.Scale)
		}
		e.slot = slot
	}
	return e, nil
}

// hold is a position that a fault keeps a moving part in.
type hold uint8

const (
	free hold = iota
	heldOpen
	heldClosed
	inverted // of a control: on while it is told off
	reversed // of a suppressor: a diode the wrong way round
)

// short joins a node to the supply or to the reference.
type short struct {
	element  int // at its load-side end
	toSupply bool
	siemens  float64
}

// Instance is a draw with its faults applied: one fully specified circuit.
type Instance struct {
	model  *Model
	draw   *Draw
	Chance float64 // that the faults are there at any one reading, 0..1; 1 = always

	net      *Network
	awake    uint64                 // surroundings that stand in net
	bits     cond                   // conditions that this form of the circuit stands for
	cares    cond                   // conditions that would make it another
	forms    atomic.Pointer[formed] // the circuit under other conditions, made when asked for
	faults   []*Fault
	normal   []float64
	joins    []joined
	pulse    float64   // part of the time that the control conducts while commanded; 0 = all of it
	sleepy   bool      // the load is electronics and something leaks
	slow     bool      // so slowly that the armature follows
	diode    int8      // a diode that may conduct: 1 = from 86 to 85, -1 = from 85 to 86; 0 = none
	values   []float64 // by slot; the draw's own where no fault scales one
	changes  []change  // the few elements that faults act on
	room     [2]change // for the first of changes
	shorts   []short
	siemens  []float64 // by element: what it conducts when closed
	coldLoad float64   // what the load conducts in the ohms range, S
	blown    []bool    // by element: fuses that have gone since the circuit was last mended; nil = none
	renewed  bool      // new fuses are fitted before each reading

	found, over atomic.Uint64 // states whose armature has been found, and those in which it is pulled over; see quiet
}

// formed is a list of the forms made so far, which jobs that share an opening add to.
type formed struct {
	bits cond
	form *Instance
	rest *formed
}

// change is what faults do to one element.
type change struct {
	element int
	open    bool
	added   float64 // ohms in series
	held    hold    // of the armature heldClosed = pulled over
	instead uint8   // 0, asMake, asRestContact
}

// changed is what the faults do to an element; the zero change for most.
func (in *Instance) changed(element int) change {
	for _, c := range in.changes {
		if c.element == element {
			return c
		}
	}
	return change{}
}

// change finds an element's change, to be written to.
func (in *Instance) change(element int) *change {
	for i := range in.changes {
		if in.changes[i].element == element {
			return &in.changes[i]
		}
	}
	in.changes = append(in.changes, change{element: element})
	return &in.changes[len(in.changes)-1]
}

const (
	asMake uint8 = 1 + iota
	asRestContact
)

// RunsAtRest reports whether the load should run while the relay is not energised.
func (in *Instance) RunsAtRest() bool { return in.draw.Wiring.net.RunsAtRest }

// Instance applies faults to a draw. normal holds the standard normal numbers of
// all the faults in turn. Errors name the suspect whose formula fails.
func (m *Model) Instance(d *Draw, faults []*Fault, normal []float64) (*Instance, error) {
	return m.instance(d, faults, normal, 0, nil)
}

// instance is the circuit under conditions; before holds the fuses that went
// earlier, and where it is not nil none are burnt in.
func (m *Model) instance(d *Draw, faults []*Fault, normal []float64, bits cond, before *Instance) (*Instance, error) {
	in := &Instance{model: m, draw: d, Chance: 1, values: d.Values, net: d.Wiring.net, bits: bits, faults: faults, normal: normal}
	in.changes = in.room[:0]
	for _, f := range faults {
		if len(f.effects) == 0 {
			continue
		}
		next := normal
		for i := range f.effects {
			var err error
			if next, err = in.apply(&f.effects[i], next); err != nil {
				return nil, fmt.Errorf("suspect %s: %w", f.ID, err)
			}
		}
		normal = normal[f.Dims:]
	}
	if err := in.surround(); err != nil {
		return nil, err
	}
	in.conduct()
	if before != nil {
		in.cares = 0 // it is not asked for a form of its own
		if bits&tapOff == 0 {
			in.blown = before.blown
			return in, nil
		} // fuses are renewed once the added wiring is off
	}
	in.burnIn()
	return in, nil
}

// apply puts one effect on the instance and returns the numbers left over.
func (in *Instance) apply(e *effect, normal []float64) ([]float64, error) {
	draw := func(s *spread) (float64, error) {
		value, err := in.draw.spread(s, normal[0])
		normal = normal[1:]
		return value, err
	}
	r := e.rule
	if r.ComesAnd != nil {
		chance, err := draw(&e.comesAnd)
		if err != nil {
			return nil, err
		}
		in.Chance = min(max(chance, 0), 1)
	}
	if e.only != 0 {
		in.cares |= e.only.watched()
		if !e.only.there(in.bits) {
			return normal[e.own():], nil
		}
	}
	in.awake |= e.wakes
	if len(e.options) > 0 {
		return in.applyOne(e, normal)
	}
	for i := range e.group {
		var err error
		if normal, err = in.apply(&e.group[i], normal); err != nil {
			return nil, err
		}
	}
	if len(e.group) > 0 {
		return normal, nil
	}
	if r.Rewire != "" {
		return normal, nil
	}
	if r.Join != nil {
		ohms, err := draw(&e.ohms)
		in.joins = append(in.joins, joined{e.wakes, 1 / ohms})
		return normal, err
	}
	if r.Pulse != nil {
		part, err := draw(&e.pulse)
		in.pulse, in.slow = part, r.Slow
		return normal, err
	}
	if r.Open {
		in.change(e.element).open = true
	}
	if r.AddOhms != nil {
		ohms, err := draw(&e.addOhms)
		if err != nil {
			return nil, err
		}
		in.change(e.element).added += ohms
	}
	if r.ShortTo != "" {
		ohms := 0.01
		if r.Ohms != nil {
			var err error
			if ohms, err = draw(&e.ohms); err != nil {
				return nil, err
			}
		}
		in.shorts = append(in.shorts, short{e.element, r.ShortTo == "supply", 1 / ohms})
	}
	switch r.Hold {
	case "closed", "over":
		in.change(e.element).held = heldClosed
	case "open", "rest":
		in.change(e.element).held = heldOpen
	case "inverted":
		in.change(e.element).held = inverted
	case "reversed":
		in.change(e.element).held = reversed
	}
	if e.slot >= 0 && r.By != nil {
		by, err := draw(&e.by)
		if err != nil {
			return nil, err
		}
		in.own()
		in.values[e.slot] *= by
	}
	switch r.Instead {
	case "make":
		in.change(e.element).instead = asMake
	case "rest":
		in.change(e.element).instead = asRestContact
	}
	return normal, nil
}

// applyOne picks one of an effect's options that the wiring can have.
func (in *Instance) applyOne(e *effect, normal []float64) ([]float64, error) {
	possible := make([]*effect, 0, len(e.options))
	dims := 0
	for i := range e.options {
		o := &e.options[i]
		dims += o.dims()
		if in.model.effectPossible(o, in.draw.Wiring) {
			possible = append(possible, o)
		}
	}
	if len(possible) == 0 {
		return normal[1+dims:], nil
	}
	pick := min(int(uniform(normal[0])*float64(len(possible))), len(possible)-1)
	if _, err := in.apply(possible[pick], normal[1:]); err != nil {
		return nil, err
	}
	return normal[1+dims:], nil
}

// dims is how many standard normal numbers the effect takes.
func (e *effect) dims() int {
	n := e.own()
	if e.rule.ComesAnd != nil {
		n++
	}
	return n
}

// own is the same without the one that says how often it is there.
func (e *effect) own() int {
	n := 0
	for _, s := range []*rules.Spread{e.rule.AddOhms, e.rule.Ohms, e.rule.By, e.rule.Pulse} {
		if s != nil {
			n++
		}
	}
	for i := range e.group {
		n += e.group[i].dims()
	}
	if len(e.options) > 0 {
		n++
		for i := range e.options {
			n += e.options[i].dims()
		}
	}
	return n
}
