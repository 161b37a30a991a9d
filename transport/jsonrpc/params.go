package jsonrpc

import (
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"

	"coilside/rules"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// decode reads parameters by name into a struct: names match exactly, none is
// unknown, none comes twice, every required one is there. By position they are
// refused, as the order of fields is no promise; an empty list is no parameters.
func decode[Req any](params jsontext.Value) (Req, *Error) {
	var req Req
	if params == nil {
		params = jsontext.Value("{}")
	}
	if params.Kind() == '[' {
		if dec := loose(params); !emptyList(dec) {
			return req, invalid("params", "", "Pass parameters by name, as an object; by position they are not understood.")
		}
		params = jsontext.Value("{}")
	}
	if refusal := checkNumbers(params); refusal != nil {
		return req, refusal
	}
	if err := json.Unmarshal(params, &req, json.RejectUnknownMembers(true)); err != nil {
		return req, explain(err, reflect.TypeFor[Req]())
	}
	if missing := firstMissing(params, reflect.TypeFor[Req]()); missing != "" {
		return req, invalid(missing, "", "%s is missing.", missing)
	}
	return req, nil
}

func emptyList(dec *jsontext.Decoder) bool {
	_, err := dec.ReadToken()
	return err == nil && dec.PeekKind() == ']'
}

func invalid(field, near, format string, args ...any) *Error {
	return &Error{InvalidParams, fmt.Sprintf(format, args...), Detail{Kind: "invalid", Field: field, Nearest: near}}
}

// checkNumbers refuses numbers that no float64 holds, such as 1e309, wherever
// they stand: a type with a decoder of its own may not look.
func checkNumbers(params jsontext.Value) *Error {
	dec := loose(params)
	for {
		tok, err := dec.ReadToken()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return notJSON(err)
		}
		if tok.Kind() != '0' {
			continue
		}
		if v, err := strconv.ParseFloat(tok.String(), 64); err != nil || math.IsInf(v, 0) {
			field := dotted(dec.StackPointer())
			return invalid(field, "", "%s: %s is too large a number.", field, shorten(tok.String()))
		}
	}
}

// explain says what is wrong with parameters that do not fit struct t.
func explain(err error, t reflect.Type) *Error {
	if syntax, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		field := dotted(syntax.JSONPointer)
		if errors.Is(err, jsontext.ErrDuplicateName) {
			return invalid(field, "", "%s is given twice.", field)
		}
		return invalid(field, "", "%s: %v.", field, syntax.Err)
	}
	semantic, ok := errors.AsType[*json.SemanticError](err)
	if !ok {
		return invalid("params", "", "%v.", err)
	}
	field := dotted(semantic.JSONPointer)
	if errors.Is(semantic.Err, json.ErrUnknownName) {
		name := semantic.JSONPointer.LastToken()
		near := rules.Nearest(name, namesAt(t, semantic.JSONPointer.Parent()))
		return invalid(field, near, "There is no field %q here%s", field, suggestion(near))
	}
	if want := wanted(semantic.GoType); want != "" && (semantic.Err == nil || errors.Is(semantic.Err, strconv.ErrSyntax) || errors.Is(semantic.Err, strconv.ErrRange)) {
		return invalid(field, "", "%s must be %s, not %s.", field, want, given(semantic))
	}
	if semantic.Err != nil {
		return invalid(field, "", "%s", sentence(field, semantic.Err.Error()))
	}
	return invalid(field, "", "%s does not fit.", field)
}

// wanted says what a value of type t is written as; "" for types with a
// decoder of their own.
func wanted(t reflect.Type) string {
	if t == nil {
		return ""
	}
	switch t.Kind() {
	case reflect.Pointer:
		return wanted(t.Elem())
	case reflect.Bool:
		return "true or false"
	case reflect.String:
		return "text"
	case reflect.Float32, reflect.Float64:
		return "a number"
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return "a whole number of 0 or more"
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return "a whole number"
	case reflect.Slice, reflect.Array:
		return "a list"
	case reflect.Struct, reflect.Map:
		return "an object"
	}
	return ""
}

func given(e *json.SemanticError) string {
	if e.JSONKind == '0' && len(e.JSONValue) > 0 {
		return shorten(string(e.JSONValue))
	}
	return kindWords(e.JSONKind)
}

func shorten(s string) string {
	if len(s) > 40 {
		return s[:37] + "..."
	}
	return s
}

// sentence makes what a type's own decoder says name its field and end well.
func sentence(field, s string) string {
	if !strings.Contains(s, field) {
		s = field + ": " + s
	}
	if strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// dotted writes a pointer the way people name fields: circuit.load.amps.
func dotted(p jsontext.Pointer) string {
	var parts []string
	for token := range p.Tokens() {
		parts = append(parts, token)
	}
	if len(parts) == 0 {
		return "params"
	}
	return shorten(strings.Join(parts, "."))
}
