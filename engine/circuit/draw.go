package circuit

import (
	"fmt"
	"maps"
	"math"

	"coilside/rules"
)

// Draw is one complete guess at a circuit's unknown numbers: a wiring and a
// value for everything that varies.
type Draw struct {
	Wiring *Wiring
	Values []float64 // by slot: ohms, volts, amperes, degrees Celsius
	model  *Model
	vary   []float64 // the circuit's quantities, in its order
}

// Dims is how many standard normal numbers one draw takes.
func (m *Model) Dims() int { return m.dims }

// Draw turns a wiring, the numbers known of the job and Dims standard normal
// numbers into values. Known pins quantities by fact id, in the unit of the
// quantity. Errors name the quantity whose formula fails.
func (m *Model) Draw(w *Wiring, known map[string]float64, normal []float64) (*Draw, error) {
	n := len(m.circuit.Vary)
	numbers := make([]float64, n+len(m.spreads))
	d := &Draw{Wiring: w, Values: numbers[n:], model: m, vary: numbers[:n:n]}
	env := m.borrow(w)
	defer m.environments.Put(env)
	for i, q := range m.circuit.Vary {
		value, err := m.quantity(q, known, env.of, normal[i])
		if err != nil {
			return nil, fmt.Errorf("circuit %s: %s: %w", m.circuit.ID, q.ID, err)
		}
		d.vary[i], env.of[q.ID] = value, value
	}
	for slot := range m.spreads {
		value, err := spread(&m.spreads[slot], env.of, normal[n+slot])
		if err != nil {
			return nil, fmt.Errorf("circuit %s: values of its parts: %w", m.circuit.ID, err)
		}
		d.Values[slot] = value
	}
	return d, nil
}

// environment is what formulas of one wiring see. Draws are many and their
// formulas few, so that one is lent out and not kept with each.
type environment struct {
	wiring *Wiring
	of     map[string]any
}

func (m *Model) borrow(w *Wiring) *environment {
	env, _ := m.environments.Get().(*environment)
	if env == nil {
		env = &environment{of: make(map[string]any, len(w.env)+len(m.circuit.Vary))}
	}
	if env.wiring != w {
		clear(env.of)
		maps.Copy(env.of, w.env)
		env.wiring = w
	}
	return env
}

// spread turns one standard normal number into a value that may depend on the draw.
func (d *Draw) spread(s *rules.Spread, normal float64) (float64, error) {
	if s.Constant() {
		return spread(s, nil, normal)
	}
	env := d.model.borrow(d.Wiring)
	defer d.model.environments.Put(env)
	for i, q := range d.model.circuit.Vary {
		env.of[q.ID] = d.vary[i]
	}
	return spread(s, env.of, normal)
}

func (m *Model) quantity(q *rules.Quantity, known map[string]float64, env map[string]any, normal float64) (float64, error) {
	about, pinned := known[q.Known]
	if q.Known == "" || !pinned {
		return spread(&q.Value, env, normal)
	}
	relative := 0.0
	if q.KnownSpread != nil {
		var err error
		if relative, err = q.KnownSpread.Number(env); err != nil {
			return 0, err
		}
	}
	return logNormal(about, relative, normal), nil
}

// spread turns one standard normal number into a value.
func spread(s *rules.Spread, env map[string]any, normal float64) (float64, error) {
	number := func(f *rules.Formula) (float64, error) {
		if f == nil {
			return 0, nil
		}
		return f.Number(env)
	}
	switch {
	case s.Exactly != nil:
		return number(s.Exactly)
	case s.About != nil:
		about, err := number(s.About)
		if err != nil {
			return 0, err
		}
		if s.PlusMinus != nil {
			sd, err := number(s.PlusMinus)
			return about + sd*normal, err
		}
		relative, err := number(s.Spread)
		return logNormal(about, relative, normal), err
	}
	ends := s.Between
	if ends == nil {
		ends = s.Even
	}
	if len(ends) != 2 {
		return 0, fmt.Errorf("a spread needs exactly, about, between or even")
	}
	low, err := number(ends[0])
	if err != nil {
		return 0, err
	}
	high, err := number(ends[1])
	if err != nil {
		return 0, err
	}
	part := uniform(normal)
	if s.Between != nil {
		return low * math.Pow(high/low, part), nil
	}
	return low + (high-low)*part, nil
}

// logNormal is a number about a median with a small relative standard deviation.
func logNormal(about, relative, normal float64) float64 {
	if relative == 0 || about == 0 {
		return about
	}
	return about * math.Exp(math.Sqrt(math.Log1p(relative*relative))*normal)
}

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
