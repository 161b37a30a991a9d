package choose

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// certain makes a test without errors: says[h] is what it shows under hypothesis h.
func certain(says ...int) [][]float64 {
	out := make([][]float64, len(says))
	for h, o := range says {
		out[h] = make([]float64, 2)
		out[h][o] = 1
	}
	return out
}

// Two halvings of a minute each tell four equally likely faults apart: two minutes.
func TestHalvingTakesTheLogarithm(t *testing.T) {
	o := &Options{Prior: []float64{0.25, 0.25, 0.25, 0.25}, Class: []int{0, 1, 2, 3}, Enough: 0.99,
		Parts:   [][][]float64{certain(0, 0, 1, 1), certain(0, 1, 0, 1), certain(0, 0, 0, 0)},
		Minutes: func(int, int) float64 { return 1 }}
	away := ToRepair(o)
	assert.InDelta(t, 2, away[0], 1e-12)
	assert.InDelta(t, 2, away[1], 1e-12)
	assert.True(t, math.IsInf(away[2], 1), "a test that tells nothing brings no repair nearer")
}

// A change of setup is paid once, so a test that needs it is worth more when others
// need it too.
func TestAChangeOfSetupIsPaidOnce(t *testing.T) {
	o := &Options{Prior: []float64{0.25, 0.25, 0.25, 0.25}, Class: []int{0, 1, 2, 3}, Enough: 0.99,
		Parts: [][][]float64{certain(0, 0, 1, 1), certain(0, 1, 0, 1)},
		Minutes: func(from, test int) float64 {
			if from < 0 {
				return 6
			}
			return 1
		}}
	assert.InDelta(t, 7, ToRepair(o)[0], 1e-12)
}

// Faults of one repair need not be told apart.
func TestOneRepairIsEnough(t *testing.T) {
	o := &Options{Prior: []float64{0.5, 0.25, 0.25}, Class: []int{0, 1, 1}, Enough: 0.99,
		Parts:   [][][]float64{certain(0, 1, 1), certain(0, 0, 1)},
		Minutes: func(int, int) float64 { return 3 }}
	away := ToRepair(o)
	assert.InDelta(t, 3, away[0], 1e-12)
	assert.InDelta(t, 3+0.75*3, away[1], 1e-12)
}

// dealt is a problem of random tests.
func dealt(rng *rand.Rand, hyps, tests, outcomes int) *Options {
	o := &Options{Prior: distribution(rng, hyps), Enough: 0.95, Minutes: func(from, test int) float64 { return 1 + float64((from+2*test+3)%4) }}
	for range tests {
		var parts [][]float64
		for range hyps {
			parts = append(parts, distribution(rng, outcomes))
		}
		o.Parts = append(o.Parts, parts)
	}
	return o
}

// Without classes each hypothesis is one by itself.
func TestEachHypothesisByItself(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		o := dealt(rng, 6, 5, 3)
		bare := ToRepair(o)
		o.Class = []int{0, 1, 2, 3, 4, 5}
		assert.Equal(t, ToRepair(o), bare)
	}
}

// BenchmarkToRepair looks ahead from 8 tests of 20 over 40 hypotheses, as early in a job.
func BenchmarkToRepair(b *testing.B) {
	o := dealt(rand.New(rand.NewPCG(1, 2)), 40, 20, 5)
	o.First = 8
	b.ReportAllocs()
	for b.Loop() {
		ToRepair(o)
	}
}
