package circuit

import (
	"fmt"
	"math"
	"strconv"

	"coilside/rules"
)

// Asked is a number of the sound circuit that a question asks for, such as the rating
// printed for a fuse: whoever answers names the choice that comes nearest to it.
type Asked struct {
	about   spread
	spread  float64   // relative standard deviation about the number
	choices []float64 // logs
}

func (m *Model) compileAsked(t *rules.Test) (*Asked, error) {
	about, err := m.compileSpread(&rules.Spread{Exactly: t.Reads.About})
	if err != nil {
		return nil, fmt.Errorf("test %s: reads: %w", t.ID, err)
	}
	a := &Asked{about: about}
	if a.spread, err = t.Reads.Spread.Number(nil); err != nil || a.spread <= 0 {
		return nil, fmt.Errorf("test %s: reads: its spread must be a number above 0", t.ID)
	}
	for _, of := range t.Of {
		v, err := strconv.ParseFloat(of, 64)
		if err != nil || v <= 0 {
			return nil, fmt.Errorf("test %s: the answer %q is no number above 0", t.ID, of)
		}
		a.choices = append(a.choices, math.Log(v))
	}
	return a, nil
}

// Asked is the number that a test asks for; nil where it asks for none.
func (m *Model) Asked(t *rules.Test) *Asked {
	if t == nil {
		return nil
	}
	return m.asked[t.ID]
}

// In is the number in a draw, as its natural logarithm.
func (a *Asked) In(d *Draw) float64 {
	value, err := d.spread(&a.about, 0)
	if err != nil || value <= 0 {
		return math.NaN()
	}
	return math.Log(value)
}

// Shares are, in the order of the choices, how likely each is named where the number is
// so much (natural logarithm); they sum to 1.
func (a *Asked) Shares(number float64) []float64 {
	out := make([]float64, len(a.choices))
	sum := 0.0
	for i, choice := range a.choices {
		z := (choice - number) / a.spread
		out[i] = math.Exp(-min(z*z/2, 300))
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

// Nearest is the choice that comes nearest to a number (natural logarithm), by its place.
func (a *Asked) Nearest(number float64) int {
	best := 0
	for i, choice := range a.choices {
		if math.Abs(choice-number) < math.Abs(a.choices[best]-number) {
			best = i
		}
	}
	return best
}

// Choice is a choice as its natural logarithm.
func (a *Asked) Choice(i int) float64 { return a.choices[i] }

// Spread is the relative standard deviation about the number.
func (a *Asked) Spread() float64 { return a.spread }
