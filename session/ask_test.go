package session

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/quantity"
	"coilside/engine/wire"
)

func askJob(t testing.TB, s *Service, labels string) string {
	t.Helper()
	return opened(t, s, OpenRequest{Complaint: "dead", Circuit: CircuitSpec{Contact: "changeover", ControlSide: "ground", PowerEnters: "30", LoadOn: "87", Labels: labels,
		SystemVolts: number(12), Load: LoadSpec{Kind: "lamp", Moves: new(bool)}, CoilPositive: "86", Suppression: "none", CoilSupply: "ignition", CoilOhms: number(85)}}).Job
}

// Questions in passing are answered by the job's computations, and nothing is written.
func TestQuestionsInPassing(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := askJob(t, s, "en")
	told(t, s, job, volts("battery.positive", "battery.negative"), in12, Answer{Number: number(12.6)})
	before, err := s.Show(t.Context(), JobRequest{job})
	require.NoError(t, err)
	ask := func(text string) Asked {
		a, err := s.Ask(t.Context(), AskRequest{Job: job, Text: text})
		require.NoError(t, err, text)
		t.Logf("%s\n%s", text, a.Text)
		return a
	}

	// Coil 85 ohms at 20 °C, drawn between 10 and 70 °C with a tolerance of 17 %: 107 can be a
	// sound warm coil, 170 cannot.
	a := ask("is 107 ohms all right?")
	require.NotNil(t, a.Fits)
	assert.True(t, *a.Fits, a.Text)
	assert.Equal(t, "relay.86", a.Measure.Red)
	assert.Contains(t, a.Text, "hot coil reads more")
	a = ask("is 170 ohms between 85 and 86 ok?")
	assert.False(t, *a.Fits, a.Text)
	assert.Contains(t, a.Text, "coil has too much resistance")

	a = ask("is that ok?") // the last number that was read
	assert.True(t, *a.Fits, a.Text)
	assert.Equal(t, "battery.positive", a.Measure.Red)

	a = ask("what should 87 read now?") // as the vehicle stands: relay in, key on, commanded on
	assert.Equal(t, "back.87", a.Measure.Red)
	assert.Contains(t, a.Expected, "12.")
	a = ask("what should I see at 87, relay out, key on, switched on?")
	assert.Equal(t, "socket.87", a.Measure.Red)
	assert.Equal(t, "out", a.Setup.Relay)
	assert.Equal(t, "about 0 V", a.Expected, "nothing feeds the load's cavity while the relay is out")

	a = ask("what does 12 do?") // by the job's own marks
	assert.Equal(t, "87a", a.Terminal)
	assert.Contains(t, a.Text, "rest contact")
	assert.Contains(t, a.Text, "marked 11", "30 by its mark")
	assert.Contains(t, a.Text, "not used")

	a = ask("what wire for 15 amps over 6 metres?")
	sizing, err := wire.Size(book(t), wire.Run{Amps: (*quantity.Amps)(number(15)), Length: (*quantity.Metres)(number(6)), SystemVolts: (*quantity.Volts)(number(12)), LoadKind: "lamp"})
	require.NoError(t, err)
	assert.Contains(t, a.Text, sizing.Text, "the calculator's own answer")

	after, err := s.Show(t.Context(), JobRequest{job})
	require.NoError(t, err)
	assert.Equal(t, before.Seq, after.Seq)
	assert.Equal(t, before.Reply.Next, after.Reply.Next)

	// The same by telling, in the middle of a test: the test stays open.
	told, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: job}, Text: "what does 87a do?"})
	require.NoError(t, err)
	assert.Contains(t, told.Text, "rest contact")
	assert.Empty(t, told.Entries)
	assert.Equal(t, before.Seq, told.Seq)
	assert.Equal(t, before.Reply.Next, told.Next)
}

// A question does not put away one that was asked back.
func TestAQuestionInPassingLeavesWhatWasAskedBack(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := askJob(t, s, "din")
	tell := func(text string) Reply {
		r, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: job}, Text: text})
		require.NoError(t, err)
		return r
	}
	back := tell("300 millis on the ground").Question
	require.NotNil(t, back)
	assert.Equal(t, back, tell("what wire for 15 amps over 6 metres?").Question)
	assert.NotEmpty(t, tell("millivolts").Text)
}

func TestAskRefusals(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := askJob(t, s, "numbers")
	for text, says := range map[string]string{
		"":                                     "in passing",
		"12.4 at 86":                           "in passing",
		"what does 99 do?":                     "no terminal",
		"what wire for 15 amps?":               "the length",
		"what wire for 6 metres?":              "the amps",
		"what wire for 0 amps over 6 metres?":  "amps is 0",
		"what wire for 15 amps over 9000 m?":   "length_m",
		"what should the flux capacitor read?": "not clear where",
		"is 0.3 amps in the radio all right?":  "where",
	} {
		_, err := s.Ask(t.Context(), AskRequest{Job: job, Text: text})
		var e *Error
		require.ErrorAs(t, err, &e, text)
		assert.Equal(t, "text", e.Field, text)
		assert.Equal(t, job, e.Job)
		assert.Contains(t, e.Message, says, text)
	}
}
