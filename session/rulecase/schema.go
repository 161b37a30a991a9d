package rulecase

import (
	_ "embed"
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"strings"

	"go.yaml.in/yaml/v3"
)

// source is this package's own types with their comments, which the schema shows to authors.
//
//go:embed read.go
var source string

// Schema is a JSON Schema, 2020-12, of case files, for editors that complete and explain, from the
// Go types.
func Schema() map[string]any {
	docs := comments()
	one := object(reflect.TypeFor[Case](), "Case", docs)
	one["properties"].(map[string]any)["for"] = map[string]any{"type": "object", "description": "writes the case out for each value: for: {T: [30, 87]} replaces {T}"}
	one["required"] = []string{"id"}
	return map[string]any{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Case file", "type": "object", "additionalProperties": false,
		"properties": map[string]any{
			"given": map[string]any{"type": "object", "description": "facts that every case of this file starts from"},
			"cases": map[string]any{"type": "array", "items": one},
		},
	}
}

// object gives the schema of a struct by its yaml tags.
func object(t reflect.Type, name string, docs map[string]string) map[string]any {
	properties := map[string]any{}
	for i := range t.NumField() {
		f := t.Field(i)
		key, _, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		if key == "" || key == "-" {
			continue
		}
		p := schemaOf(f.Type, docs)
		if doc := docs[name+"."+f.Name]; doc != "" {
			p["description"] = doc
		}
		properties[key] = p
	}
	return map[string]any{"type": "object", "additionalProperties": false, "properties": properties, "description": docs[name]}
}

func schemaOf(t reflect.Type, docs map[string]string) map[string]any {
	if t == reflect.TypeFor[yaml.Node]() {
		return map[string]any{}
	}
	switch t.Kind() {
	case reflect.Pointer:
		p := schemaOf(t.Elem(), docs)
		if t.Elem().Kind() == reflect.String {
			p["type"] = []string{"string", "number", "boolean", "null"}
		}
		return p
	case reflect.Slice:
		return map[string]any{"type": "array", "items": schemaOf(t.Elem(), docs)}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": schemaOf(t.Elem(), docs)}
	case reflect.Struct:
		return object(t, t.Name(), docs)
	case reflect.Float64:
		return map[string]any{"type": []string{"number", "string"}}
	}
	return map[string]any{"type": []string{"string", "number", "boolean"}}
}

// comments reads what stands beside types and fields.
func comments() map[string]string {
	out := map[string]string{}
	file, err := parser.ParseFile(token.NewFileSet(), "read.go", source, parser.ParseComments)
	if err != nil {
		return out // it compiled
	}
	ast.Inspect(file, func(n ast.Node) bool {
		t, ok := n.(*ast.TypeSpec)
		if !ok {
			return true
		}
		fields, ok := t.Type.(*ast.StructType)
		if !ok {
			return true
		}
		for _, f := range fields.Fields.List {
			for _, name := range f.Names {
				out[t.Name.Name+"."+name.Name] = strings.Join(strings.Fields(f.Doc.Text()+" "+f.Comment.Text()), " ")
			}
		}
		return true
	})
	return out
}
