package transport

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"coilside/session"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func document(t *testing.T, r *running) object {
	t.Helper()
	resp, body := get(t, r.url+"/openrpc.json", nil)
	require.Equal(t, 200, resp.StatusCode)
	var served, discovered object
	require.NoError(t, json.Unmarshal([]byte(body), &served))
	overHTTP(r).ask(t, "rpc.discover", object{}, &discovered)
	assert.Equal(t, served, discovered)
	return served
}

// OpenRPC Specification 1.3, "Method Object" and "Content Descriptor Object":
// unique method names, unique parameter names, required ones before optional.
func TestOpenRPCDocument(t *testing.T) {
	r := startServer(t)
	doc := document(t, r)
	assert.Equal(t, r.url+"/rpc", doc["servers"].([]any)[0].(object)["url"])
	names := map[string]bool{}
	for _, m := range doc["methods"].([]any) {
		method := m.(object)
		name := method["name"].(string)
		assert.False(t, names[name], "%s twice", name)
		names[name] = true
		assert.NotEmpty(t, method["summary"])
		assert.NotEmpty(t, method["result"].(object)["schema"])
		optional, params := false, map[string]bool{}
		for _, p := range method["params"].([]any) {
			param := p.(object)
			assert.NotEmpty(t, param["description"], "%s: %s has no words", name, param["name"])
			assert.False(t, params[param["name"].(string)])
			params[param["name"].(string)] = true
			assert.False(t, optional && param["required"].(bool), "%s: %s comes after an optional one", name, param["name"])
			optional = optional || !param["required"].(bool)
		}
	}
	for _, name := range []string{"rpc.discover", "job.open", "job.tell", "job.record", "job.retract", "job.skip", "job.next", "job.suspects", "job.explain",
		"job.repair", "job.close", "job.list", "job.show", "job.report", "job.watch", "rules.list", "rules.show", "rules.check", "rules.reload"} {
		assert.True(t, names[name], "%s is not described", name)
	}
}

func TestParameterWordsAreUsed(t *testing.T) {
	used := string(describeNow(t))
	all := maps.Clone(paramWords)
	maps.Copy(all, memberWords)
	for name, words := range all {
		quoted, err := json.Marshal(words)
		require.NoError(t, err)
		assert.True(t, strings.Contains(used, strings.ReplaceAll(string(quoted), `\u0026`, "&")), "%s: no member is so described", name)
	}
}

// Every member of every type has words, with its unit where it has one.
func TestMembersAreDescribed(t *testing.T) {
	var doc object
	require.NoError(t, json.Unmarshal(describeNow(t), &doc))
	for name, c := range doc["components"].(object)["schemas"].(object) {
		properties, _ := c.(object)["properties"].(object)
		for member, p := range properties {
			assert.NotEmpty(t, p.(object)["description"], "%s.%s has no words", name, member)
		}
	}
}

func describeNow(t *testing.T) []byte {
	_, body := get(t, startServer(t).url+"/openrpc.json", nil)
	return []byte(body)
}

// Every reference leads somewhere, and what the service answers is what the
// document says it answers.
func TestAnswersAreAsDescribed(t *testing.T) {
	r := startServer(t)
	doc := document(t, r)
	results := map[string]any{}
	for _, m := range doc["methods"].([]any) {
		method := m.(object)
		results[method["name"].(string)] = method["result"].(object)["schema"]
		for _, e := range method["errors"].([]any) {
			require.NotNil(t, resolve(t, doc, e.(object)))
		}
	}
	call := overHTTP(r)
	var opened session.Opened
	call.ask(t, "job.open", fan(), &opened)
	job := opened.Job
	for _, c := range []struct {
		method string
		params object
	}{
		{"job.open", fan()},
		{"job.tell", object{"job": job, "text": "12.4 volts at 86, no click"}},
		{"job.record", object{"job": job, "test": opened.Reply.Next.ID, "answer": "unsure"}},
		{"job.next", object{"job": job}},
		{"job.suspects", object{"job": job}},
		{"job.explain", object{"job": job, "suspect": "coil.open"}},
		{"job.show", object{"job": job}},
		{"job.report", object{"job": job}},
		{"job.list", object{}},
		{"job.close", object{"job": job, "outcome": "abandoned"}},
		{"rules.list", object{}},
		{"rules.show", object{}},
		{"rules.check", object{}},
	} {
		var result any
		call.ask(t, c.method, c.params, &result)
		assert.Empty(t, misfits(t, doc, results[c.method].(object), result, c.method), c.method)
	}
	assert.NotEmpty(t, misfits(t, doc, results["job.next"].(object), object{"job": 5, "seq": 1.5, "tests": object{}, "more": 1}, ""), "the check itself finds slips")
}

func resolve(t *testing.T, doc, s object) object {
	t.Helper()
	ref, ok := s["$ref"].(string)
	if !ok {
		return s
	}
	at := any(doc)
	for _, part := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		at = at.(object)[part]
		require.NotNil(t, at, ref)
	}
	return at.(object)
}

// misfits says where v is not as schema s has it: the part of JSON Schema that
// the document uses.
func misfits(t *testing.T, doc, s object, v any, path string) []string {
	s = resolve(t, doc, s)
	if all, ok := s["allOf"].([]any); ok {
		return misfits(t, doc, all[0].(object), v, path)
	}
	if of, ok := s["oneOf"].([]any); ok {
		if !slices.ContainsFunc(of, func(one any) bool { return len(misfits(t, doc, one.(object), v, path)) == 0 }) {
			return []string{path + " fits none"}
		}
		return nil
	}
	wrong := []string{fmt.Sprintf("%s is %T, not %v", path, v, s["type"])}
	var out []string
	switch v := v.(type) {
	case nil:
		if s["type"] == "null" {
			return nil
		}
	case bool:
		if s["type"] == "boolean" {
			return nil
		}
	case string:
		if s["type"] == "string" {
			return nil
		}
	case float64:
		if s["type"] == "number" || s["type"] == "integer" && v == math.Trunc(v) {
			return nil
		}
	case []any:
		if s["type"] == "array" {
			for i, e := range v {
				out = append(out, misfits(t, doc, s["items"].(object), e, fmt.Sprint(path, ".", i))...)
			}
			return out
		}
	case object:
		if s["type"] == "object" {
			return memberMisfits(t, doc, s, v, path)
		}
	}
	return wrong
}

func memberMisfits(t *testing.T, doc, s, v object, path string) (out []string) {
	properties, _ := s["properties"].(object)
	for name, e := range v {
		known, ok := properties[name].(object)
		if !ok {
			known, ok = s["additionalProperties"].(object)
		}
		if !ok {
			out = append(out, path+"."+name+" is not described")
			continue
		}
		out = append(out, misfits(t, doc, known, e, path+"."+name)...)
	}
	required, _ := s["required"].([]any)
	for _, name := range required {
		if _, ok := v[name.(string)]; !ok {
			out = append(out, fmt.Sprint(path, ".", name, " is missing"))
		}
	}
	return out
}
