package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// bracketed is a job about a load that never runs: live up to the relay, dead at the load, and
// its path to ground open. An open wire between relay and load explains that, and so do two
// opens, one on either side.
func bracketed(t *testing.T, more map[string]diagnosis.Answer) *diagnosis.Case {
	t.Helper()
	facts := map[string]rules.Value{"system_volts": {Kind: rules.Number, Number: 12}}
	for id, is := range map[string]string{"load_hazard": "none", "contact": "make", "control_side": "positive", "power_enters": "30", "power_leaves": "87",
		"load_side": "ground", "coil_supply": "ignition", "coil_positive": "86", "suppression": "resistor", "feed_fuse_at": "before_relay", "driver": "switch", "load_kind": "motor"} {
		facts[id] = rules.Value{Kind: rules.Choice, Text: is}
	}
	c, err := shippedKnowledge(t).Open(diagnosis.Opening{Complaint: "dead", Facts: facts, Seed: 1})
	require.NoError(t, err)
	entry := 0
	read := func(test string, a diagnosis.Answer) {
		entry++
		for _, p := range c.Allowed() {
			if p.Test.ID == test {
				require.NoError(t, c.Read(diagnosis.Reading{Entry: entry, Test: test, Measure: p.Measure, Setup: p.Setup, Answer: a}), test)
				return
			}
		}
		require.Fail(t, "not allowed", test)
	}
	volts := func(v float64) diagnosis.Answer { return diagnosis.Answer{Number: &v} }
	read("battery_rest_volts", volts(12.8))
	read("feed_drop", volts(0.01))
	read("listen_click", diagnosis.Answer{Choice: "click"})
	read("load_volts", volts(0))
	read("load_in_volts_on", volts(0.01))
	read("socket_87_volts_key_off", volts(0))
	read("socket_87_ohms_ground", diagnosis.Answer{Over: true})
	for _, test := range []string{"back_87_volts", "load_wire_drop"} {
		if a, ok := more[test]; ok {
			read(test, a)
		}
	}
	return c
}

// Trade practice, no source: an open is proven live at one end and dead at the other.
func TestAnOpenIsBracketedBeforeItIsProven(t *testing.T) {
	between := bracketed(t, nil)
	assert.Nil(t, between.Conclusion(), "two opens would look like this too")

	live, dead := 12.78, 0.0
	one := bracketed(t, map[string]diagnosis.Answer{"back_87_volts": {Number: &live}, "load_wire_drop": {Number: &live}})
	require.NotNil(t, one.Conclusion())
	assert.Equal(t, []string{"load_wire.open"}, one.Conclusion().Suspects)

	two := bracketed(t, map[string]diagnosis.Answer{"back_87_volts": {Number: &dead}, "load_wire_drop": {Number: &dead}})
	for _, r := range two.Ranking() {
		if r.Suspect == "load_wire.open" {
			assert.Less(t, r.Probability, 0.5, "the wire has nothing to carry on")
		}
	}
}

// Experience, no source: a repair that makes the complaint go has mostly mended all there was.
func TestOnceTheComplaintIsGoneASoundCircuitIsExpected(t *testing.T) {
	c := bracketed(t, nil)
	require.NoError(t, c.Repair(diagnosis.Repair{Entry: 90, Suspect: "load_wire.open", Result: "gone"}))
	ranked := c.Ranking()
	assert.Equal(t, "none.found", ranked[0].Suspect)
	assert.Greater(t, ranked[0].Probability, 0.8)
}
