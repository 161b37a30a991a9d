package diagnosis_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/engine/rank"
)

// What the literature on diagnosis has worked out, played from a rulebook. The
// exact figures, of readings that never slip, are checked beside the worth of a
// test (engine/choose); here a reading is wrong with the chance rank.Slip, and the
// figures may differ by what that explains, no more.

func bits(c *diagnosis.Case) float64 {
	sum := 0.0
	for _, r := range c.Ranking() {
		if r.Probability > 0 {
			sum -= r.Probability * math.Log2(r.Probability)
		}
	}
	return sum
}

// gains are what the tests on offer are worth, by id.
func gains(c *diagnosis.Case) map[string]float64 {
	out := map[string]float64{}
	for _, p := range c.Next(0) {
		out[p.Test.ID] = p.Gain
	}
	return out
}

// De Kleer and Williams 1987, three multipliers and two adders.
func TestMultipliersAndAdders(t *testing.T) {
	k := knowledge(t, "polybox.yaml")
	posterior := map[string]float64{"m1.bad": 0.495, "a1.bad": 0.495, "m2_m3.bad": 0.005, "m2_a2.bad": 0.005}
	symptoms := func() *diagnosis.Case {
		c := opened(t, k, "", nil, 7)
		read(t, c, 1, taken{Test: "probe_f", Answer: "10"})
		read(t, c, 2, taken{Test: "probe_g", Answer: "12"})
		return c
	}
	c := symptoms()
	for _, r := range c.Ranking() {
		assert.InDelta(t, posterior[r.Suspect], r.Probability, 1e-9, r.Suspect)
	}
	assert.InDelta(t, 1.0808, bits(c), 0.00005)

	// One slip among n likely outcomes costs at most its own entropy and log2 n.
	slips := -rank.Slip*math.Log2(rank.Slip) - (1-rank.Slip)*math.Log2(1-rank.Slip) + rank.Slip
	worth := gains(c)
	next := c.Next(1)
	require.Len(t, next, 1)
	assert.Equal(t, "probe_x", next[0].Test.ID)
	for test, left := range map[string]float64{"probe_x": 0.0809, "probe_y": 1.0000, "probe_z": 1.0354} {
		exact := 1.0808 - left
		assert.LessOrEqual(t, worth[test], exact+0.0001, test)
		assert.Greater(t, worth[test], exact-slips, test)
	}

	read(t, c, 3, taken{Test: "probe_x", Answer: "4"})
	assert.Equal(t, "m1.bad", lead(t, c).Suspect)
	assert.Greater(t, c.Probability("m1.bad"), 1-rank.Slip)
	require.NotNil(t, c.Conclusion())
	assert.Equal(t, []string{"m1.bad"}, c.Conclusion().Suspects)

	c = symptoms()
	read(t, c, 3, taken{Test: "probe_x", Answer: "6"})
	assert.Equal(t, "a1.bad", lead(t, c).Suspect)
	assert.InDelta(t, 0.495/0.505, c.Probability("a1.bad"), rank.Slip)
	// The pairs are as good by the readings: Y tells both from the adder, Z one of
	// them, and by the readings alone either order takes the same tests on average.
	for entry := 4; c.Conclusion() == nil && entry < 6; entry++ {
		require.NotEmpty(t, c.Next(1))
		read(t, c, entry, taken{Test: c.Next(1)[0].Test.ID, Answer: "6"})
	}
	require.NotNil(t, c.Conclusion())
	assert.Equal(t, []string{"a1.bad"}, c.Conclusion().Suspects)

	c = symptoms()
	read(t, c, 3, taken{Test: "probe_x", Answer: "6"})
	read(t, c, 4, taken{Test: "probe_y", Answer: "4"})
	read(t, c, 5, taken{Test: "probe_z", Answer: "8"})
	assert.Equal(t, "m2_m3.bad", lead(t, c).Suspect)
}
