package rank

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/circuit"
	"coilside/rules"
	"coilside/rulesets"
)

func open(t *testing.T, complaint string, draws int, seed uint64) *Belief {
	t.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	c, ok := book.Circuit("relay")
	require.True(t, ok)
	m, err := circuit.Compile(book, c)
	require.NoError(t, err)
	b, err := Open(Opening{Book: book, Model: m, Complaint: complaint, Seed: seed, Draws: draws, Wiring: map[string]string{
		"system_volts": "12", "contact": "make", "control_side": "ground", "power_enters": "30", "coil_supply": "ignition",
		"load_side": "ground", "suppression": "resistor", "coil_positive": "86", "feed_fuse_at": "before_relay", "load_kind": "lamp"}})
	require.NoError(t, err)
	return b
}

func volts(id int, red string, s rules.Setup, v float64) Reading {
	return Reading{ID: id, Measure: rules.Measure{Mode: rules.VoltsDC, Red: red, Black: circuit.Reference}, Setup: s, Answer: Answer{Number: &v}}
}

// A sharp reading leaves a small cloud hardly any particle. Renewed by degrees, it
// must still come to the evidence that a hundred times the particles give without
// any renewal: that is what importance sampling is unbiased for.
func TestSharpReadingsKeepTheEvidence(t *testing.T) {
	read := func(b *Belief) map[string]float64 {
		require.NoError(t, b.Read(volts(1, "back.87", commanded, 6.2)))
		require.NoError(t, b.Read(volts(2, "battery.positive", commanded, 12.42)))
		require.NoError(t, b.Read(volts(3, "load.in", commanded, 6.15)))
		out := map[string]float64{}
		for _, h := range b.hyps {
			for _, g := range h.gained {
				out[h.ID()] += g
			}
		}
		return out
	}
	const plenty, seeds = 8000, 8
	truth := read(open(t, "weak", plenty, 1))
	off := map[string]float64{}
	for seed := uint64(1); seed <= seeds; seed++ {
		for id, log := range read(open(t, "weak", DefaultDraws, seed)) {
			off[id] += math.Abs(log-truth[id]) / seeds
		}
	}
	for _, id := range []string{"feed_wire.resistive", "contact.resistive", "terminal_30.resistive", "terminal_87.resistive"} {
		t.Logf("%s: log evidence %.2f, off by %.2f on average over %d seeds", id, truth[id], off[id], seeds)
		assert.Less(t, off[id], 0.8, id)
	}
}

// Resampling copies each particle in proportion to its weight, to within one.
func TestResampleFollowsTheWeights(t *testing.T) {
	b := open(t, "dead", DefaultDraws, 7)
	for _, h := range b.hyps[:8] {
		c := h.cloud
		weights := make([]float64, len(c.particles))
		for i := range c.particles {
			c.particles[i].total = float64(i) // a tag that the copy keeps
			c.logw[i] = math.Log(float64(1 + (i*37)%11))
		}
		copy(weights, normalWeights(c.logw))
		b.resample(c)
		count := make([]float64, len(weights))
		for i := range c.particles {
			count[int(c.particles[i].total)]++
			assert.Zero(t, c.logw[i])
		}
		for i, w := range weights {
			assert.LessOrEqual(t, math.Abs(count[i]-w*float64(len(weights))), 1.0, "%s particle %d", h.ID(), i)
		}
	}
}

// Suspects that sit in one path and are electrically the same stay exactly tied by
// readings, however sharp: no luck of the draw tells them apart.
func TestElectricalTwinsStayTied(t *testing.T) {
	for seed := uint64(1); seed <= 5; seed++ {
		b := open(t, "dead", DefaultDraws, seed)
		require.NoError(t, b.Read(volts(1, "back.86", commanded, 12.31)))
		require.NoError(t, b.Read(volts(2, "back.85", commanded, 0.02)))
		require.NoError(t, b.Read(Reading{ID: 3, Measure: rules.Measure{Mode: rules.Listen}, Setup: commanded, Answer: Answer{Choice: "silent"}}))
		var x, y *Hypothesis
		for _, h := range b.hyps {
			switch h.ID() {
			case "terminal_85.resistive":
				x = h
			case "terminal_86.resistive":
				y = h
			}
		}
		assert.InDelta(t, x.log, y.log, 1e-6, "seed %d", seed)
	}
}

// Where only some forms of a suspect are left, they are weighed by themselves.
func TestRestrictedToSomeForms(t *testing.T) {
	b := open(t, "dead", DefaultDraws, 7)
	var left []*Hypothesis
	for _, h := range b.hyps {
		if len(h.forms) > 1 {
			left = append(left, h.forms[1:]...)
		}
	}
	require.NotEmpty(t, left)
	b.restrict(left)
	b.normalise()
	require.NoError(t, b.Read(volts(1, "battery.positive", commanded, 12.4)))
	sum := 0.0
	for _, h := range b.Ranking() {
		sum += h.Probability()
	}
	assert.InDelta(t, 1, sum, 1e-9)
}

// A pair that does well with few particles is weighed with many, one that does not is left with few.
func TestOnlyPairsThatDoWellGetManyParticles(t *testing.T) {
	const draws = growBelow - 2 // so few that every reading calls for more of a cloud that may have them
	b := open(t, "dead", draws, 5)
	b.paired = never // the pairs are added below
	require.NoError(t, b.Read(volts(1, "socket.30", rules.Setup{Relay: "out", Key: "on", Command: "on"}, 0.02)))
	require.NoError(t, b.Read(volts(2, "socket.86", rules.Setup{Relay: "out", Key: "on", Command: "on"}, 0.01)))
	require.NoError(t, b.Read(volts(3, "battery.positive", commanded, 12.5)))
	b.paired = 0
	b.consider()
	many, few := 0, 0
	for _, h := range b.hyps {
		if len(h.Suspects) < 2 {
			continue
		}
		assert.Len(t, h.gained, 3, h.ID())
		if h.cloud.generation == 0 && len(h.cloud.particles) == draws {
			few++
			continue
		}
		many++
	}
	t.Logf("%d pairs with many, %d with few", many, few)
	assert.NotZero(t, few)
	assert.NotZero(t, many)
	var pairs float64
	for _, h := range b.Ranking() {
		if len(h.Suspects) == 2 {
			pairs += h.Probability()
		}
	}
	assert.Greater(t, pairs, 0.1, "both paths are dead at the socket and the battery is good")
}
