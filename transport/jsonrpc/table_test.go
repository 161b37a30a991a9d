package jsonrpc

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type shared struct {
	Job string `json:"job"`
	Key string `json:"key,omitempty"`
}

type inner struct {
	Amps  *float64 `json:"amps,omitempty"`
	Count int      `json:"count,omitempty"`
	Moves *bool    `json:"moves,omitempty"`
}

// picky has a decoder of its own, as an answer that may be a number or a word.
type picky struct{ V string }

func (p *picky) UnmarshalJSON(b []byte) error {
	if string(b) == `"what"` {
		return errors.New("nobody says what")
	}
	p.V = string(b)
	return nil
}

func (p picky) MarshalJSON() ([]byte, error) { return []byte(p.V), nil }

type request struct {
	shared
	Text   string   `json:"text"`
	Load   inner    `json:"load,omitzero"`
	Seed   *uint64  `json:"seed,omitempty"`
	Answer picky    `json:"answer,omitzero"`
	Places []string `json:"places,omitempty"`
}

type result struct {
	Text  string   `json:"text"`
	Seed  *uint64  `json:"seed"`
	Load  inner    `json:"load"`
	Notes []string `json:"notes"`
}

func testTable() *Table {
	t := &Table{Limits: DefaultLimits}
	Handle(t, "echo", "Gives back what it got.", func(_ context.Context, r request) (result, error) {
		return result{Text: r.Job + "/" + r.Text, Seed: r.Seed, Load: r.Load}, nil
	})
	Handle(t, "none", "Takes nothing.", func(context.Context, struct{}) (bool, error) { return true, nil })
	Handle(t, "break", "Breaks.", func(context.Context, struct{}) (bool, error) { panic("broken") })
	Handle(t, "fail", "Fails.", func(context.Context, struct{}) (bool, error) { return false, errors.New("secret path /x") })
	Handle(t, "long", "Gives a long answer.", func(context.Context, struct{}) (string, error) {
		return strings.Repeat("x", 1000), nil
	})
	return t
}

type reply struct {
	Version string          `json:"jsonrpc"`
	Result  json.RawMessage `json:"result"`
	Error   *struct {
		Code    int
		Message string
		Data    Detail
	} `json:"error"`
	ID json.RawMessage `json:"id"`
}

func serve(t *testing.T, table *Table, msg string) reply {
	t.Helper()
	out := table.Serve(t.Context(), []byte(msg))
	require.NotNil(t, out, "no answer to %s", msg)
	var r reply
	require.NoError(t, json.Unmarshal(out, &r), "%s", out)
	require.Equal(t, "2.0", r.Version)
	require.NotEqual(t, r.Error == nil, r.Result == nil, "exactly one of result and error: %s", out)
	return r
}

func call(method, params string) string {
	return fmt.Sprintf(`{"jsonrpc":"2.0","id":7,"method":%q,"params":%s}`, method, params)
}

var update = flag.Bool("update", false, "write the answers seen into testdata/malformed.txt; read them before you keep them")

// TestMalformedRequests holds each answer to its code, id and meaning, which stand here, and
// word for word to testdata/malformed.txt.
func TestMalformedRequests(t *testing.T) {
	var answers strings.Builder
	// Each: what is sent, the code, the id that comes back, and words the message must hold.
	for _, c := range []struct {
		sent  string
		code  int
		id    string
		words string
	}{
		{``, ParseError, "null", "empty"},
		{"  \n ", ParseError, "null", "empty"},
		{`{`, ParseError, "null", "ends too early"},
		{`{"jsonrpc":"2.0","id":1,"method":"none"}}`, ParseError, "null", "after"},
		{`{"jsonrpc":"2.0","id":1,"method":"none"} {}`, ParseError, "null", "more text"},
		{`{'jsonrpc':'2.0'}`, ParseError, "null", "not JSON"},
		{`{"jsonrpc":"2.0","id":01,"method":"none"}`, ParseError, "null", "not JSON"},
		{`{"jsonrpc":"2.0","id":NaN,"method":"none"}`, ParseError, "null", "not JSON"},
		{"{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"\xff\"}", ParseError, "null", "UTF-8"},
		{"\ufeff" + `{"jsonrpc":"2.0","id":1,"method":"none"}`, ParseError, "null", "not JSON"},
		{`"none"`, InvalidRequest, "null", "not text"},
		{`null`, InvalidRequest, "null", "not null"},
		{`17`, InvalidRequest, "null", "not a number"},
		{`true`, InvalidRequest, "null", "not true or false"},
		{`[]`, InvalidRequest, "null", "The batch is empty"},
		{strings.Repeat("[", 65) + strings.Repeat("]", 65), InvalidRequest, "null", "nested more than 64 deep"},
		{"\x00", ParseError, "null", "not JSON"},
		{`{"jsonrpc" "2.0","id":1,"method":"none"}`, ParseError, "null", "not JSON"},
		{`{"jsonrpc":"2.0","id":1,"method":"none","params":{}`, ParseError, "null", "ends too early"},
		{`{"jsonrpc":null,"id":1,"method":"none"}`, InvalidRequest, "1", `jsonrpc must be "2.0"`},
		{`{"jsonrpc":"2.0","id":1,"method":["none"]}`, InvalidRequest, "1", "method must be text"},
		{`{"jsonrpc":"2.0","id":"a","id":"a","method":"none"}`, InvalidRequest, "null", "id is given twice"},
		{`{"jsonrpc":"2.0","id":1,"method":"none","params":true}`, InvalidRequest, "1", "params must be an object"},
		{`{}`, InvalidRequest, "null", `jsonrpc must be "2.0"`},
		{`{"jsonrpc":2.0,"id":1,"method":"none"}`, InvalidRequest, "1", `jsonrpc must be "2.0"`},
		{`{"jsonrpc":"1.0","id":1,"method":"none"}`, InvalidRequest, "1", `jsonrpc must be "2.0"`},
		{`{"jsonrpc":"2.0","id":1}`, InvalidRequest, "1", "method must be text"},
		{`{"jsonrpc":"2.0","id":1,"method":null}`, InvalidRequest, "1", "method must be text"},
		{`{"jsonrpc":"2.0","id":true,"method":"none"}`, InvalidRequest, "null", "id must be"},
		{`{"jsonrpc":"2.0","id":[1],"method":"none"}`, InvalidRequest, "null", "id must be"},
		{`{"jsonrpc":"2.0","id":{},"method":"none"}`, InvalidRequest, "null", "id must be"},
		{`{"jsonrpc":"2.0","id":1,"id":2,"method":"none"}`, InvalidRequest, "null", "id is given twice"},
		{`{"jsonrpc":"2.0","id":1,"method":"none","method":"fail"}`, InvalidRequest, "1", "method is given twice"},
		{`{"jsonrpc":"2.0","ID":1,"method":"none"}`, InvalidRequest, "null", `did you mean "id"`},
		{`{"jsonrpc":"2.0","id":1,"Method":"none"}`, InvalidRequest, "1", `did you mean "method"`},
		{`{"jsonrpc":"2.0","id":1,"method":"none","extra":1}`, InvalidRequest, "1", `no field "extra"`},
		{`{"jsonrpc":"2.0","id":1,"method":"none","params":null}`, InvalidRequest, "1", "params must be an object"},
		{`{"jsonrpc":"2.0","id":1,"method":"none","params":"x"}`, InvalidRequest, "1", "params must be an object"},
		{`{"jsonrpc":"2.0","method":"none","params":5}`, InvalidRequest, "null", "params must be an object"},
		{call("nome", `{}`), MethodNotFound, "7", `did you mean "none"`},
		{call("None", `{}`), MethodNotFound, "7", `did you mean "none"`},
		{call("rpc.nothing", `{}`), MethodNotFound, "7", `no method "rpc.nothing"`},
		{call("echo", `["j","t"]`), InvalidParams, "7", "by name"},
		{call("none", `[1]`), InvalidParams, "7", "by name"},
		{call("echo", `{"job":"j"}`), InvalidParams, "7", "text is missing"},
		{call("echo", `{"text":"t"}`), InvalidParams, "7", "job is missing"},
		{call("echo", `{"job":null,"text":"t"}`), InvalidParams, "7", "job is missing"},
		{call("echo", `{"job":"j","text":null}`), InvalidParams, "7", "text is missing"},
		{call("echo", `{"job":"j","Text":"t"}`), InvalidParams, "7", `did you mean "text"`},
		{call("echo", `{"job":"j","text":"t","load":{"apms":3}}`), InvalidParams, "7", `"load.apms" here; did you mean "amps"`},
		{call("echo", `{"job":"j","text":"t","zebra":{"apms":3}}`), InvalidParams, "7", `no field "zebra" here.`},
		{call("echo", `{"job":"j","job":"k","text":"t"}`), InvalidParams, "7", "job is given twice"},
		{call("echo", `{"job":"j","text":"t","load":{"amps":1,"amps":2}}`), InvalidParams, "7", "load.amps is given twice"},
		{call("echo", `{"job":5,"text":"t"}`), InvalidParams, "7", "job must be text, not a number"},
		{call("echo", `{"job":"j","text":["t"]}`), InvalidParams, "7", "text must be text, not a list"},
		{call("echo", `{"job":"j","text":"t","load":[]}`), InvalidParams, "7", "load must be an object, not a list"},
		{call("echo", `{"job":"j","text":"t","load":{"amps":"3"}}`), InvalidParams, "7", "load.amps must be a number, not text"},
		{call("echo", `{"job":"j","text":"t","load":{"amps":1e309}}`), InvalidParams, "7", "load.amps: 1e309 is too large"},
		{call("echo", `{"job":"j","text":"t","answer":{"deep":[0,-1e400]}}`), InvalidParams, "7", "answer.deep.1: -1e400 is too large"},
		{call("echo", `{"job":"j","text":"t","load":{"count":1.5}}`), InvalidParams, "7", "load.count must be a whole number, not 1.5"},
		{call("echo", `{"job":"j","text":"t","load":{"count":99999999999999999999}}`), InvalidParams, "7", "load.count must be a whole number"},
		{call("echo", `{"job":"j","text":"t","load":{"moves":1}}`), InvalidParams, "7", "load.moves must be true or false, not a number"},
		{call("echo", `{"job":"j","text":"t","seed":-1}`), InvalidParams, "7", "seed must be a whole number of 0 or more, not -1"},
		{call("echo", `{"job":"j","text":"t","places":"socket.30"}`), InvalidParams, "7", "places must be a list, not text"},
		{call("echo", `{"job":"j","text":"t","places":["a",4]}`), InvalidParams, "7", "places.1 must be text, not a number"},
		{call("echo", `{"job":"j","text":"t","answer":"what"}`), InvalidParams, "7", "answer: nobody says what."},
	} {
		t.Run(c.sent, func(t *testing.T) {
			r := serve(t, testTable(), c.sent)
			require.NotNil(t, r.Error, "accepted")
			assert.Equal(t, c.code, r.Error.Code, r.Error.Message)
			assert.Equal(t, c.id, string(r.ID))
			assert.Contains(t, r.Error.Message, c.words)
			assert.NotEmpty(t, r.Error.Data.Kind)
			fmt.Fprintf(&answers, "--> %q\n<-- %s\n", c.sent, testTable().Serve(t.Context(), []byte(c.sent)))
		})
	}
	const file = "testdata/malformed.txt"
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(answers.String()), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), answers.String())
}

func TestErrorsNameTheFieldAndTheNearestName(t *testing.T) {
	r := serve(t, testTable(), call("echo", `{"job":"j","text":"t","load":{"apms":3}}`))
	assert.Equal(t, Detail{Kind: "invalid", Field: "load.apms", Nearest: "amps"}, r.Error.Data)
	r = serve(t, testTable(), call("ecko", `{}`))
	assert.Equal(t, Detail{Kind: "method", Nearest: "echo"}, r.Error.Data)
}

func TestIDsComeBackAsSent(t *testing.T) {
	for _, id := range []string{`0`, `""`, `null`, `-1`, `1.5`, `9007199254740993`, `123456789012345678901234567890`, `1e400`, `1.0`, `"a\u0062\"c"`, `"9"`} {
		out := testTable().Serve(t.Context(), []byte(`{"method":"none","id":`+id+`,"jsonrpc":"2.0"}`))
		assert.Equal(t, `{"jsonrpc":"2.0","result":true,"id":`+id+`}`, string(out))
	}
}

func TestNotificationsAreNeverAnswered(t *testing.T) {
	for _, sent := range []string{
		`{"jsonrpc":"2.0","method":"none"}`,
		`{"jsonrpc":"2.0","method":"nothing"}`,
		`{"jsonrpc":"2.0","method":"fail"}`,
		`{"jsonrpc":"2.0","method":"break"}`,
		`{"jsonrpc":"2.0","method":"echo","params":{"wrong":1}}`,
		`[{"jsonrpc":"2.0","method":"fail"},{"jsonrpc":"2.0","method":"break"}]`,
	} {
		assert.Nil(t, testTable().Serve(t.Context(), []byte(sent)), sent)
	}
}

func TestWellFormedCalls(t *testing.T) {
	r := serve(t, testTable(), call("echo", `{"t\u0065xt":"Ω","job":"j","seed":18446744073709551615,"load":{"amps":null}}`))
	assert.JSONEq(t, `{"text":"j/Ω","seed":18446744073709551615,"load":{},"notes":[]}`, string(r.Result))
	for _, params := range []string{`{}`, `[]`, ` [ ] `} {
		assert.Equal(t, "true", string(serve(t, testTable(), call("none", params)).Result))
	}
}

func TestBatchIsDoneInOrder(t *testing.T) {
	var order []string
	table := &Table{Limits: DefaultLimits}
	Handle(table, "do", "Notes it.", func(_ context.Context, r shared) (string, error) {
		order = append(order, r.Job)
		return r.Job, nil
	})
	var parts, want []string
	for i := range table.Limits.Batch {
		id := ""
		if i%3 != 0 {
			id = fmt.Sprintf(`"id":%d,`, i)
		}
		parts = append(parts, fmt.Sprintf(`{"jsonrpc":"2.0",%s"method":"do","params":{"job":"%d"}}`, id, i))
		want = append(want, fmt.Sprint(i))
	}
	var answers []reply
	require.NoError(t, json.Unmarshal(table.Serve(t.Context(), []byte("["+strings.Join(parts, ",")+"]")), &answers))
	assert.Equal(t, want, order)
	require.Len(t, answers, 66)
	for _, a := range answers {
		assert.Equal(t, `"`+string(a.ID)+`"`, string(a.Result))
	}
	r := serve(t, table, "["+strings.Join(append(parts, parts[0]), ",")+"]")
	assert.Contains(t, r.Error.Message, "up to 100")
	assert.Len(t, order, 100, "nothing of a batch that is too long is done")
}

func TestLimits(t *testing.T) {
	table := testTable()
	table.Limits = Limits{Message: 5000, Batch: 10, Depth: 64, Answer: 2500}
	nested := func(n int) string { // n deep with the message and the params themselves
		return call("echo", `{"job":"j","text":"t","answer":`+strings.Repeat("[", n-2)+strings.Repeat("]", n-2)+"}")
	}
	assert.Nil(t, serve(t, table, nested(64)).Error)
	r := serve(t, table, nested(65))
	assert.Equal(t, Detail{Kind: "limit"}, r.Error.Data)
	r = serve(t, table, strings.Repeat(" ", 5001))
	assert.Equal(t, Detail{Kind: "limit"}, r.Error.Data)
	assert.Equal(t, InvalidRequest, r.Error.Code)

	var batch []reply
	parts := strings.Repeat(call("long", `{}`)+",", 3) + call("none", `{}`)
	require.NoError(t, json.Unmarshal(table.Serve(t.Context(), []byte("["+parts+"]")), &batch))
	require.Len(t, batch, 4)
	assert.Nil(t, batch[1].Error)
	assert.NotNil(t, batch[2].Error, "a batch does not get round the limit of an answer")
	assert.Nil(t, batch[3].Error)
}

func TestErrorsOfHandlers(t *testing.T) {
	table := testTable()
	for _, method := range []string{"fail", "break"} {
		r := serve(t, table, call(method, `{}`))
		assert.Equal(t, InternalError, r.Error.Code)
		assert.NotContains(t, r.Error.Message, "secret")
	}
	var seen []error
	table.Translate = func(_ context.Context, err error) *Error {
		seen = append(seen, err)
		return &Error{Code: 1234, Message: "told", Data: func() {}}
	}
	for _, method := range []string{"fail", "break"} {
		r := serve(t, table, call(method, `{}`))
		assert.Equal(t, 1234, r.Error.Code)
	}
	require.Len(t, seen, 2)
	require.IsType(t, &Panic{}, seen[1])
	assert.Contains(t, seen[1].Error(), "TestErrorsOfHandlers", "the stack says where")
}

func TestObserve(t *testing.T) {
	var calls []Call
	table := testTable()
	table.Observe = func(_ context.Context, c Call) { c.Took, c.Params = 0, nil; calls = append(calls, c) }
	table.Serve(t.Context(), []byte(`[`+call("none", `{}`)+`,{"jsonrpc":"2.0","method":"nix"},5]`))
	table.Serve(t.Context(), []byte(`{`))
	assert.Equal(t, []Call{{Method: "none"}, {Method: "nix", Notification: true, Code: MethodNotFound}, {Code: InvalidRequest}, {Code: ParseError}}, calls)
}

// A batch does not get round a limit on requests.
func TestAdmit(t *testing.T) {
	table := testTable()
	left := 3
	table.Admit = func(context.Context) *Error {
		if left--; left < 0 {
			return &Error{Code: 1005, Message: "too many"}
		}
		return nil
	}
	var batch []reply
	notification := `{"jsonrpc":"2.0","method":"none"}`
	parts := strings.Join([]string{call("none", `{}`), notification, call("nix", `{}`), call("none", `{}`), notification}, ",")
	require.NoError(t, json.Unmarshal(table.Serve(t.Context(), []byte("["+parts+"]")), &batch))
	require.Len(t, batch, 3)
	assert.Nil(t, batch[0].Error)
	assert.Equal(t, MethodNotFound, batch[1].Error.Code)
	assert.Equal(t, 1005, batch[2].Error.Code)
	assert.Equal(t, "7", string(batch[2].ID))
}

func TestNotification(t *testing.T) {
	out, err := Notification("job.changed", shared{Job: "j"})
	require.NoError(t, err)
	assert.Equal(t, `{"jsonrpc":"2.0","method":"job.changed","params":{"job":"j"}}`, string(out))
}

func TestAMethodIsAddedOnce(t *testing.T) {
	table := testTable()
	assert.Panics(t, func() { table.add(&Method{Name: "none"}) })
}
