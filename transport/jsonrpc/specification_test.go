package jsonrpc

import (
	"context"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"
)

// The methods that the specification's examples call.
func exampleTable() *Table {
	t := &Table{Limits: DefaultLimits}
	raw(t, "subtract", subtract)
	raw(t, "sum", func(_ context.Context, p jsontext.Value) (any, error) {
		var terms []float64
		if err := json.Unmarshal(p, &terms); err != nil {
			return nil, err
		}
		total := 0.0
		for _, v := range terms {
			total += v
		}
		return total, nil
	})
	raw(t, "get_data", func(context.Context, jsontext.Value) (any, error) {
		return []any{"hello", 5}, nil
	})
	for _, name := range []string{"update", "notify_hello", "notify_sum"} {
		raw(t, name, func(context.Context, jsontext.Value) (any, error) { return true, nil })
	}
	return t
}

// raw adds a method that takes parameters by position too.
func raw(t *Table, name string, h handler) { t.add(&Method{Name: name, handle: h}) }

func subtract(_ context.Context, p jsontext.Value) (any, error) {
	if p.Kind() == '[' {
		var places [2]float64
		err := json.Unmarshal(p, &places)
		return places[0] - places[1], err
	}
	var names struct{ Minuend, Subtrahend float64 }
	err := json.Unmarshal(p, &names)
	return names.Minuend - names.Subtrahend, err
}

func TestExamplesOfTheSpecification(t *testing.T) {
	script, err := os.ReadFile("testdata/specification.txt")
	require.NoError(t, err)
	cases := strings.Split(string(script), "\n== ")[1:]
	require.Len(t, cases, 15)
	for _, c := range cases {
		name, body, _ := strings.Cut(c, "\n")
		t.Run(name, func(t *testing.T) {
			var sent, want string
			for line := range strings.Lines(body) {
				if rest, ok := strings.CutPrefix(line, "--> "); ok {
					sent = strings.TrimSpace(rest)
				} else if rest, ok := strings.CutPrefix(line, "<-- "); ok {
					want = strings.TrimSpace(rest)
				}
			}
			require.NotEmpty(t, sent)
			got := exampleTable().Serve(t.Context(), []byte(sent))
			if want == "nothing" {
				require.Nil(t, got)
				return
			}
			require.JSONEq(t, withoutWords(t, []byte(want)), withoutWords(t, got))
		})
	}
}

// withoutWords drops what the specification leaves to the server: the wording
// of an error and its data.
func withoutWords(t *testing.T, b []byte) string {
	t.Helper()
	var v any
	require.NoError(t, json.Unmarshal(b, &v), "%s", b)
	var strip func(any)
	strip = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, e := range v {
				strip(e)
			}
		case map[string]any:
			if e, ok := v["error"].(map[string]any); ok {
				require.NotEmpty(t, e["message"])
				delete(e, "message")
				delete(e, "data")
			}
		}
	}
	strip(v)
	out, err := json.Marshal(v)
	require.NoError(t, err)
	return string(out)
}
