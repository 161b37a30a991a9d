package rank

import (
	"math"

	"coilside/engine/circuit"
	"coilside/rules"
)

// figure is what a rulebook says a number reads: even from low to high, with a
// normal error about it, on a linear or a logarithmic scale. A normal or
// log-normal number has low = high.
type figure struct {
	low, high float64 // on a logarithmic scale, the logarithms of the ends
	sd        float64 // the same
	log       bool
}

// figureOf evaluates a spread; false where it depends on a fact that is not known.
func figureOf(s *rules.Spread, facts map[string]any) (f figure, ok bool) {
	ok = true
	number := func(of *rules.Formula) float64 {
		v, err := of.Number(facts)
		ok = ok && err == nil
		return v
	}
	switch {
	case s.Exactly != nil:
		f.low = number(s.Exactly)
	case s.PlusMinus != nil:
		f.low, f.sd = number(s.About), number(s.PlusMinus)
	case s.About != nil:
		relative := number(s.Spread)
		f.low, f.log = math.Log(number(s.About)), true
		f.sd = math.Sqrt(math.Log1p(relative * relative))
	case s.Between != nil:
		f.low, f.log = math.Log(number(s.Between[0])), true
		f.high = math.Log(number(s.Between[1]))
		return f, ok && f.fits()
	default:
		f.low, f.high = number(s.Even[0]), number(s.Even[1])
		return f, ok && f.fits()
	}
	f.high = f.low
	return f, ok && f.fits()
}

func (f *figure) fits() bool {
	return !math.IsNaN(f.low) && !math.IsInf(f.low, 0) && f.high >= f.low && !math.IsInf(f.high, 0)
}

// density is how likely a reading is, in one over its unit, with a meter whose
// error there has the standard deviation err.
func (f *figure) density(read, err float64) float64 {
	per := 1.0
	if f.log {
		if read <= 0 {
			return 0
		}
		per, read = 1/read, math.Log(read)
		err /= math.Exp(min(max(read, f.low), f.high)) // of the nearest number expected
	}
	s := math.Hypot(f.sd, err)
	if f.high-f.low < 0.01*s {
		z := (read - f.low) / s
		return per * math.Exp(-z*z/2) / (s * math.Sqrt(2*math.Pi))
	}
	return per * (normalUpTo((read-f.low)/s) - normalUpTo((read-f.high)/s)) / (f.high - f.low)
}

// beyond is the chance that the number lies above a limit, 0..1.
func (f *figure) beyond(limit float64) float64 {
	if f.log {
		limit = math.Log(limit)
	}
	switch {
	case f.high > f.low:
		return min(max((f.high-limit)/(f.high-f.low), 0), 1)
	case f.sd > 0:
		return normalUpTo((f.low - limit) / f.sd)
	case f.low > limit:
		return 1
	}
	return 0
}

// normalUpTo is the part of a standard normal number below z.
func normalUpTo(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// reads is how likely a hand-given figure makes an answer: a density for numbers,
// a probability for OL.
func (f *figure) reads(mode rules.Mode, a *Answer, systemVolts float64) float64 {
	at := func(v float64) float64 { return f.density(v, sigma(mode, v, systemVolts)) }
	switch {
	case a.Over && mode == rules.Ohms:
		return f.beyond(circuit.OverRange)
	case a.Number != nil:
		return at(*a.Number)
	case a.MinMax != nil:
		return at(a.MinMax[0]) * at(a.MinMax[1])
	}
	return 0
}

// foretold is one suspect's chance of each numeric cell by the test's own figures;
// without any, what a reading may come to that tells nothing.
func (g *grid) foretold(f *figure) []float64 {
	density := func(v float64) float64 { return slipDensity(g.mode, v, g.systemVolts) }
	over := 0.0
	switch {
	case f != nil:
		density = func(v float64) float64 { return f.density(v, sigma(g.mode, v, g.systemVolts)) }
		if g.mode == rules.Ohms {
			over = f.beyond(circuit.OverRange)
		}
	case g.mode == rules.Ohms:
		over = slipOver
	}
	if g.mode == rules.MinMax {
		return g.foretoldSpan(density)
	}
	p := make([]float64, g.cells)
	last := g.cells - 2
	sum := 0.0
	for i := range last + 1 {
		width := (g.value(min(i+1, last)) - g.value(max(i-1, 0))) / 2
		p[i] = density(g.value(i)) * width
		sum += p[i]
	}
	if sum == 0 { // more than the mode can show
		p[last], sum = 1, 1
	}
	scale(p, (1-over)/sum)
	p[last+1] = over
	return p
}

// foretoldSpan is the same for a lowest and a highest reading.
func (g *grid) foretoldSpan(density func(float64) float64) []float64 {
	p := make([]float64, g.cells)
	sum := 0.0
	volts := func(cell int) float64 { return g.systemVolts * (1.5*(float64(cell)+0.5)/spanCells - 0.2) }
	for low := range spanCells {
		for high := low; high < spanCells; high++ {
			x := density(volts(low)) * density(volts(high))
			p[low*spanCells+high] = x
			sum += x
		}
	}
	scale(p, 1/sum)
	return p
}

// scale multiplies in place; by nothing sensible, all become even.
func scale(p []float64, by float64) {
	for i := range p {
		if math.IsInf(by, 0) || math.IsNaN(by) {
			p[i] = 1 / float64(len(p))
		} else {
			p[i] *= by
		}
	}
}
