package jsonrpc

import (
	"reflect"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
)

// Member is one field of a struct as it appears on the wire.
type Member struct {
	Name     string
	Type     reflect.Type
	Optional bool // tagged omitempty or omitzero
}

// Members lists the fields of struct t, those of embedded structs in place.
// Anything but a struct has none.
func Members(t reflect.Type) []Member {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return nil
	}
	var out []Member
	for f := range t.Fields() {
		tag, tagged := f.Tag.Lookup("json")
		name, options, _ := strings.Cut(tag, ",")
		switch {
		case f.Anonymous && !tagged:
			out = append(out, Members(f.Type)...)
		case !f.IsExported() || name == "-":
		default:
			if name == "" {
				name = f.Name
			}
			optional := strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")
			out = append(out, Member{name, f.Type, optional})
		}
	}
	return out
}

// namesAt lists the names that the object at p, within a value of type t, may have.
func namesAt(t reflect.Type, p jsontext.Pointer) []string {
	for token := range p.Tokens() {
		t = memberType(t, token)
		if t == nil {
			return nil
		}
	}
	var names []string
	for _, m := range Members(t) {
		names = append(names, m.Name)
	}
	return names
}

func memberType(t reflect.Type, token string) reflect.Type {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Slice, reflect.Array, reflect.Map:
		return t.Elem()
	}
	for _, m := range Members(t) {
		if m.Name == token {
			return m.Type
		}
	}
	return nil
}

// firstMissing names the first member of t that must be there and is not, or is
// null where null says nothing.
func firstMissing(params jsontext.Value, t reflect.Type) string {
	given := map[string]bool{}
	dec := loose(params)
	if _, err := dec.ReadToken(); err != nil {
		return ""
	}
	for dec.PeekKind() == '"' {
		name, err := dec.ReadToken()
		if err != nil {
			return ""
		}
		member := name.String()
		value, err := dec.ReadValue()
		if err != nil {
			return ""
		}
		given[member] = value.Kind() != 'n'
	}
	for _, m := range Members(t) {
		if !m.Optional && !given[m.Name] {
			return m.Name
		}
	}
	return ""
}
