package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// Where the complaint comes and goes, a place that a sound circuit has live is not a
// place for the ohms range, though it reads dead now: a breaker that resets itself
// makes it live again with the leads on it. Practice, no source.
func TestADeadPlaceThatMayComeBackIsNotForOhms(t *testing.T) {
	k := shippedKnowledge(t)
	off := rules.Setup{Relay: "out", Key: "off", Command: "off"}
	read := func(complaint string) *diagnosis.Case {
		c, err := k.Open(diagnosis.Opening{Complaint: complaint, Seed: 5, Facts: map[string]rules.Value{
			"system_volts": {Kind: rules.Number, Number: 12}, "feed_fuse_at": {Kind: rules.Choice, Text: "before_relay"},
			"load_side": {Kind: rules.Choice, Text: "ground"}}})
		require.NoError(t, err)
		for i, r := range []struct {
			red   string
			volts float64
		}{{"battery.positive", 12.6}, {"feed_fuse.in", 12.6}, {"feed_fuse.out", 0}} {
			require.NoError(t, c.Read(diagnosis.Reading{Entry: i + 1, Setup: off, Answer: diagnosis.Answer{Number: &r.volts},
				Measure: rules.Measure{Mode: rules.VoltsDC, Red: r.red, Black: "battery.negative"}}))
		}
		return c
	}
	ohms := rules.Measure{Mode: rules.Ohms, Red: "feed_fuse.out", Black: "battery.negative"}
	require.Contains(t, read("intermittent").OhmsSafe(ohms, off), "comes and goes")
	require.Empty(t, read("blows_fuse").OhmsSafe(ohms, off))
}
