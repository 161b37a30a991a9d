// Package optimum holds policies for choosing tests against the exact optimum, on
// small problems where tests never err: up to a dozen faults and a score of tests,
// each with minutes of its own, done in setups that take minutes to change. A policy
// here is a function; any way of choosing can be held against the optimum.
package optimum

import (
	"math"
	"math/bits"
	"math/rand/v2"
)

// Problem is one small diagnosis. Its faults are the bits of a Set.
type Problem struct {
	Prior  []float64   // by fault, sums to 1
	Class  []int       // by fault: those of one class are mended by one repair
	Says   [][]int     // by test and fault: which outcome, from 0
	Own    []float64   // by test: minutes of the test itself
	Setup  []int       // by test: the setup it is done in
	Change [][]float64 // minutes from one setup to another, 0 to itself
}

// Set is the faults that are left, a bit each.
type Set uint32

// All is every fault.
func (p *Problem) All() Set { return 1<<len(p.Prior) - 1 }

// Minutes is what a test costs from a setup.
func (p *Problem) Minutes(test, from int) float64 {
	return p.Own[test] + p.Change[from][p.Setup[test]]
}

// Weight is the prior of a set.
func (p *Problem) Weight(s Set) float64 {
	sum := 0.0
	for ; s != 0; s &= s - 1 {
		sum += p.Prior[bits.TrailingZeros32(uint32(s))]
	}
	return sum
}

// Split parts a set by what a test says: one set an outcome that can come up.
func (p *Problem) Split(test int, s Set) []Set {
	var parts [4]Set
	for left := s; left != 0; left &= left - 1 {
		f := bits.TrailingZeros32(uint32(left))
		parts[p.Says[test][f]] |= 1 << f
	}
	out := make([]Set, 0, len(parts))
	for _, part := range parts {
		if part != 0 {
			out = append(out, part)
		}
	}
	return out
}

// Done reports whether the repair is known: all that is left is of one class.
func (p *Problem) Done(s Set) bool {
	first := p.Class[bits.TrailingZeros32(uint32(s))]
	for ; s != 0; s &= s - 1 {
		if p.Class[bits.TrailingZeros32(uint32(s))] != first {
			return false
		}
	}
	return true
}

// New draws a problem: 6 to 12 faults, 8 to 20 tests of two or three outcomes, one to
// four setups, minutes log-even from half a minute to half an hour, and tests enough to
// tell any two repairs apart.
func New(rng *rand.Rand) *Problem {
	for {
		p := draw(rng)
		if p.separable() {
			return p
		}
	}
}

func draw(rng *rand.Rand) *Problem {
	faults, tests, setups := 6+rng.IntN(7), 8+rng.IntN(13), 1+rng.IntN(4)
	p := &Problem{}
	sum := 0.0
	for range faults {
		x := math.Exp(1.5 * rng.NormFloat64())
		p.Prior, sum = append(p.Prior, x), sum+x
		p.Class = append(p.Class, rng.IntN(max(2, faults*3/4)))
	}
	for f := range p.Prior {
		p.Prior[f] /= sum
	}
	for range tests {
		says := make([]int, faults)
		outcomes, share := 2+rng.IntN(2), 0.15+0.7*rng.Float64()
		for f := range says {
			if rng.Float64() < share {
				says[f] = 1 + rng.IntN(outcomes-1)
			}
		}
		p.Says = append(p.Says, says)
		p.Own = append(p.Own, logEven(rng, 0.5, 30))
		p.Setup = append(p.Setup, rng.IntN(setups))
	}
	for a := range setups {
		row := make([]float64, setups)
		for b := range row {
			if a != b {
				row[b] = logEven(rng, 0.3, 10)
			}
		}
		p.Change = append(p.Change, row)
	}
	return p
}

func logEven(rng *rand.Rand, low, high float64) float64 {
	return low * math.Pow(high/low, rng.Float64())
}

// separable reports whether some test tells apart any two faults of different classes.
func (p *Problem) separable() bool {
	for a := range p.Prior {
		for b := range a {
			apart := p.Class[a] == p.Class[b]
			for t := range p.Says {
				apart = apart || p.Says[t][a] != p.Says[t][b]
			}
			if !apart {
				return false
			}
		}
	}
	return !p.Done(p.All())
}
