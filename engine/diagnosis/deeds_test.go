package diagnosis_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

func choice(text string) rules.Value { return rules.Value{Kind: rules.Choice, Text: text} }

// allowed opens a job on an invented 12 V circuit and gives the tests that pass the gates.
func allowed(t *testing.T, k *diagnosis.Knowledge, complaint string, facts map[string]string) []string {
	t.Helper()
	all := map[string]rules.Value{"system_volts": {Kind: rules.Number, Number: 12}, "contact": choice("make"), "load_side": choice("ground")}
	for id, is := range facts {
		all[id] = choice(is)
	}
	c, err := k.Open(diagnosis.Opening{Complaint: complaint, Seed: 3, Facts: all})
	require.NoError(t, err)
	for i, place := range []string{"battery.positive", "socket.85", "socket.86"} { // proved, and read as dead
		volts := []float64{12.6, 0, 0}[i]
		require.NoError(t, c.Read(diagnosis.Reading{Entry: i + 1, Setup: rules.Setup{Relay: "out", Key: "off", Command: "off"},
			Answer: diagnosis.Answer{Number: &volts}, Measure: rules.Measure{Mode: rules.VoltsDC, Red: place, Black: "battery.negative"}}))
	}
	var ids []string
	for _, p := range c.Allowed() {
		ids = append(ids, p.Test.ID)
	}
	return ids
}

// A load is run for ten minutes only where it runs on command.
func TestTheHottestJointIsAskedOnlyWhereTheLoadRuns(t *testing.T) {
	k := shippedKnowledge(t)
	for complaint, runs := range map[string]bool{"dead": false, "blows_fuse": false, "chatters": false, "inverted": false,
		"weak": true, "drops_out_hot": true, "intermittent": true, "stays_on": true} {
		require.Equal(t, runs, slices.Contains(allowed(t, k, complaint, nil), "ask_hottest"), complaint)
	}
}

// The ohms range stays off the coil terminal that a module drives, and may be used on the
// other: what is proposed agrees with the caution.
func TestOhmsStayOffWhatAModuleDrives(t *testing.T) {
	k := shippedKnowledge(t)
	facts := map[string]string{"driver": "module", "control_side": "positive", "coil_positive": "86", "coil_supply": "ignition"}
	ids := allowed(t, k, "dead", facts)
	require.Contains(t, ids, "socket_85_ohms_ground", "the coil's ground")
	require.NotContains(t, ids, "socket_86_ohms_ground", "the module's output")
	facts["control_side"] = "ground"
	require.NotContains(t, allowed(t, k, "dead", facts), "socket_85_ohms_ground", "the module's output")
	facts["driver"] = "switch"
	require.Contains(t, allowed(t, k, "dead", facts), "socket_85_ohms_ground")
}
