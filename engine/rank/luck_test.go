package rank

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/choose"
	"coilside/engine/circuit"
	"coilside/rules"
)

// hypothesis is a suspect's, by its id.
func hypothesis(t *testing.T, b *Belief, id string) *Hypothesis {
	t.Helper()
	for _, h := range b.hyps {
		if h.ID() == id {
			return h
		}
	}
	require.Fail(t, "no hypothesis "+id)
	return nil
}

// A span that stays at zero while a terminal is moved speaks against a loose one, though the
// lowest volts are what all suspects expect: its highest would have been the supply's.
func TestSpanIsHeardAtBothEnds(t *testing.T) {
	b := open(t, "dead", DefaultDraws, 1)
	require.NoError(t, b.Read(volts(1, "socket.86", rules.Setup{Relay: "out", Key: "on", Command: "on"}, 12.3)))
	require.NoError(t, b.Read(Reading{ID: 2, Measure: rules.Measure{Mode: rules.Listen}, Setup: commanded, Answer: Answer{Choice: "silent"}}))
	loose, open := hypothesis(t, b, "terminal_85.loose"), hypothesis(t, b, "coil.open")
	before := loose.Probability() / open.Probability()
	require.NoError(t, b.Read(Reading{ID: 3, Setup: commanded, Answer: Answer{MinMax: &[2]float64{0, 0.01}},
		Measure: rules.Measure{Mode: rules.MinMax, Red: "load.in", Black: circuit.Reference, During: "wiggle"}}))
	after := loose.Probability() / open.Probability()
	t.Logf("loose against open: %.2f before, %.2f after", before, after)
	assert.Less(t, after, before/2)
}

// A number that no reading hangs on goes on being spread like its prior over many different
// values, however often the cloud was renewed.
func TestIdleNumbersDoNotRunOut(t *testing.T) {
	b := open(t, "weak", DefaultDraws, 3)
	for i, r := range []Reading{
		volts(1, "battery.positive", commanded, 12.4), volts(2, "load.in", commanded, 6.1), volts(3, "back.87", commanded, 6.2),
		volts(4, "back.30", commanded, 12.2), volts(5, "battery.positive", rules.Setup{Relay: "in", Key: "off", Command: "off"}, 12.6),
	} {
		require.NoError(t, b.Read(r), i)
	}
	h := hypothesis(t, b, "contact.resistive")
	c := h.cloud
	require.Greater(t, h.Probability(), 0.1)
	require.Greater(t, c.generation, 1, "renewed")
	idle := 0
	var means, spreads float64
	for k := range c.hangs {
		i := c.wirings.Dims() + k
		if !c.idle(i) {
			continue
		}
		idle++
		values := map[float64]float64{}
		mean, spread := 0.0, 0.0
		for j, w := range b.weights(c) {
			x := c.particles[j].normal[i]
			values[x] += w
			mean, spread = mean+w*x, spread+w*x*x
		}
		squares := 0.0
		for _, w := range values {
			squares += w * w
		}
		assert.Greater(t, 1/squares, 0.15*float64(len(c.particles)), "different values of number %d", k)
		means, spreads = means+mean*mean, spreads+spread
	}
	n := float64(idle)
	t.Logf("%d of %d numbers idle after %d renewals; mean square of their means %.3f, mean of their squares %.3f", idle, len(c.hangs), c.generation, means/n, spreads/n)
	assert.Less(t, means/n, 0.04, "a normal number's mean over 50 guesses squares to 0.02")
	assert.InDelta(t, 1, spreads/n, 0.1)
	assert.Greater(t, idle, 10)
}

// Where all hypotheses expect the same and differ by the luck of few guesses, what that pretends to
// tell is taken off on average; what really tells stays.
func TestLuckIsTakenOff(t *testing.T) {
	const guesses, outcomes, times = 40, 8, 400
	of := make([]string, outcomes)
	for k := range of {
		of[k] = fmt.Sprint(k)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	mean := func(chance func(h int) int) (pretended, left float64) {
		for range times {
			o := Outlook{Prior: []float64{0.5, 0.3, 0.2}, grid: grid{mode: rules.Ask, of: of}}
			for h := range o.Prior {
				cells := make([]float64, outcomes)
				for range guesses {
					cells[chance(h)] += (1 - Slip) / guesses
				}
				for k := range cells {
					cells[k] += Slip / outcomes
				}
				o.Cells = append(o.Cells, cells)
			}
			gain := choose.Gain(o.Prior, o.Cells)
			pretended, left = pretended+gain/times, left+(gain-o.luck([]float64{guesses, guesses, guesses}))/times
		}
		return pretended, left
	}
	pretended, left := mean(func(int) int { return rng.IntN(outcomes) })
	t.Logf("nothing to tell: %.3f bits pretended, %.3f left", pretended, left)
	assert.Greater(t, pretended, 0.05)
	assert.InDelta(t, 0, left, pretended/4)

	half := func(h int) int { return h%2*outcomes/2 + rng.IntN(outcomes/2) }
	exact := -(0.7*math.Log2(0.7) + 0.3*math.Log2(0.3)) * (1 - Slip) // the entropy of a yes or no, but for slips
	_, left = mean(half)
	t.Logf("something to tell: %.3f bits left", left)
	assert.InDelta(t, exact, left, 0.12)
}
