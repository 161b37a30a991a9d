package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// Jobs that an examiner who knew nothing of how the ranking works put to it. All are invented; what they show is trade
// practice, no source.

// told opens a job with all of a 12 V wiring known but for what is given, and takes in readings.
func told(t *testing.T, complaint string, wiring map[string]string, readings ...diagnosis.Reading) *diagnosis.Case {
	t.Helper()
	facts := map[string]rules.Value{"system_volts": {Kind: rules.Number, Number: 12}, "load_amps": {Kind: rules.Number, Number: 10}}
	is := map[string]string{"load_hazard": "none", "contact": "make", "control_side": "ground", "power_enters": "30", "power_leaves": "87", "load_side": "ground",
		"coil_supply": "ignition", "coil_positive": "86", "suppression": "none", "feed_fuse_at": "before_relay", "driver": "switch", "load_kind": "motor"}
	for id, choice := range wiring {
		is[id] = choice
	}
	for id, choice := range is {
		facts[id] = rules.Value{Kind: rules.Choice, Text: choice}
	}
	c, err := shippedKnowledge(t).Open(diagnosis.Opening{Complaint: complaint, Facts: facts, Seed: 1})
	require.NoError(t, err)
	for i, r := range readings {
		r.Entry = i + 1
		require.NoError(t, c.Read(r))
	}
	return c
}

var (
	relayIn  = rules.Setup{Relay: "in", Key: "on", Command: "on"}
	relayOut = rules.Setup{Relay: "out", Key: "on", Command: "on"}
)

func at(place string, s rules.Setup, v float64) diagnosis.Reading {
	return diagnosis.Reading{Measure: rules.Measure{Mode: rules.VoltsDC, Red: place, Black: "battery.negative"}, Setup: s, Answer: volts(v)}
}

func clamped(s rules.Setup, amps float64) diagnosis.Reading {
	return diagnosis.Reading{Measure: rules.Measure{Mode: rules.AmpsDC, At: "feed_fuse", How: "clamp"}, Setup: s, Answer: volts(amps)}
}

func saw(mode rules.Mode, s rules.Setup, choice string) diagnosis.Reading {
	return diagnosis.Reading{Measure: rules.Measure{Mode: mode}, Setup: s, Answer: diagnosis.Answer{Choice: choice}}
}

// A fuse that carries less than twice its rating holds long enough to be measured.
func TestTwiceTheLoadsCurrentIsSeenBeforeTheFuseGoes(t *testing.T) {
	c := told(t, "blows_fuse", nil, clamped(relayIn, 22))
	assert.Greater(t, c.Probability("load.overcurrent"), 0.8)
}

// With the relay out nothing blows the new fuse of a coil whose relay is shorted inside.
func TestANewFuseIsLiveWithTheRelayOut(t *testing.T) {
	shorted := func(c *diagnosis.Case) float64 {
		return c.Probability("suppressor.shorted") + c.Probability("suppressor.reversed")
	}
	diode := map[string]string{"suppression": "diode"}
	before := []diagnosis.Reading{at("feed_fuse.out", relayIn, 12.6), saw(rules.Listen, relayIn, "silent"), at("coil_fuse.out", relayIn, 0)}
	assert.Greater(t, shorted(told(t, "blows_fuse", diode, append(before, at("coil_fuse.out", relayOut, 12.6))...)), 0.95)
	assert.Greater(t, shorted(told(t, "blows_fuse", diode, append(before, at("coil_fuse.out", relayOut, 0))...)), 0.5, "the old one may still be in")
}

// A transistor keeps up to a volt for itself; a switch does not.
func TestADriverKeepsSomeVolts(t *testing.T) {
	read := []diagnosis.Reading{at("back.85", relayIn, 0.6), at("control.in", relayIn, 0.6)}
	assert.Less(t, told(t, "dead", map[string]string{"driver": "module"}, read...).Probability("shared_ground.resistive"), 0.1)
	assert.Greater(t, told(t, "dead", map[string]string{"driver": "switch"}, read...).Probability("shared_ground.resistive"), 0.5)
}

// The coil's own lead from the battery may leave it before the splice of the load's feed or after it.
func TestALiveCoilDoesNotClearTheSplice(t *testing.T) {
	c := told(t, "weak", map[string]string{"coil_supply": "battery"}, at("battery.positive", relayIn, 12.5), at("back.30", relayIn, 5), at("feed_fuse.out", relayIn, 5.1),
		at("coil_fuse.in", relayIn, 12.5), at("feed_fuse.in", relayIn, 5.15))
	assert.Equal(t, "feed_splice.resistive", c.Ranking()[0].Suspect)
	assert.Greater(t, c.Ranking()[0].Probability, 0.75)
}

// A weld may let go as the relay is pulled: the bench does not clear the contact.
func TestAWeldMayLetGo(t *testing.T) {
	off := rules.Setup{Relay: "in", Key: "on", Command: "off"}
	bench := diagnosis.Reading{Measure: rules.Measure{Mode: rules.Ohms, Red: "relay.30", Black: "relay.87"}, Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "rest"},
		Answer: diagnosis.Answer{Over: true}}
	coil := at("back.86", off, 0)
	coil.Measure.Black = "back.85"
	c := told(t, "stays_on", nil, coil, at("back.87", off, 12.4), saw(rules.Watch, off, "runs"), bench, saw(rules.Watch, off, "off"), saw(rules.Listen, relayIn, "click"))
	assert.Equal(t, "contact.welded", c.Ranking()[0].Suspect)
	assert.Greater(t, c.Ranking()[0].Probability, 0.9)
}

// To command a load is to ask it to run, also where it runs while the relay is at rest.
func TestACommandAsksTheLoadToRun(t *testing.T) {
	byRest := map[string]string{"contact": "break", "power_leaves": "87a"}
	c := told(t, "dead", byRest)
	for command, want := range map[string]string{"on": "runs", "off": "off"} {
		is, ok := c.Predict(rules.Measure{Mode: rules.Watch}, rules.Setup{Relay: "in", Key: "on", Command: command}, "none.found")
		require.True(t, ok)
		assert.Equal(t, want, is.Choice, "commanded %s", command)
	}
}
