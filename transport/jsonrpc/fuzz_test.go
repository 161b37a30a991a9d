package jsonrpc

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// FuzzServe holds every answer to the specification as expectedOf reads it, which goes by
// the standard library and shares no code with the decoder. What it found is in
// testdata/fuzz/FuzzServe.
func FuzzServe(f *testing.F) {
	for _, s := range []string{`[]`, `[1,{}]`, call("echo", `{"job":"j","text":"t"}`), call("echo", `{"load":{"x":1}}`),
		`{"jsonrpc":"2.0","method":"none","id":1e5}`, `[{"jsonrpc":"2.0","method":"none"}]`, `{"id":"\ud800"}`,
		`{"jsonrpc":"2.0","\u006dethod":"none","id":0,"params":[]}`, `{"jsonrpc":"2.0","method":"none","id":1,"id":2}`, call("fail", `{}`),
		call("break", `[]`), call("nome", `{}`), strings.Repeat(`[`, 70), `[{"jsonrpc":"2.0","method":"none","id":"a"},{"method":5,"id":null},7]`} {
		f.Add([]byte(s))
	}
	table := testTable()
	f.Fuzz(func(t *testing.T, msg []byte) {
		start := time.Now()
		out := table.Serve(t.Context(), msg)
		require.Less(t, time.Since(start), 5*time.Second)
		require.True(t, out == nil || json.Valid(out) && utf8.Valid(out), "%s", out)
		require.NotContains(t, string(out), "secret path")
		require.Equal(t, string(out), string(table.Serve(t.Context(), msg)), "the same message, the same answer")
		if len(msg) > table.Limits.Message || loneSurrogate.Match(msg) {
			return // the standard library reads a lone surrogate, this decoder refuses it
		}
		want, batch := expectedOf(msg, table.Limits)
		got := answersIn(t, out, batch)
		require.Len(t, got, len(want), "%s", out)
		for i, w := range want {
			require.Equal(t, w.id, string(got[i].ID), "%s", out)
			require.Contains(t, w.codes, codeOf(t, got[i]), "%s", out)
		}
	})
}

// loneSurrogate matches escapes that may be half of a pair.
var loneSurrogate = regexp.MustCompile(`\\u[dD][89a-fA-F]`)

// expected is what the specification makes of one request.
type expected struct {
	id    string
	codes []int // those possible; 0 = a result
}

// expectedOf is what a message is to be answered, in order; batch reports whether as a list.
func expectedOf(msg []byte, lim Limits) (want []expected, batch bool) {
	if nesting(msg) > lim.Depth {
		return []expected{{"null", []int{InvalidRequest}}}, false
	}
	if !json.Valid(msg) || !utf8.Valid(msg) {
		return []expected{{"null", []int{ParseError}}}, false
	}
	parts := []json.RawMessage{msg}
	if batch = bytes.HasPrefix(bytes.TrimLeft(msg, " \t\r\n"), []byte("[")); batch {
		if err := json.Unmarshal(msg, &parts); err != nil || len(parts) == 0 || len(parts) > lim.Batch {
			return []expected{{"null", []int{InvalidRequest}}}, false
		}
	}
	for _, part := range parts {
		if e, answered := expectedOfOne(part); answered {
			want = append(want, e)
		}
	}
	return want, batch && len(want) > 0
}

// nesting is how deep a message goes, up to where it ceases to be JSON.
func nesting(msg []byte) int {
	dec := json.NewDecoder(bytes.NewReader(msg))
	dec.UseNumber()
	deepest, depth := 0, 0
	for {
		token, err := dec.Token()
		if err != nil || depth == 0 && deepest > 0 {
			return deepest
		}
		switch token {
		case json.Delim('['), json.Delim('{'):
			depth++
		case json.Delim(']'), json.Delim('}'):
			depth--
		default:
			if depth == 0 {
				return deepest
			}
		}
		deepest = max(deepest, depth)
	}
}

func expectedOfOne(part json.RawMessage) (e expected, answered bool) {
	malformed := expected{"null", []int{InvalidRequest}}
	got, times, isObject := membersOf(part)
	if !isObject {
		return malformed, true
	}
	id, hasID := got["id"]
	if times["id"] == 1 && (id[0] != '{' && id[0] != '[' && id[0] != 't' && id[0] != 'f') {
		malformed.id = string(id)
	}
	sound := !hasID || malformed.id == string(id)
	for member, n := range times {
		sound = sound && n == 1 && (member == "jsonrpc" || member == "method" || member == "params" || member == "id")
	}
	var version, method string
	params, hasParams := got["params"]
	sound = sound && asText(got["jsonrpc"], &version) && version == "2.0" && asText(got["method"], &method) &&
		(!hasParams || params[0] == '{' || params[0] == '[')
	if !sound {
		return malformed, true
	}
	e = expected{malformed.id, []int{MethodNotFound}}
	if might, known := mightAnswer[method]; known {
		e.codes = might
	}
	return e, hasID
}

// mightAnswer are the codes that the methods of testTable answer with.
var mightAnswer = map[string][]int{
	"echo": {0, InvalidParams}, "none": {0, InvalidParams}, "long": {0, InvalidParams},
	"break": {InternalError, InvalidParams}, "fail": {InternalError, InvalidParams},
}

func asText(raw json.RawMessage, into *string) bool {
	return len(raw) > 0 && raw[0] == '"' && json.Unmarshal(raw, into) == nil
}

// membersOf reads an object's members and how often each comes; the last one counts.
func membersOf(object json.RawMessage) (got map[string]json.RawMessage, times map[string]int, ok bool) {
	dec := json.NewDecoder(bytes.NewReader(object))
	if open, err := dec.Token(); err != nil || open != json.Delim('{') {
		return nil, nil, false
	}
	got, times = map[string]json.RawMessage{}, map[string]int{}
	for dec.More() {
		name, err := dec.Token()
		if err != nil {
			return nil, nil, false
		}
		var value json.RawMessage
		if err := dec.Decode(&value); err != nil {
			return nil, nil, false
		}
		member, _ := name.(string)
		got[member] = value
		times[member]++
	}
	return got, times, true
}

// answersIn takes an answer apart; each part has exactly the members it should.
func answersIn(t *testing.T, out []byte, batch bool) []reply {
	t.Helper()
	if out == nil {
		return nil
	}
	parts := []json.RawMessage{out}
	if batch {
		require.NoError(t, json.Unmarshal(out, &parts), "%s", out)
	}
	answers := make([]reply, len(parts))
	for i, part := range parts {
		dec := json.NewDecoder(bytes.NewReader(part))
		dec.DisallowUnknownFields()
		require.NoError(t, dec.Decode(&answers[i]), "%s", part)
		_, err := dec.Token()
		require.True(t, errors.Is(err, io.EOF))
		_, times, _ := membersOf(part)
		require.Len(t, times, 3, "%s", part)
		for member, n := range times {
			require.Equal(t, 1, n, "%s in %s", member, part)
		}
		require.Equal(t, "2.0", answers[i].Version)
	}
	return answers
}

// codeOf is an answer's code, 0 for a result.
func codeOf(t *testing.T, r reply) int {
	t.Helper()
	require.NotEqual(t, r.Error == nil, r.Result == nil, "exactly one of result and error")
	if r.Error == nil {
		return 0
	}
	require.NotZero(t, r.Error.Code)
	require.NotEmpty(t, r.Error.Message)
	return r.Error.Code
}
