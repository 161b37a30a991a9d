package transport

import (
	"encoding/json"
	"testing"
	"time"

	"coilside/session"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// toldMeanwhile is what a connection is told between its answers.
type toldMeanwhile struct {
	ID     json.RawMessage
	Method string
	Params session.Progress
}

// A job whose log has to be replayed takes as long as its readings did; the connection
// that waits for it is told how far it is.
func TestALongReplayTellsHowFarItIs(t *testing.T) {
	book, err := shipped()
	require.NoError(t, err)
	jobs, err := session.New(session.Options{Book: book, MostResident: 1})
	require.NoError(t, err)
	r := startServer(t, func(o *Options) { o.Service = jobs })
	call := overHTTP(r)
	var opened session.Opened
	call.ask(t, "job.open", fan(), &opened)
	// Enough readings for the replay to outlast the patience, however fast the machine.
	readings := 0
	for start := time.Now(); time.Since(start) < 8*progressEvery; readings++ {
		call.ask(t, "job.record", object{"job": opened.Job, "measure": object{"mode": "volts_dc", "red": "battery.positive", "black": "battery.negative"},
			"setup": object{"relay": "in", "key": "off", "command": "off"}, "answer": 12.5 + 0.01*float64(readings%7)}, nil)
		call.ask(t, "job.retract", object{"job": opened.Job, "entry": 2*readings + 2}, nil)
	}
	call.ask(t, "job.open", fan(), nil) // the first is no longer in memory

	ws := dial(t, r)
	send(t, ws, "job.show", object{"job": opened.Job})
	var told []session.Progress
	for {
		_, msg, err := ws.ReadMessage()
		require.NoError(t, err)
		var one toldMeanwhile
		require.NoError(t, json.Unmarshal(msg, &one))
		if one.ID != nil {
			break
		}
		require.Equal(t, "call.progress", one.Method, "%s", msg)
		told = append(told, one.Params)
	}
	t.Logf("%d readings, told %d times", readings, len(told))
	require.NotEmpty(t, told, "%d readings", readings)
	for i, p := range told {
		assert.Equal(t, opened.Job, p.Job)
		assert.Equal(t, 2*readings, p.Of)
		assert.True(t, p.Done < p.Of && (i == 0 || p.Done > told[i-1].Done), "%v", told)
	}
	send(t, ws, "job.show", object{"job": opened.Job})
	_, msg, err := ws.ReadMessage()
	require.NoError(t, err)
	assert.NotContains(t, string(msg[:100]), "call.progress", "what is quick says nothing")
}
