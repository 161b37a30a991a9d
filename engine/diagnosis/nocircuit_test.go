package diagnosis_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// A rulebook without any circuit asks, ranks and concludes by its rules and
// hand-given likelihoods alone.

func lift(t *testing.T) *diagnosis.Knowledge {
	t.Helper()
	k := compile(t, rules.Layer{Name: "lift", FS: os.DirFS("../../testdata/nocircuit")})
	require.Nil(t, k.Model())
	return k
}

var liftFacts = map[string]string{"rated_volts": "4.5", "mounting": "outdoors"}

// truth is what each test reads on a table with one thing wrong with it.
var liftTruth = map[string]map[string]string{
	"oil.low":        {"oil_level": "low", "noise": "quiet", "pressure": "3.7", "valve_ohms": "24.3", "sensor_rest": "0.5", "rises": "weak"},
	"filter.blocked": {"oil_level": "full", "noise": "whines", "pressure": "3.4", "valve_ohms": "23.9", "sensor_rest": "0.49", "rises": "weak"},
	"pump.worn":      {"oil_level": "full", "noise": "whines", "pressure": "1.4", "valve_ohms": "24.6", "sensor_rest": "0.52", "rises": "weak"},
	"valve.leaking":  {"oil_level": "full", "noise": "quiet", "pressure": "1.1", "valve_ohms": "9.5", "sensor_rest": "0.5", "rises": "weak"},
	"sensor.drifted": {"oil_level": "full", "noise": "quiet", "pressure": "4.6", "valve_ohms": "24.1", "sensor_rest": "1.3", "rises": "weak"},
}

func TestWithoutCircuitTheFaultIsFound(t *testing.T) {
	k := lift(t)
	for truth, reads := range liftTruth {
		t.Run(truth, func(t *testing.T) {
			c := opened(t, k, "slow", liftFacts, 3)
			require.Nil(t, c.Conclusion())
			asked := 0
			for c.Conclusion() == nil {
				next := c.Next(0)
				require.NotEmpty(t, next)
				for _, p := range next {
					assert.NotEqual(t, "strip_pump", p.Test.ID, "a rule forbids it")
					assert.NotEmpty(t, p.Say)
				}
				outcomes := 0.0
				for _, o := range next[0].Outcomes {
					outcomes += o.Probability
				}
				assert.Greater(t, outcomes, 0.6, "what %s may come to", next[0].Test.ID)
				asked++
				read(t, c, asked, taken{Test: next[0].Test.ID, Answer: reads[next[0].Test.ID]})
				lead(t, c)
			}
			assert.Equal(t, []string{truth}, c.Conclusion().Suspects, "after %d tests", asked)
			assert.NotEmpty(t, c.Conclusion().Proof)
			s, _ := k.Book().Suspect(truth)
			assert.Equal(t, []string{s.Repair.Do}, c.Conclusion().Repair)
			assert.Contains(t, c.Cautions(), "Dirt kills an open pump: leave it closed outdoors.")
			assert.Equal(t, truth == "pump.worn", len(c.Advice()) > 0, "the late rule fires for the pump alone")
		})
	}
}

// Rules weigh in beside the figures, are told apart in the reasons, and go when
// what they stood on goes.
func TestWithoutCircuitRulesCount(t *testing.T) {
	k := lift(t)
	c := opened(t, k, "slow", liftFacts, 3)
	before := c.Probability("pump.worn")
	assert.InDelta(t, 3.0/15, before, 1e-9, "the complaint's own table")
	require.NoError(t, c.Tell(1, "hours", rules.NumberValue(90000)))
	assert.InDelta(t, 3.0*4/(15-6+6*4), c.Probability("pump.worn"), 1e-9)
	worn, err := c.Explain("pump.worn")
	require.NoError(t, err)
	require.NotEmpty(t, worn.Reasons)
	assert.Equal(t, "neglect_wears", worn.Reasons[0].Rule)

	require.NoError(t, c.Retract(1))
	assert.InDelta(t, before, c.Probability("pump.worn"), 1e-9)
}

// A rule that speaks on a reading takes the word from the figures: of this reading
// the suspect has the field's likelihood, and the rule's odds.
func TestWithoutCircuitRulesOverrule(t *testing.T) {
	c := opened(t, lift(t), "slow", liftFacts, 3)
	odds := func(p float64) float64 { return p / (1 - p) }
	before := c.Probability("pump.worn")
	read(t, c, 1, taken{Test: "noise", Answer: "knocks"})
	assert.InEpsilon(t, 20*odds(before), odds(c.Probability("pump.worn")), 1e-9)
	require.NoError(t, c.Retract(1))
	assert.InDelta(t, before, c.Probability("pump.worn"), 1e-12)
}

// Rules that speak on a reading for every suspect leave it nothing to say itself.
func TestRulesMaySpeakForAll(t *testing.T) {
	shop := `
rules:
  - id: quiet_says_little
    when: noise == "quiet"
    then:
      - {do: weigh, suspects: ["*"], by: 2}
    because: This pump is loud whatever it has.
`
	k := compile(t, rules.Layer{Name: "lift", FS: os.DirFS("../../testdata/nocircuit")}, rules.Layer{Name: "shop", FS: oneFile(shop)})
	c := opened(t, k, "slow", liftFacts, 3)
	before := c.Ranking()
	read(t, c, 1, taken{Test: "noise", Answer: "quiet"})
	for i, r := range c.Ranking() {
		assert.InDelta(t, before[i].Probability, r.Probability, 1e-9, r.Suspect)
	}
}

// The figure of a test may lean on a fact: without it the test tells that suspect
// from others only as far as theirs do, and with it at once.
func TestFiguresLeanOnFacts(t *testing.T) {
	k := lift(t)
	c := opened(t, k, "slow", nil, 3)
	read(t, c, 1, taken{Test: "pressure", Answer: "3.6"})
	unknown := c.Probability("filter.blocked") + c.Probability("oil.low")
	require.NoError(t, c.Tell(2, "rated_volts", rules.NumberValue(4.5)))
	fits := c.Probability("filter.blocked") + c.Probability("oil.low")
	assert.Greater(t, fits, unknown)
	require.NoError(t, c.Tell(3, "rated_volts", rules.NumberValue(2)))
	assert.Less(t, c.Probability("filter.blocked")+c.Probability("oil.low"), fits/2)
	require.NoError(t, c.Retract(3))
	require.NoError(t, c.Retract(2))
	assert.InDelta(t, unknown, c.Probability("filter.blocked")+c.Probability("oil.low"), 1e-12)
}

// What no circuit covers can stand beside one: a shop adds a suspect and a test
// with figures to the shipped rulebook, at a place that no circuit has.
func TestFiguresBesideACircuit(t *testing.T) {
	shop := `
suspects:
  - id: fan.clogged
    words: the fan is full of leaves
    prior: 3
    repair: {do: "Clear the fan."}
tests:
  - id: fan_sensor
    words: volts of the fan's speed sensor
    measure: {mode: volts_dc, red: fan_sensor.signal, black: fan_sensor.ground}
    setup: {relay: in, key: on, command: on}
    say: "Command the fan on. Read the volts of its speed sensor."
    expect:
      - {suspects: [fan.clogged], number: {even: [0.2, 1]}}
      - {suspects: [load.open, feed_fuse.open], number: 0}
`
	k := compile(t, rules.Layer{Name: "relay", FS: relayFiles()}, rules.Layer{Name: "shop", FS: oneFile(shop)})
	c := opened(t, k, "dead", nil, 3)
	offered := gains(c)
	assert.Greater(t, offered["fan_sensor"], 0.02)
	before := map[string]float64{}
	for _, id := range []string{"fan.clogged", "load.open", "feed_fuse.open", "coil.open", "control.open"} {
		before[id] = c.Probability(id)
	}
	read(t, c, 1, taken{Test: "fan_sensor", Answer: "0.6"})
	assert.Greater(t, c.Probability("fan.clogged"), 10*before["fan.clogged"])
	assert.Less(t, c.Probability("load.open"), before["load.open"])
	assert.InEpsilon(t, before["coil.open"]/before["control.open"], c.Probability("coil.open")/c.Probability("control.open"), 1e-9,
		"suspects that the figures do not name keep their odds")
}
