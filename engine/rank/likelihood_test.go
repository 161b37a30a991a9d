package rank

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"coilside/engine/circuit"
	"coilside/rules"
)

// integral of a density from a to b, by the midpoint rule.
func integral(a, b float64, steps int, of func(float64) float64) float64 {
	sum, step := 0.0, (b-a)/float64(steps)
	for i := range steps {
		sum += step * of(a+(float64(i)+0.5)*step)
	}
	return sum
}

// Readings about a prediction, and wrong readings, are distributions.
func TestDensitiesSumToOne(t *testing.T) {
	for _, system := range []float64{12, 24} {
		for _, mode := range []rules.Mode{rules.VoltsDC, rules.Ohms, rules.AmpsDC, ampsInSeries, rules.PullIn, rules.DropOut} {
			for _, model := range []float64{0, 0.4, 12.3, 85} {
				s := sigma(mode, model, system)
				sum := integral(model-300*s, model+300*s, 200000, func(v float64) float64 { return density(mode, v, model, system, 1) })
				assert.InDelta(t, 1, sum, 1e-4, "%s about %g", mode, model)
			}
		}
		volts := func(v float64) float64 { return slipDensity(rules.VoltsDC, v, system) }
		assert.InDelta(t, 1, integral(-1.2*system, 1.2*system, 100000, volts), 1e-3)
		logOhms := func(x float64) float64 { return math.Exp(x) * slipDensity(rules.Ohms, math.Exp(x), system) }
		ohms := integral(math.Log(ohmsFloor), math.Log(circuit.OverRange), 1000, logOhms)
		assert.InDelta(t, 1, ohms+slipLikelihood(rules.Ohms, &Answer{Over: true}, 0, system), 1e-6)
	}
}

// Whatever the circuit does, each choice has some chance and they sum to one.
func TestChoicesSumToOne(t *testing.T) {
	for _, mode := range []rules.Mode{rules.TestLamp, rules.Bridge, rules.Watch, rules.Reseat, rules.Swap, rules.Listen, rules.Look} {
		raws := []float64{0, 0.1, 0.26, 0.5, 0.8, 0.83, 1, 1.15}
		switch mode {
		case rules.Listen:
			raws = []float64{circuit.Silent, circuit.Clicks, circuit.Buzzes}
		case rules.Look:
			raws = []float64{0, 1}
		case rules.Watch:
			raws = append(raws, circuit.Trips, circuit.ComesAndGoes)
		case rules.Bridge, rules.Reseat, rules.Swap:
			raws = append(raws, circuit.Trips)
		}
		for _, raw := range raws {
			sum := 0.0
			for _, choice := range Choices(mode) {
				p := choiceProbability(mode, choice, raw)
				assert.Greater(t, p, 0.0, "%s %s at %g", mode, choice, raw)
				sum += p
			}
			assert.InDelta(t, 1, sum, 1e-9, "%s at %g", mode, raw)
		}
	}
}

// A meter in series tells the current of a coil from none, a clamp does not.
func TestSeriesMeterTellsSmallCurrentsApart(t *testing.T) {
	odds := func(how string) float64 {
		mode := instrument(rules.Measure{Mode: rules.AmpsDC, How: how})
		return density(mode, 0.14, 0.14, 12, 1) / density(mode, 0.14, 0, 12, 1)
	}
	assert.Greater(t, odds("series"), 1000.0)
	for _, how := range []string{"clamp", "fuse_drop"} {
		assert.Less(t, odds(how), 3.0, how)
	}
}
