package transport

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func loadShipped() (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
}

var shipped = sync.OnceValues(loadShipped)

// newService is the assistant itself on the shipped rules, without a disk.
func newService(t *testing.T) *session.Service {
	t.Helper()
	book, err := shipped()
	require.NoError(t, err)
	s, err := session.New(session.Options{Book: book, Reload: loadShipped})
	require.NoError(t, err)
	return s
}

// fan is a plain circuit: a relay-fed fan, everything about the wiring known.
func fan() object {
	return object{
		"complaint": "dead", "label": "radiator fan", "seed": 7,
		"circuit": object{
			"contact": "make", "control_side": "ground", "power_enters": "30", "load_side": "ground", "labels": "din",
			"suppression": "none", "system_volts": 12, "driver": "switch", "coil_ohms": 85, "coil_supply": "ignition",
			"load": object{"kind": "motor", "amps": 15, "moves": true, "hazard": "none"},
		},
	}
}

func TestALifeOfAJob(t *testing.T) {
	both(t, func(t *testing.T, call caller) {
		var opened session.Opened
		call.ask(t, "job.open", fan(), &opened)
		job := opened.Job
		require.NotEmpty(t, job)
		require.NotNil(t, opened.Reply.Next)

		var tests session.Tests
		call.ask(t, "job.next", object{"job": job, "limit": 3}, &tests)
		require.Len(t, tests.Tests, 3)
		first := tests.Tests[0]
		assert.Equal(t, opened.Reply.Next.ID, first.ID)
		assert.NotEmpty(t, first.Measure.Mode)
		assert.NotEmpty(t, first.Setup.Relay)

		var told session.Reply
		call.ask(t, "job.record", object{"job": job, "test": first.ID, "answer": "unsure"}, &told)
		require.NotNil(t, told.Entry)
		assert.Greater(t, told.Seq, opened.Reply.Seq)
		call.ask(t, "job.record", object{"job": job, "measure": object{"mode": "volts_dc", "red": "battery.positive", "black": "battery.negative"},
			"setup": object{"relay": "in", "key": "off", "command": "off"}, "answer": 12.6}, &told)
		require.NotNil(t, told.Entry)
		battery := *told.Entry
		call.ask(t, "job.tell", object{"job": job, "text": "where are we"}, &told)
		assert.NotEmpty(t, told.Text)

		var suspects session.Suspects
		call.ask(t, "job.suspects", object{"job": job, "limit": 5}, &suspects)
		require.Len(t, suspects.Suspects, 5)
		var why session.Explanation
		call.ask(t, "job.explain", object{"job": job, "suspect": suspects.Suspects[0].Suspect}, &why)
		assert.NotEmpty(t, why.Text)

		call.ask(t, "job.retract", object{"job": job, "entry": battery}, &told)
		require.NotNil(t, told.Next)
		call.ask(t, "job.skip", object{"job": job, "test": told.Next.ID, "reason": "cannot reach it"}, &told)
		call.ask(t, "job.repair", object{"job": job, "suspect": "feed_fuse.open", "action": "new fuse", "result": "still_there"}, &told)

		var view session.JobView
		call.ask(t, "job.show", object{"job": job}, &view)
		assert.Equal(t, told.Seq, view.Seq)
		assert.Equal(t, "radiator fan", view.Label)
		var report session.Report
		call.ask(t, "job.report", object{"job": job, "format": "markdown"}, &report)
		assert.Contains(t, report.Text, "radiator fan")

		call.ask(t, "job.close", object{"job": job, "outcome": "abandoned"}, nil)
		var jobs session.JobList
		call.ask(t, "job.list", object{}, &jobs)
		require.Len(t, jobs.Jobs, 1)
		assert.Equal(t, "abandoned", jobs.Jobs[0].Outcome)
	})
}

func TestRules(t *testing.T) {
	both(t, func(t *testing.T, call caller) {
		var list session.RulesList
		call.ask(t, "rules.list", object{}, &list)
		require.Len(t, list.Rulesets, 1)
		assert.Len(t, list.Rulesets[0].Hash, 64)
		var view session.RulesView
		call.ask(t, "rules.show", object{"ruleset": list.Rulesets[0].Name}, &view)
		assert.Len(t, view.Suspects, list.Rulesets[0].Suspects)
		var checked session.RulesChecked
		call.ask(t, "rules.check", object{}, &checked)
		assert.True(t, checked.OK)
		var again session.RulesList
		call.ask(t, "rules.reload", object{}, &again)
		assert.Equal(t, list, again)
	})
}

func TestErrorsOfTheSessionHaveTheirCodes(t *testing.T) {
	both(t, func(t *testing.T, call caller) {
		var opened session.Opened
		call.ask(t, "job.open", fan(), &opened)
		job := opened.Job
		hazard := fan()
		hazard["circuit"].(object)["load"] = object{"kind": "electronics", "hazard": "restraint"}
		for _, c := range []struct {
			method string
			params object
			code   int
			data   errorData
		}{
			{"job.show", object{"job": "nowhere"}, codeNotFound, errorData{Kind: session.NotFound, Field: "job", Job: "nowhere"}},
			{"job.tell", object{"job": job, "text": "no click", "if_seq": 99}, codeConflict, errorData{Kind: session.Conflict, Field: "if_seq", Job: job}},
			{"job.open", hazard, codeUnsafe, errorData{Kind: session.Unsafe, Field: "circuit.load.hazard"}},
			{"job.open", object{"complaint": "deed"}, -32602, errorData{Kind: session.Invalid, Field: "complaint", Nearest: "dead"}},
			{"job.record", object{"job": job, "test": opened.Reply.Next.ID, "answer": true}, -32602, errorData{Kind: session.Invalid, Field: "answer"}},
			{"job.record", object{"job": job, "test": opened.Reply.Next.ID, "answer": object{"MIN": 1, "max": 2}}, -32602, errorData{Kind: session.Invalid, Field: "answer"}},
			{"job.watch", object{"job": "nowhere"}, codeNotFound, errorData{}},
		} {
			a := call.raw(t, c.method, c.params)
			if c.method == "job.watch" && a.Error != nil && a.Error.Code == codeWebSocketOnly {
				continue // over HTTP; TestWatching looks at it
			}
			require.NotNil(t, a.Error, "%s %v", c.method, c.params)
			assert.Equal(t, c.code, a.Error.Code, a.Error.Message)
			assert.True(t, a.Error.Message != "" && !strings.Contains(a.Error.Message, "session."), a.Error.Message)
			if c.data.Kind != "" {
				assert.Equal(t, c.data, a.Error.Data, a.Error.Message)
			}
		}
		call.ask(t, "job.close", object{"job": job, "outcome": "abandoned"}, nil)
		a := call.raw(t, "job.tell", object{"job": job, "text": "no click"})
		require.NotNil(t, a.Error)
		assert.Equal(t, codeClosed, a.Error.Code)
	})
}

// What is malformed changes nothing, on either transport, and both answer alike.
func TestMalformedMessagesAreAnsweredAlike(t *testing.T) {
	r := startServer(t)
	overWS := overSocket(dial(t, r))
	var opened session.Opened
	overHTTP(r).ask(t, "job.open", fan(), &opened)
	job := opened.Job
	record := func(answer string) string {
		return `{"jsonrpc":"2.0","id":1,"method":"job.record","params":{"job":"` + job + `","test":"` + opened.Reply.Next.ID + `","answer":` + answer + `}}`
	}
	tell := func(params string) string {
		return `{"jsonrpc":"2.0","id":1,"method":"job.tell","params":` + params + `}`
	}
	for _, msg := range []string{
		``, ` `, `{`, `[`, `nonsense`, `{}`, `[]`, `[1]`, `[[]]`, `null`, `{"jsonrpc":"2.0"}`,
		`{"jsonrpc":"2.0","id":1,"method":"job.tel","params":{"job":"x","text":"y"}}`,
		`{"jsonrpc":"2.0","id":1,"METHOD":"job.list"}`, `{"jsonrpc":"2.0","id":{},"method":"job.list"}`,
		tell(`["` + job + `","no click"]`), tell(`{}`), tell(`{"job":"` + job + `"}`), tell(`{"job":"` + job + `","txt":"no click"}`),
		tell(`{"job":"` + job + `","Text":"no click"}`), tell(`{"job":"` + job + `","text":"a","text":"b"}`), tell(`{"job":"` + job + `","text":5}`),
		tell(`{"job":5,"text":"no click"}`), tell(`{"job":"` + job + `","text":"no click","if_seq":"1"}`), tell(`{"job":"` + job + `","text":"no click","if_seq":0.5}`),
		tell(`{"job":"` + job + `","text":"no click","spoken":"yes"}`), tell(`"no click"`), tell(`null`),
		record(`1e309`), record(`-1e309`), record(`{"min":1,"max":1e400}`), record(`null`), record(`[]`), record(`false`), record(`{"min":1}`), record(`NaN`),
		tell(`{"job":"` + job + `","text":` + strings.Repeat("[", 70) + strings.Repeat("]", 70) + `}`),
		`{"jsonrpc":"2.0","id":1,"method":"job.open","params":{"complaint":"dead","circuit":{"laod":{}}}}`,
		`{"jsonrpc":"2.0","id":1,"method":"job.open","params":{"complaint":"dead","circuit":{"load":{"amps":"fifteen"}}}}`,
		`{"jsonrpc":"2.0","id":1,"method":"job.show","params":{"job":"` + strings.Repeat("x", 1<<19) + `"}}`,
	} {
		http, ws := overHTTP(r)(t, msg), overWS(t, msg)
		require.NotNil(t, http, msg)
		assert.Equal(t, string(http), string(ws), msg)
		assert.Contains(t, string(http), `"error"`, msg)
		assert.Less(t, len(http), 2000, "an error does not repeat all it was sent")
	}
	long := tell(`{"job":"` + job + `","text":"` + strings.Repeat("x", 1<<20) + `"}`)
	assert.Contains(t, string(overWS(t, long)), "longer than 1048576 bytes")
	var view session.JobView
	overHTTP(r).ask(t, "job.show", object{"job": job}, &view)
	assert.Equal(t, opened.Reply.Seq, view.Seq, "the job is as it was")
}

func TestBatchesOfDependentCalls(t *testing.T) {
	both(t, func(t *testing.T, call caller) {
		var opened session.Opened
		call.ask(t, "job.open", fan(), &opened)
		at := `"params":{"job":"` + opened.Job + `"`
		out := call(t, `[{"jsonrpc":"2.0","method":"job.tell",`+at+`,"text":"no click"}},
			{"jsonrpc":"2.0","id":"a","method":"job.show",`+at+`}},
			{"jsonrpc":"2.0","id":"b","method":"job.close",`+at+`,"outcome":"abandoned"}},
			{"jsonrpc":"2.0","id":"c","method":"job.tell",`+at+`,"text":"it clicks"}}]`)
		var answers []rpcAnswer
		require.NoError(t, json.Unmarshal(out, &answers), "%s", out)
		require.Len(t, answers, 3)
		var view session.JobView
		require.NoError(t, json.Unmarshal(answers[0].Result, &view))
		assert.Greater(t, view.Seq, opened.Reply.Seq, "the notification before it was done")
		assert.Nil(t, answers[1].Error)
		require.NotNil(t, answers[2].Error)
		assert.Equal(t, codeClosed, answers[2].Error.Code)
	})
}

// changed reads the next notification of a connection.
func changed(t *testing.T, ws *websocket.Conn) session.Change {
	t.Helper()
	_, msg, err := ws.ReadMessage()
	require.NoError(t, err)
	var n struct {
		Version string `json:"jsonrpc"`
		Method  string
		ID      json.RawMessage
		Params  session.Change
	}
	require.NoError(t, json.Unmarshal(msg, &n))
	require.Equal(t, "job.changed", n.Method, "%s", msg)
	require.Equal(t, "2.0", n.Version)
	require.Nil(t, n.ID)
	return n.Params
}

func send(t *testing.T, ws *websocket.Conn, method string, params object) {
	t.Helper()
	require.NoError(t, ws.WriteJSON(object{"jsonrpc": "2.0", "id": 1, "method": method, "params": params}))
}

func TestWatching(t *testing.T) {
	r := startServer(t)
	call := overHTTP(r)
	var opened session.Opened
	call.ask(t, "job.open", fan(), &opened)
	job, seq := opened.Job, opened.Reply.Seq

	a := call.raw(t, "job.watch", object{"job": job})
	require.NotNil(t, a.Error)
	assert.Equal(t, codeWebSocketOnly, a.Error.Code)

	ws := dial(t, r)
	overSocket(ws).ask(t, "job.watch", object{"job": job, "from": seq}, nil)
	var told session.Reply
	for range 3 {
		call.ask(t, "job.tell", object{"job": job, "text": "no click"}, &told)
		got := changed(t, ws)
		assert.Equal(t, job, got.Job)
		assert.Equal(t, told.Seq, got.Seq)
	}

	late := dial(t, r) // behind: told at once, after the answer
	send(t, late, "job.watch", object{"job": job, "from": seq})
	_, answer, err := late.ReadMessage()
	require.NoError(t, err)
	assert.JSONEq(t, `{"jsonrpc":"2.0","id":1,"result":{"job":"`+job+`","seq":`+fmt.Sprint(told.Seq)+`}}`, string(answer))
	assert.Equal(t, told.Seq, changed(t, late).Seq)

	overSocket(late).ask(t, "job.watch", object{"job": job, "from": told.Seq}, nil) // in place of the first
	require.NoError(t, ws.Close())
	call.ask(t, "job.close", object{"job": job, "outcome": "abandoned"}, &told)
	assert.Equal(t, told.Seq, changed(t, late).Seq)
	require.NoError(t, late.SetReadDeadline(time.Now().Add(100*time.Millisecond)))
	_, extra, err := late.ReadMessage()
	assert.Error(t, err, "told twice: %s", extra)
}

func TestWatchesOfAConnectionAreBounded(t *testing.T) {
	l, err := Listen("127.0.0.1:0", false)
	require.NoError(t, err)
	defer l.Close()
	s := New(Options{Service: newService(t), Listener: l})
	full := &socket{watches: map[string]func(){}}
	for i := range DefaultLimits.Watches {
		full.watches[fmt.Sprint(i)] = func() {}
	}
	ctx := context.WithValue(t.Context(), socketKey{}, full)
	for job, kind := range map[string]session.Kind{"more": session.Limit, "1": session.NotFound} {
		_, err = s.watch(ctx, WatchRequest{Job: job})
		refusal, ok := errors.AsType[*session.Error](err)
		require.True(t, ok)
		assert.Equal(t, kind, refusal.Kind, "watching a job again is not one more")
	}
}
