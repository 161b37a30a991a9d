package transport

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"coilside/transport/jsonrpc"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// version is of the calls, not of the program.
const version = "0.1.0"

// schema is a JSON Schema, draft 7, or any other part of the document.
type schema map[string]any

// describe writes the OpenRPC 1.3 document (https://spec.open-rpc.org) of the
// methods from their Go types, so that it cannot drift from what is served.
func describe(methods []*jsonrpc.Method, url string) []byte {
	types := &schemas{components: schema{}, names: map[string]reflect.Type{}}
	all, err := readExamples()
	var list []schema
	for _, m := range methods {
		examples, wrong := examplesOf(all, m.Name)
		err = errors.Join(err, wrong)
		list = append(list, schema{
			"name":           m.Name,
			"examples":       examples,
			"summary":        m.Words,
			"paramStructure": "by-name",
			"params":         params(types, m.Params),
			"result":         schema{"name": resultName(m.Result), "schema": types.of(m.Result)},
			"errors":         errorRefs(m.Name),
		})
	}
	document := schema{
		"openrpc": "1.3.2",
		"info": schema{"title": "coilside", "version": version,
			"description": "Leads a technician from a complaint about a relay-controlled vehicle circuit to the proven fault. " +
				"Volts, ohms, amperes, degrees Celsius and minutes throughout. Parameters go by name; names are exact, unknown ones are refused."},
		"servers":    []schema{{"name": "this service", "url": url + "/rpc"}},
		"methods":    list,
		"components": schema{"schemas": types.components, "errors": errorComponents()},
	}
	out, wrong := json.Marshal(document, json.Deterministic(true), jsontext.WithIndent("  "))
	if err := errors.Join(err, wrong); err != nil {
		panic("transport: the OpenRPC document cannot be written: " + err.Error())
	}
	return out
}

// params lists the parameters, the required ones first as OpenRPC has it.
func params(types *schemas, t reflect.Type) []schema {
	out := []schema{}
	members := jsonrpc.Members(t)
	slices.SortStableFunc(members, func(a, b jsonrpc.Member) int { return rank(a) - rank(b) })
	for _, m := range members {
		out = append(out, schema{"name": m.Name, "description": paramWordsFor(t.Name(), m.Name), "required": !m.Optional, "schema": types.of(m.Type)})
	}
	return out
}

func rank(m jsonrpc.Member) int {
	if m.Optional {
		return 1
	}
	return 0
}

func resultName(t reflect.Type) string {
	if t.Name() == "Value" {
		return "document"
	}
	return strings.ToLower(t.Name())
}

func errorKey(w wireKind) string { return string(w.kind) }

func errorComponents() schema {
	out := schema{}
	for _, w := range wireKinds {
		out[errorKey(w)] = schema{"code": w.code, "message": w.words}
	}
	return out
}

// errorRefs lists the errors a method may answer with. Which of the session's
// kinds a call meets depends on the job, so every method names them all.
func errorRefs(method string) []schema {
	var out []schema
	for _, w := range wireKinds {
		if w.kind != kindWebSocketOnly || method == "job.watch" {
			out = append(out, schema{"$ref": "#/components/errors/" + errorKey(w)})
		}
	}
	return out
}

// described adds words to a schema. A reference takes nothing beside it (JSON
// Schema, draft 7, section 8.3), so it is wrapped.
func described(of schema, words string) schema {
	if of["$ref"] != nil {
		of = schema{"allOf": []schema{of}}
	}
	out := maps.Clone(of)
	if words != "" {
		out["description"] = words
	}
	return out
}

// schemas turns Go types into JSON Schemas; structs become components.
type schemas struct {
	components schema
	names      map[string]reflect.Type
}

func (s *schemas) of(t reflect.Type) schema {
	if own, ok := wireSchemas[t]; ok {
		return own
	}
	switch t.Kind() {
	case reflect.Pointer:
		return schema{"oneOf": []schema{s.of(t.Elem()), {"type": "null"}}}
	case reflect.Bool:
		return schema{"type": "boolean"}
	case reflect.String:
		return schema{"type": "string"}
	case reflect.Float32, reflect.Float64:
		return schema{"type": "number"}
	case reflect.Int, reflect.Int64, reflect.Int32:
		return schema{"type": "integer"}
	case reflect.Uint, reflect.Uint64, reflect.Uint32:
		return schema{"type": "integer", "minimum": 0}
	case reflect.Slice:
		return schema{"type": "array", "items": s.of(t.Elem())}
	case reflect.Map:
		return schema{"type": "object", "additionalProperties": s.of(t.Elem())}
	case reflect.Struct:
		return s.component(t)
	}
	panic(fmt.Sprintf("transport: %v has no schema; give it one in wireSchemas", t))
}

// component describes a struct once and refers to it. What is required is what
// answers always carry.
func (s *schemas) component(t reflect.Type) schema {
	ref := schema{"$ref": "#/components/schemas/" + t.Name()}
	if known, ok := s.names[t.Name()]; ok {
		if known != t {
			panic(fmt.Sprintf("transport: %v and %v would share one name", known, t))
		}
		return ref
	}
	s.names[t.Name()] = t // before its members, which may refer back to it
	properties, required := schema{}, []string{}
	for _, m := range jsonrpc.Members(t) {
		properties[m.Name] = described(s.of(m.Type), wordsFor(t.Name(), m.Name))
		if !m.Optional {
			required = append(required, m.Name)
		}
	}
	body := schema{"type": "object", "properties": properties}
	if len(required) > 0 {
		body["required"] = required
	}
	s.components[t.Name()] = body
	return ref
}
