package diagnosis_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// step is a test and what it read.
type step struct {
	test   string
	answer diagnosis.Answer
}

func volts(v float64) diagnosis.Answer { return diagnosis.Answer{Number: &v} }

// wired opens a job about a 12 V motor, all of the wiring known, and does some tests.
func wired(t *testing.T, complaint, coilSupply string, steps ...step) *diagnosis.Case {
	t.Helper()
	facts := map[string]rules.Value{"system_volts": {Kind: rules.Number, Number: 12}}
	for id, is := range map[string]string{"load_hazard": "none", "contact": "make", "control_side": "positive", "power_enters": "30", "power_leaves": "87",
		"load_side": "ground", "coil_supply": coilSupply, "coil_positive": "86", "suppression": "resistor", "feed_fuse_at": "before_relay", "driver": "switch", "load_kind": "motor"} {
		facts[id] = rules.Value{Kind: rules.Choice, Text: is}
	}
	c, err := shippedKnowledge(t).Open(diagnosis.Opening{Complaint: complaint, Facts: facts, Seed: 1})
	require.NoError(t, err)
	do(t, c, 1, steps...)
	return c
}

// do does some tests, the first of them as the entry of that number.
func do(t *testing.T, c *diagnosis.Case, entry int, steps ...step) {
	t.Helper()
	for i, s := range steps {
		allowed := c.Allowed()
		at := slices.IndexFunc(allowed, func(p diagnosis.Proposal) bool { return p.Test.ID == s.test })
		require.GreaterOrEqual(t, at, 0, "not allowed: %s", s.test)
		require.NoError(t, c.Read(diagnosis.Reading{Entry: entry + i, Test: s.test, Measure: allowed[at].Measure, Setup: allowed[at].Setup, Answer: s.answer}), s.test)
	}
}

// bracketed is a job about a load that never runs: live up to the relay, dead at the load, and
// its path to ground open. An open wire between relay and load explains that, and so do two
// opens, one on either side.
func bracketed(t *testing.T, more ...step) *diagnosis.Case {
	return wired(t, "dead", "ignition", append([]step{
		{"battery_rest_volts", volts(12.8)},
		{"feed_drop", volts(0.01)},
		{"listen_click", diagnosis.Answer{Choice: "click"}},
		{"load_volts", volts(0)},
		{"load_in_volts_on", volts(0.01)},
		{"socket_87_volts_key_off", volts(0)},
		{"socket_87_ohms_ground", diagnosis.Answer{Over: true}},
	}, more...)...)
}

// Trade practice, no source: an open is proven live at one end and dead at the other.
func TestAnOpenIsBracketedBeforeItIsProven(t *testing.T) {
	between := bracketed(t)
	assert.Nil(t, between.Conclusion(), "two opens would look like this too")

	one := bracketed(t, step{"back_87_volts", volts(12.78)}, step{"load_wire_drop", volts(12.78)})
	require.NotNil(t, one.Conclusion())
	assert.Equal(t, []string{"load_wire.open"}, one.Conclusion().Suspects)

	two := bracketed(t, step{"back_87_volts", volts(0)}, step{"load_wire_drop", volts(0)})
	for _, r := range two.Ranking() {
		if r.Suspect == "load_wire.open" {
			assert.Less(t, r.Probability, 0.5, "the wire has nothing to carry on")
		}
	}
}

// Experience, no source: a repair that makes the complaint go has mostly mended all there was.
func TestOnceTheComplaintIsGoneASoundCircuitIsExpected(t *testing.T) {
	c := bracketed(t)
	require.NoError(t, c.Repair(diagnosis.Repair{Entry: 90, Suspect: "load_wire.open", Result: "gone"}))
	ranked := c.Ranking()
	assert.Equal(t, "none.found", ranked[0].Suspect)
	assert.Greater(t, ranked[0].Probability, 0.8)
}

// Many pairs that are each unlikely are a doubt between them: nothing before the contact has been
// read yet, and it would take half a minute. Ohm's law; that it has to be read is trade practice, no source.
func TestManySmallDoubtsAreTestedToo(t *testing.T) {
	c := wired(t, "dead", "ignition",
		step{"battery_rest_volts", volts(12.8)},
		step{"feed_drop", volts(0)}, // no current, or no feed: the meter shows nothing either way
		step{"listen_click", diagnosis.Answer{Choice: "click"}},
		step{"load_volts", volts(0)},
		step{"load_in_volts_on", volts(0)},
		step{"socket_contact_pair_volts", volts(0)})
	assert.Nil(t, c.Conclusion(), "the wire to the load is open, or the feed and something after it are")
	assert.NotEmpty(t, c.Next(1))
}

// A low battery and a control that never lets go: the coil is fed uncommanded, with too few volts for
// a good battery and too many for a good control. Neither explains a reading by itself.
func TestTwoFaultsThatExplainAReadingOnlyTogether(t *testing.T) {
	c := wired(t, "stays_on", "battery",
		step{"watch_off", diagnosis.Answer{Choice: "weak"}},
		step{"back_86_volts_off", volts(9.83)},
		step{"contact_drop_off", volts(0.02)},
		step{"back_30_volts_off", volts(9.82)})
	top := c.Ranking()[0].Suspect
	assert.Contains(t, top, "control.stuck_closed", top)
	assert.Regexp(t, `^(battery.discharged|charging.under) \+ `, top, "what leaves the battery low")
}

// A new fuse that goes at once says that something draws too much: trade practice, no source.
func TestWhatTheComplaintBecameCounts(t *testing.T) {
	share := func(result, now string) float64 {
		c := wired(t, "dead", "ignition",
			step{"feed_fuse_out_volts_key_off", volts(0)},
			step{"look_feed_fuse", diagnosis.Answer{Choice: "blown"}})
		require.NoError(t, c.Repair(diagnosis.Repair{Entry: 9, Suspect: "feed_fuse.open", Result: result, Now: now}))
		sum := 0.0
		for _, r := range c.Ranking() {
			if slices.Contains([]string{"load.overcurrent", "load.shorted", "load_wire.short_to_ground", "feed_wire.short_to_ground", "tap.short", "tap.overload", "feed_fuse.wrong_rating"}, r.Suspect) {
				sum += r.Probability
			}
		}
		return sum
	}
	assert.Greater(t, share("still_there", "blows_fuse"), 0.6)
	assert.Less(t, share("still_there", ""), 0.5, "of an open path as much")
	assert.Less(t, share("changed", "stays_on"), 0.1)
}

// Trade practice, no source: where a repair left the complaint, the drop is measured again before the next part is
// condemned. What was read before spoke for the wrong one already.
func TestARepairInVainTakesANewReading(t *testing.T) {
	inVain := func(more ...step) *diagnosis.Case {
		c := wired(t, "weak", "ignition", step{"battery_loaded_volts", volts(12.5)}, step{"watch_on", diagnosis.Answer{Choice: "weak"}},
			step{"back_87_volts", volts(8.41)}, step{"relay_30_87_ohms_energised", volts(0.2)}, step{"contact_drop", volts(3.94)},
			step{"reseat_relay", diagnosis.Answer{Choice: "runs"}}, step{"look_terminal_87", diagnosis.Answer{Choice: "burnt"}})
		require.NoError(t, c.Repair(diagnosis.Repair{Entry: 20, Suspect: "terminal_30.resistive", Result: "still_there"}))
		do(t, c, 21, more...)
		return c
	}
	before := inVain()
	assert.Equal(t, "terminal_87.resistive", before.Ranking()[0].Suspect)
	assert.Nil(t, before.Conclusion())
	assert.NotEmpty(t, before.Next(1))

	same := inVain(step{"contact_drop", volts(3.9)}, step{"load_volts", volts(8.3)})
	require.NotNil(t, same.Conclusion())
	assert.Equal(t, []string{"terminal_87.resistive"}, same.Conclusion().Suspects)

	gone := inVain(step{"contact_drop", volts(0.11)})
	assert.Nil(t, gone.Conclusion())
	assert.Less(t, gone.Ranking()[0].Probability, 0.9)
}

// Trade practice, no source: what has been mended is not condemned again on the readings that had it mended, but on
// new ones that leave nothing else.
func TestWhatWasMendedIsNotCondemnedOnOldReadings(t *testing.T) {
	open := volts(682) // the resistor across it
	c := wired(t, "dead", "ignition", step{"battery_loaded_volts", volts(12.5)}, step{"listen_click", diagnosis.Answer{Choice: "silent"}},
		step{"relay_coil_ohms", open}, step{"coil_drop", volts(12.3)})
	require.NotNil(t, c.Conclusion())
	require.Equal(t, []string{"coil.open"}, c.Conclusion().Suspects)
	require.NoError(t, c.Repair(diagnosis.Repair{Entry: 20, Suspect: "coil.open", Result: "still_there"}))
	assert.Nil(t, c.Conclusion())
	do(t, c, 21, step{"battery_loaded_volts", volts(12.5)})
	assert.Nil(t, c.Conclusion(), "says nothing of it")
	do(t, c, 22, step{"relay_coil_ohms", open}, step{"coil_drop", volts(12.3)}, step{"listen_click", diagnosis.Answer{Choice: "silent"}})
	require.NotNil(t, c.Conclusion(), "the new relay's coil is open too, or it is the old relay")
	assert.Equal(t, []string{"coil.open"}, c.Conclusion().Suspects)
}
