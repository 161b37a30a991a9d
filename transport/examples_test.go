package transport

import (
	"encoding/json"
	"flag"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write what the examples of the OpenRPC document answer into them")

// cutShort keeps an answer readable: lists of more than two lose the rest, long
// texts their ends, and of a document only its top is left.
func cutShort(v any) any {
	switch v := v.(type) {
	case []any:
		out := []any{}
		for _, e := range v[:min(2, len(v))] {
			out = append(out, cutShort(e))
		}
		return out
	case object:
		if v["openrpc"] != nil {
			return object{"openrpc": v["openrpc"], "info": v["info"]}
		}
		out := object{}
		for name, e := range v {
			out[name] = cutShort(e)
		}
		return out
	case string:
		if r := []rune(v); len(r) > 200 {
			return string(r[:199]) + "…"
		}
	}
	return v
}

// shape is what an answer looks like, whatever its figures and words are.
func shape(v any) any {
	switch v := v.(type) {
	case object:
		return slices.Sorted(maps.Keys(v))
	case []any:
		return "list"
	}
	return v != nil
}

// Every example of the document, called in order on a running service, answers what
// the document says, in the shape that the example shows; and every method has one.
func TestExamplesOfTheDocument(t *testing.T) {
	r := startServer(t)
	doc := document(t, r)
	results, shown := map[string]object{}, map[string]int{}
	for _, m := range doc["methods"].([]any) {
		method := m.(object)
		name := method["name"].(string)
		results[name] = method["result"].(object)["schema"].(object)
		examples, _ := method["examples"].([]any)
		shown[name] = len(examples)
		assert.NotEmpty(t, examples, "%s has no example", name)
	}
	all, err := readExamples()
	require.NoError(t, err)
	socket := overSocket(dial(t, r))
	for i := range all {
		e := &all[i]
		shown[e.Method]--
		call := overHTTP(r)
		if e.Method == "job.watch" {
			call = socket
		}
		var live, recorded any
		call.ask(t, e.Method, json.RawMessage(e.Params), &live)
		if *update {
			e.Result, err = json.Marshal(cutShort(live))
			require.NoError(t, err)
		}
		require.NoError(t, json.Unmarshal(e.Result, &recorded))
		if e.Method == "rpc.discover" { // any document fits
			continue
		}
		assert.Equal(t, shape(live), shape(recorded), "%s, %s: run go test ./transport -run Examples -update", e.Method, e.Words)
		assert.Empty(t, misfits(t, doc, results[e.Method], live, e.Method))
		assert.Empty(t, misfits(t, doc, results[e.Method], recorded, e.Method+" example"))
	}
	for name, left := range shown {
		assert.Zero(t, left, "%s: the document and the file differ", name)
	}
	if *update {
		out, err := json.MarshalIndent(all, "", "  ")
		require.NoError(t, err)
		require.NoError(t, os.WriteFile("examples.json", append(out, '\n'), 0o644))
	}
	assert.NotContains(t, strings.ToLower(string(exampleFile)), "/home/")
}
