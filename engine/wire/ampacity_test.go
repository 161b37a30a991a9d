package wire

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
)

// 33 CFR 183.425 table 5, 105 °C insulation: outside and inside the engine space.
// Outside is the table as shipped; inside follows from the temperatures.
func TestAmpacityOutsideAndInsideTheEngineSpace(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	copper, err := readCopper(book)
	require.NoError(t, err)
	sizes, err := awgSizes(book, 105, copper)
	require.NoError(t, err)
	for _, c := range []struct {
		awg             string
		outside, inside float64
	}{
		{"18", 20, 17}, {"16", 25, 21}, {"14", 35, 30}, {"12", 45, 38}, {"10", 60, 51}, {"8", 80, 68}, {"6", 120, 102}, {"4", 160, 136}, {"2", 210, 178}, {"1/0", 285, 242},
	} {
		s, ok := pick(sizes, func(s size) bool { return s.name == c.awg })
		require.True(t, ok, c.awg)
		assert.InDelta(t, c.outside, s.amps, 0, c.awg)
		assert.InDelta(t, c.inside, s.amps*warmth(105, 50, 30), 0.01*c.inside+0.3, c.awg)
	}
}

// Metric wires lie between the AWG sizes around them, and a wire of an AWG's own
// cross-section carries just what that does.
func TestMetricWiresCarryWhatTheirNeighboursDo(t *testing.T) {
	known := []size{{area: 1, amps: 10}, {area: 4, amps: 40}, {area: 9, amps: 60}}
	for area, amps := range map[float64]float64{1: 10, 2: 20, 4: 40, 6: 48.99, 9: 60} {
		assert.InDelta(t, amps, carries(known, area), 0.01)
	}
}
