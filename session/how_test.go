package session

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// Whoever does not know how a test is done is told in steps, and what it would tell; whoever
// has a question to answer first is asked that again. Nothing is written.
func TestHowATestIsDone(t *testing.T) {
	c, first := talking(t, plough())
	require.NotNil(t, first.Next)
	for _, text := range []string{"how do I do that", "how?", "explain that", "what do you mean", "show me how", "I don't understand"} {
		r := c.say(text)
		require.Empty(t, r.Entries, text)
		require.Contains(t, r.Text, first.Next.Say, text)
		require.Contains(t, r.Text, "\n- ", text)
		require.Contains(t, r.Text, "What it would tell:", text)
		require.NotContains(t, r.Text, "Next: ", text, "it is not said twice")
		for _, lead := range first.Next.Leads {
			require.Contains(t, r.Text, lead.Words, text)
		}
		require.LessOrEqual(t, len(strings.Fields(r.Speech)), 2*mostSpoken, r.Speech)
	}
	asked := c.say("300 millis on the ground")
	require.NotNil(t, asked.Question)
	require.Equal(t, asked.Question, c.say("how?").Question)
	require.Len(t, c.log(), 1)
}

// "Ok" and "hang on" are heard, and are nothing that a load did; what was asked back is asked again.
func TestOkIsNoReading(t *testing.T) {
	c, first := talking(t, OpenRequest{Complaint: "stays_on", Circuit: CircuitSpec{Contact: "make", SystemVolts: number(12)}})
	for _, text := range []string{"ok", "hang on", "doing it now", "two minutes", "ok will do"} {
		r := c.say(text)
		require.Empty(t, r.Entries, text)
		require.Contains(t, r.Text, "Take your time.", text)
		require.Equal(t, first.Next.ID, r.Next.ID, text)
	}
	asked := c.say("300 millis on the ground")
	require.Equal(t, asked.Question, c.say("ok").Question)
}

// A correction that changes nothing is said to be none.
func TestACorrectionThatChangesNothing(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("24.4 at 30, relay out, key on, switched on")
	r := c.say("the key was on")
	require.Empty(t, r.Entries)
	require.Contains(t, r.Text, "kept like that already")
}

// Every step that a shipped test calls for has a row, with its setup before its leads and
// the load last of all; a question in words has no steps.
func TestEveryStepIsDescribed(t *testing.T) {
	c, _ := talking(t, plough())
	j, unlock, err := c.s.lockDiagnosis(t.Context(), c.job)
	require.NoError(t, err)
	defer unlock()
	for _, test := range j.base.book.Tests {
		steps := j.steps(test.Measure, test.Setup)
		if test.Measure.Mode == rules.Ask {
			assert.Empty(t, steps, test.ID)
			continue
		}
		rows := append(relaySteps(test.Measure, test.Setup), toolOf(test.Measure))
		rows = append(rows, j.stateSteps(test.Setup)...)
		if test.Measure.During != "" {
			rows = append(rows, test.Measure.During)
		}
		for _, row := range rows {
			assert.Contains(t, steps, j.method(row), "%s: %s", test.ID, row)
		}
		if on := j.method("command_on"); test.Setup.Command == "on" && test.Setup.Heat == "" && test.Measure.During == "" && test.Measure.Mode != rules.Bridge && test.Setup.Relay != "bench" {
			assert.Equal(t, on, steps[len(steps)-1], test.ID)
		}
	}
}
