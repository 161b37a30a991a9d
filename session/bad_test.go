package session

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// What cannot be read or cannot be true is answered with one clear sentence, and the
// job is as it was.
func TestBadInputSaidIsAnsweredAndChangesNothing(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	before := toldTo(t, s, o.Job, "12.4 at 86, relay out, key on, switched off")
	for _, c := range []struct{ said, wants string }{
		{"", "nothing was said"},
		{" \t\n", "nothing was said"},
		{"xyzzy plugh frobozz", "did not understand"},
		{"colourless green ideas", "What was looked at?"},
		{"\x00\x01\x02", "did not take that"},
		{"1e309 V at 86, relay out", "no number a meter shows"},
		{"12.4 and 3.1 at 86, relay out", "are they two readings?"},
		{"86 is 12.4 and 86 is 3.1, relay out", "two values"},
		{"86 is 84 ohms, relay out", "resistance is between two places"},
		{"400 V at 86, relay out", "400"},
		{"-5 ohms from 85 to 86 on the bench", "“5 Ω” was said"},
		{"12.4 at 87a, relay out", "no terminal 87a"},
		{"12.4 at terminal 99", "no terminal of this relay"},
		{"84 ohms between 30 and battery positive, relay in, key on, switched on", "othing was stored"},
	} {
		r, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: c.said})
		require.NoError(t, err, c.said)
		require.Empty(t, r.Entries, "%q: %s", c.said, r.Text)
		require.Contains(t, r.Text, c.wants, c.said)
		require.Equal(t, before.Seq, r.Seq, c.said)
		if r.Question != nil {
			r, err = s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: "never mind"})
			require.NoError(t, err)
			require.Empty(t, r.Entries, "never mind, after %q: %s", c.said, r.Text)
		}
	}
	_, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: strings.Repeat("12.4 at 86 ", 100_000)})
	require.Equal(t, Limit, kindOf(t, err))
	require.ErrorContains(t, err, "too long")
	_, err = s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: "12.4 at \xff86"})
	require.Equal(t, Invalid, kindOf(t, err))
	unharmed(t, s, o.Job, before)
}

func TestBadInputRecordedIsRefusedAndChangesNothing(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	before := toldTo(t, s, o.Job, "12.4 at 86, relay out, key on, switched off")
	out := &rules.Setup{Relay: "out", Key: "on", Command: "off"}
	volts := func(at string) *rules.Measure {
		return &rules.Measure{Mode: rules.VoltsDC, Red: at, Black: "battery.negative"}
	}
	for name, c := range map[string]struct {
		request RecordRequest
		kind    Kind
		wants   string
	}{
		"nothing":             {RecordRequest{}, Invalid, "test"},
		"unknown test":        {RecordRequest{Test: "volts_at_moon", Answer: volt(3)}, NotFound, "no test"},
		"no answer":           {RecordRequest{Measure: volts("socket.86"), Setup: out}, Invalid, "not nothing"},
		"no such place":       {RecordRequest{Measure: volts("socket.99"), Setup: out, Answer: volt(3)}, Invalid, "measure.red"},
		"terminal it lacks":   {RecordRequest{Measure: volts("socket.87a"), Setup: out, Answer: volt(3)}, Invalid, "87a"},
		"too many volts":      {RecordRequest{Measure: volts("socket.86"), Setup: out, Answer: volt(400)}, Invalid, "400"},
		"a click in volts":    {RecordRequest{Measure: volts("socket.86"), Setup: out, Answer: Answer{Choice: "click"}}, Invalid, "number"},
		"volts upside down":   {RecordRequest{Measure: &rules.Measure{Mode: rules.MinMax, Red: "back.86", Black: "battery.negative", During: "wiggle"}, Setup: &rules.Setup{Relay: "in", Key: "on", Command: "on"}, Answer: Answer{MinMax: &[2]float64{900, 901}}}, Invalid, "900 V cannot be"},
		"ohms below zero":     {RecordRequest{Measure: &rules.Measure{Mode: rules.Ohms, Red: "relay.85", Black: "relay.86"}, Setup: &rules.Setup{Relay: "bench"}, Answer: volt(-5)}, Invalid, "-5"},
		"ohms on a live wire": {RecordRequest{Measure: &rules.Measure{Mode: rules.Ohms, Red: "back.30", Black: "battery.positive"}, Setup: &rules.Setup{Relay: "in", Key: "on", Command: "on"}, Answer: volt(5)}, Unsafe, ""},
	} {
		c.request.Job = o.Job
		_, err := s.Record(t.Context(), c.request)
		require.Error(t, err, name)
		require.Equal(t, c.kind, kindOf(t, err), "%s: %v", name, err)
		require.ErrorContains(t, err, c.wants, name)
	}
	for _, text := range []string{`1e309`, `"`, `[12]`, `null`, `{"min":3}`, `{"min":3,"max":1}`, ``} {
		var a Answer
		require.Error(t, a.UnmarshalJSON([]byte(text)), text)
	}
	unharmed(t, s, o.Job, before)
}

func toldTo(t *testing.T, s *Service, job, text string) Reply {
	t.Helper()
	r, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: job}, Text: text})
	require.NoError(t, err)
	require.NotEmpty(t, r.Entries)
	return r
}

func volt(v float64) Answer { return Answer{Number: &v} }

func unharmed(t *testing.T, s *Service, job string, before Reply) {
	t.Helper()
	v, err := s.Show(t.Context(), JobRequest{Job: job})
	require.NoError(t, err)
	require.Equal(t, before.Seq, v.Seq)
	require.Equal(t, before.Suspects, v.Reply.Suspects)
	require.Equal(t, before.Next, v.Reply.Next)
}
