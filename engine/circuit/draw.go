package circuit

import (
	"fmt"
	"math"
	"unsafe"

	"coilside/rules"
)

// Draw is one complete guess at a circuit's unknown numbers: a wiring and a
// value for everything that varies.
type Draw struct {
	Wiring *Wiring
	Values []float64 // by slot: ohms, volts, amperes, degrees Celsius
	model  *Model
	vary   []float64 // the circuit's quantities, in its order

	siemens  []float64 // by element: what it conducts when closed, nothing wrong with it
	coldLoad float64   // of the load in the ohms range
}

// leads is the quantity of a circuit that stands for the leads of the ohmmeter.
const leads = "lead_ohms"

// LeadOhms is what the leads of the ohmmeter add to every reading, in ohms; 0 where the
// circuit has no quantity lead_ohms.
func (d *Draw) LeadOhms() float64 {
	if at := d.model.special.leads; at >= 0 {
		return d.vary[at]
	}
	return 0
}

// DrawBytes is how much memory a draw takes.
func (m *Model) DrawBytes() int {
	return int(unsafe.Sizeof(Draw{})) + 8*(len(m.spreads)+len(m.kinds)+len(m.quantities))
}

// InstanceBytes is how much memory a draw with a fault takes beside it.
func (m *Model) InstanceBytes() int {
	return int(unsafe.Sizeof(Instance{})) + 8*(len(m.spreads)+len(m.kinds))
}

// Dims is how many standard normal numbers one draw takes.
func (m *Model) Dims() int { return m.dims }

// Draw turns a wiring, the numbers known of the job and Dims standard normal
// numbers into values. Known pins quantities by fact id, in the unit of the
// quantity. Errors name the quantity whose formula fails.
func (m *Model) Draw(w *Wiring, known map[string]float64, normal []float64) (*Draw, error) {
	return m.DrawInto(nil, w, known, normal)
}

// DrawInto is Draw in the place of an earlier draw of the same model that nobody holds any more; nil
// where there is none.
func (m *Model) DrawInto(d *Draw, w *Wiring, known map[string]float64, normal []float64) (*Draw, error) {
	n, slots := len(m.quantities), len(m.spreads)
	if d == nil {
		numbers := make([]float64, n+slots+len(m.kinds))
		d = &Draw{model: m, vary: numbers[:n:n], Values: numbers[n : n+slots : n+slots], siemens: numbers[n+slots:]}
	}
	d.Wiring = w
	env := m.borrow(w)
	defer m.environments.Put(env)
	for i := range m.quantities {
		q := &m.quantities[i]
		value, err := q.draw(known, env, normal[i])
		if err != nil {
			return nil, fmt.Errorf("circuit %s: %s: %w", m.circuit.ID, q.rule.ID, err)
		}
		d.vary[i] = value
		env.set(i, value)
	}
	for slot := range m.spreads {
		value, err := m.spreads[slot].draw(env, normal[n+slot])
		if err != nil {
			return nil, fmt.Errorf("circuit %s: values of its parts: %w", m.circuit.ID, err)
		}
		d.Values[slot] = value
	}
	d.conduct()
	return d, nil
}

// environment is what formulas of one wiring see: the wiring's choices and names, then
// the circuit's quantities. Draws are many and environments few, so that one is lent out
// and not kept with each.
type environment struct {
	wiring *Wiring
	cells  []rules.Cell // by name of Model.names
	of     []rules.Cell // the quantities' part of cells
	frame  rules.Frame
}

func (m *Model) borrow(w *Wiring) *environment {
	env, _ := m.environments.Get().(*environment)
	if env == nil {
		env = &environment{cells: make([]rules.Cell, len(m.names))}
		env.of = env.cells[len(m.names)-len(m.quantities):]
	}
	if env.wiring != w {
		env.wiring = w
		copy(env.cells, w.cells)
	}
	return env
}

func (env *environment) set(quantity int, value float64) {
	env.of[quantity] = rules.Cell{Number: value, Known: true}
}

// nameAll lists what formulas may read: wiring unknowns, the names that follow, and the
// quantities, in this order.
func (m *Model) nameAll() {
	for _, w := range m.circuit.Wiring {
		m.names = append(m.names, w.ID)
	}
	for _, n := range m.circuit.Names {
		m.names = append(m.names, n.ID)
	}
	for _, q := range m.circuit.Vary {
		m.names = append(m.names, q.ID)
	}
}

// cellsOf are a wiring's choices and names as formulas see them.
func (m *Model) cellsOf(w *Wiring) []rules.Cell {
	cells := make([]rules.Cell, len(m.names)-len(m.circuit.Vary))
	for i := range cells {
		cells[i] = rules.CellOf(w.env[m.names[i]])
	}
	return cells
}

// quantity is one of the circuit's quantities, compiled.
type quantity struct {
	rule        *rules.Quantity
	value       spread
	knownSpread *number // nil: known exactly
}

func (m *Model) compileQuantity(q *rules.Quantity) (quantity, error) {
	value, err := m.compileSpread(&q.Value)
	if err != nil {
		return quantity{}, fmt.Errorf("circuit %s: %s: %w", m.circuit.ID, q.ID, err)
	}
	c := quantity{rule: q, value: value}
	if q.KnownSpread != nil {
		of := m.number(q.KnownSpread)
		c.knownSpread = &of
	}
	return c, nil
}

func (q *quantity) draw(known map[string]float64, env *environment, normal float64) (float64, error) {
	about, pinned := known[q.rule.Known]
	if q.rule.Known == "" || !pinned {
		return q.value.draw(env, normal)
	}
	relative := 0.0
	if q.knownSpread != nil {
		var err error
		if relative, err = q.knownSpread.in(env); err != nil {
			return 0, err
		}
	}
	return logNormal(about, relative, normal), nil
}

// number is a compiled formula; without one it is 0. What does not depend on the draw
// is worked out once.
type number struct {
	formula  *rules.Bound
	constant float64
}

func (m *Model) number(f *rules.Formula) number {
	if f == nil {
		return number{}
	}
	if f.Constant() {
		if v, err := f.Number(nil); err == nil {
			return number{constant: v}
		}
	}
	return number{formula: f.Bind(m.names)}
}

func (n *number) in(env *environment) (float64, error) {
	if n.formula == nil {
		return n.constant, nil
	}
	return n.formula.Number(&env.frame, env.cells)
}

// spread is how a value varies, compiled: a form and its two numbers.
type spread struct {
	form     form
	a, b     number
	constant bool    // neither depends on the draw
	sd       float64 // of about, where b is constant: the standard deviation of the logarithm
}

type form uint8

const (
	exactly   form = iota // a
	plusMinus             // normal about a with the standard deviation b
	about                 // log-normal about a with the relative standard deviation b
	between               // log-evenly from a to b
	even                  // evenly from a to b
)

// compileSpread makes a spread ready to be drawn often; nil gives one that is 0.
func (m *Model) compileSpread(s *rules.Spread) (spread, error) {
	two := func(is form, a, b *rules.Formula) (spread, error) {
		out := spread{form: is, a: m.number(a), b: m.number(b)}
		out.constant = out.a.formula == nil && out.b.formula == nil
		out.sd = logDeviation(out.b.constant)
		return out, nil
	}
	switch {
	case s == nil:
		return spread{constant: true}, nil
	case s.Exactly != nil:
		return two(exactly, s.Exactly, nil)
	case s.PlusMinus != nil:
		return two(plusMinus, s.About, s.PlusMinus)
	case s.About != nil:
		return two(about, s.About, s.Spread)
	case len(s.Between) == 2:
		return two(between, s.Between[0], s.Between[1])
	case len(s.Even) == 2:
		return two(even, s.Even[0], s.Even[1])
	}
	return spread{}, fmt.Errorf("a spread needs exactly, about, between or even")
}

// draw turns one standard normal number into a value.
func (s *spread) draw(env *environment, normal float64) (float64, error) {
	a, err := s.a.in(env)
	if err != nil || s.form == exactly {
		return a, err
	}
	b, err := s.b.in(env)
	if err != nil {
		return 0, err
	}
	switch s.form {
	case plusMinus:
		return a + b*normal, nil
	case about:
		if s.b.formula == nil {
			return a * math.Exp(s.sd*normal), nil
		}
		return logNormal(a, b, normal), nil
	case between:
		return a * math.Pow(b/a, uniform(normal)), nil
	}
	return a + (b-a)*uniform(normal), nil
}

// spread turns one standard normal number into a value that may depend on the draw.
func (d *Draw) spread(s *spread, normal float64) (float64, error) {
	if s.constant {
		return s.draw(nil, normal)
	}
	env := d.model.borrow(d.Wiring)
	defer d.model.environments.Put(env)
	for i, value := range d.vary {
		env.set(i, value)
	}
	return s.draw(env, normal)
}

// logNormal is a number about a median with a small relative standard deviation.
func logNormal(about, relative, normal float64) float64 {
	if relative == 0 || about == 0 {
		return about
	}
	return about * math.Exp(logDeviation(relative)*normal)
}

// logDeviation is the standard deviation of the logarithm of a log-normal number whose
// standard deviation is that part of its mean.
func logDeviation(relative float64) float64 { return math.Sqrt(math.Log1p(relative * relative)) }

// Temperature of a copper winding: resistance is proportional to 234.5 + T
// (zero-resistance point of copper, IACS; also in relay makers' notes on
// coil temperature).
const (
	copperZero       = 234.5 // °C below zero
	referenceCelsius = 20.0
)

// CoilOhmsAt is the resistance of a copper coil at a temperature, in ohms, from
// its resistance at a reference temperature: R2 = R1 (234.5+T2)/(234.5+T1).
// Pull-in and drop-out volts scale the same way, since the current is what pulls.
func CoilOhmsAt(ohms, reference, celsius float64) float64 {
	return ohms * (copperZero + celsius) / (copperZero + reference)
}

// uniform maps a standard normal number to 0..1, evenly.
func uniform(normal float64) float64 { return 0.5 * math.Erfc(-normal/math.Sqrt2) }
