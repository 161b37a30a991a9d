package rank

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

func lookAt(t *testing.T, b *Belief, test, sees string) Reading {
	t.Helper()
	look, ok := b.book.Test(test)
	require.True(t, ok, test)
	return Reading{ID: 1, Measure: look.Measure, Setup: look.Setup, Test: look, Answer: Answer{Choice: sees}}
}

// A second fault elsewhere makes a bad joint look no better.
func TestFiguresForOneOfTwoCountForBoth(t *testing.T) {
	b := open(t, "weak", DefaultDraws, 1)
	m, err := b.measurement(lookAt(t, b, "look_terminal_30", "sound"))
	require.NoError(t, err)
	one := b.foretold(m, []string{"terminal_30.resistive"})
	assert.InDelta(t, one, b.foretold(m, []string{"terminal_30.resistive", "load_ground.resistive"}), 1e-12)
	assert.InDelta(t, one, b.foretold(m, []string{"load_ground.resistive", "terminal_30.resistive"}), 1e-12)
	assert.Greater(t, b.foretold(m, []string{"load_ground.resistive", "feed_wire.resistive"}), one)
}

// A joint that looked burnt and was mended, with the complaint still there, was bad all the same: what else may be
// wrong must reckon with it. By Bayes' rule from the test's own figures.
func TestWhatWasSeenSpeaksForWhatWasMended(t *testing.T) {
	b := open(t, "", DefaultDraws, 1)
	const there = 0.5
	b, err := Open(Opening{Book: b.book, Model: b.model, Seed: 1, Wiring: map[string]string{"system_volts": "12", "contact": "make", "power_enters": "30"},
		Repaired: []Repaired{{Suspect: "terminal_30.resistive", Was: []Was{{Suspect: "terminal_30.resistive", Probability: there}}, Complains: true}}})
	require.NoError(t, err)
	look := lookAt(t, b, "look_terminal_30", "burnt")
	seen := func(suspect string) float64 {
		return (1-Slip)*Expected(look.Test, suspect, "burnt") + Slip/float64(len(Choices(rules.Look)))
	}
	bad, good := there*seen("terminal_30.resistive"), (1-there)*seen("load_ground.resistive")
	require.NoError(t, b.Read(look))
	for _, h := range b.hyps {
		if h.ID() != "load_ground.resistive" {
			continue
		}
		was := 0.0
		for i, w := range normalWeights(h.cloud.logw) {
			if len(h.cloud.particles[i].epochs[0].faults) > len(h.faults) {
				was += w
			}
		}
		assert.InDelta(t, bad/(bad+good), was, 0.06)
	}
}
