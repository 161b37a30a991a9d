package rules

import (
	_ "embed"
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"slices"
	"strings"
	"unicode"
)

// model is this package's own types with their comments, which the schema shows to authors.
//
//go:embed model.go
var model string

// Schema is a JSON Schema, 2020-12, of rule files, for editors that complete and explain. Fields,
// their types and their words are those of the Go types.
func Schema() map[string]any {
	s := &schemas{docs: fieldDocs(), defs: map[string]any{}}
	sections := map[string]any{}
	for _, section := range []struct {
		name string
		of   reflect.Type
	}{
		{"facts", reflect.TypeFor[Fact]()}, {"parameters", reflect.TypeFor[Parameter]()}, {"circuits", reflect.TypeFor[Circuit]()},
		{"complaints", reflect.TypeFor[Complaint]()}, {"suspects", reflect.TypeFor[Suspect]()}, {"tests", reflect.TypeFor[Test]()},
		{"rules", reflect.TypeFor[Rule]()}, {"words", reflect.TypeFor[Synonym]()},
	} {
		sections[section.name] = map[string]any{"type": "array", "items": s.ref(section.of)}
	}
	sections["tables"] = map[string]any{"type": "array", "items": map[string]any{"type": "object"}} // their columns are their own
	sections["changes"] = map[string]any{"type": "array", "items": changeSchema()}
	for _, of := range []string{"Fact", "Parameter", "Circuit", "Complaint", "Suspect", "Test", "Rule"} {
		s.defs[of].(map[string]any)["properties"].(map[string]any)["was"] = wasSchema()
	}
	return map[string]any{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Rule file", "type": "object",
		"additionalProperties": false, "properties": sections, "$defs": s.defs,
	}
}

// changeSchema is one entry of `changes`.
func changeSchema() map[string]any {
	text, number := map[string]any{"type": "string"}, map[string]any{"type": "number"}
	properties := map[string]any{
		"because": text, "source": text, "was": wasSchema(), "prior": number, "value": number, "off": map[string]any{"type": "boolean"},
		"minutes": map[string]any{"anyOf": []any{number, map[string]any{"type": "array", "items": number}}},
		"priors":  map[string]any{"type": "object", "additionalProperties": number},
	}
	for _, kind := range changeKinds {
		properties[kind] = map[string]any{"type": "string", "description": "the " + kind + " of an earlier ruleset of which one thing is changed"}
	}
	return map[string]any{"type": "object", "additionalProperties": false, "properties": properties, "required": []string{"because"}}
}

func wasSchema() map[string]any {
	return map[string]any{"description": "what stood underneath when this was written; the check tells when that changes"}
}

type schemas struct {
	docs map[string]string // "Rule.When" to its comment
	defs map[string]any
}

// fieldDocs reads the comments of types and fields.
func fieldDocs() map[string]string {
	out := map[string]string{}
	file, err := parser.ParseFile(token.NewFileSet(), "model.go", model, parser.ParseComments)
	if err != nil {
		return out // it compiled
	}
	for _, d := range file.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok {
			continue
		}
		for _, spec := range g.Specs {
			t, ok := spec.(*ast.TypeSpec)
			if !ok {
				continue
			}
			out[t.Name.Name] = words(g.Doc)
			fields, ok := t.Type.(*ast.StructType)
			if !ok {
				continue
			}
			for _, f := range fields.Fields.List {
				for _, name := range f.Names {
					out[t.Name.Name+"."+name.Name] = words(f.Doc, f.Comment)
				}
			}
		}
	}
	return out
}

func words(groups ...*ast.CommentGroup) string {
	var out []string
	for _, g := range groups {
		if g != nil {
			out = append(out, strings.Join(strings.Fields(g.Text()), " "))
		}
	}
	return strings.TrimSpace(strings.Join(out, " "))
}

// written gives the fields whose name in files is not the Go name in small letters, and
// those that are not written at all ("").
var written = map[string]string{
	"Pos": "", "Suspect.Element": "", "Suspect.Fault": "", "Rule.Late": "", "ComesAnd": "comes_and_goes", "Circuit.Chains": "chains", "Chain.Steps": "chain",
	"Quantity.Value": "", "Wiring.Shares": "", "Complaint.Own": "",
}

// extra are what files have beside the fields of the type.
var extra = map[string]map[string]any{
	"Rule":     {"off": map[string]any{"type": "boolean", "description": "true: the rule of this id in an earlier ruleset is switched off"}},
	"Quantity": spreadFields(),
	"Wiring":   {"of": map[string]any{"type": "object", "additionalProperties": map[string]any{"type": "number", "minimum": 0}, "description": "each choice with its share"}},
}

func spreadFields() map[string]any {
	expression := map[string]any{"type": []string{"number", "string"}}
	pair := map[string]any{"type": "array", "items": expression, "minItems": 2, "maxItems": 2}
	return map[string]any{"exactly": expression, "about": expression, "spread": expression, "plus_minus": expression, "between": pair, "even": pair}
}

// required are the fields that an item cannot do without.
var required = map[string][]string{
	"Fact": {"id"}, "Parameter": {"id", "value", "source"}, "Suspect": {"id"}, "Test": {"id", "measure", "say"},
	"Rule": {"id"}, "Action": {"do"}, "Measure": {"mode"}, "Synonym": {"means", "said"}, "Complaint": {"id"}, "Circuit": {"id"},
}

// ref gives the schema of a type, which stands under $defs.
func (s *schemas) ref(t reflect.Type) map[string]any {
	name := t.Name()
	if _, done := s.defs[name]; !done {
		s.defs[name] = true // a type may hold itself
		properties := map[string]any{"for": map[string]any{"type": "object", "description": "writes the item out for each value: for: {T: [30, 87]} replaces {T}"}}
		for i := range t.NumField() {
			f := t.Field(i)
			key, ok := fileName(name, f.Name)
			if !f.IsExported() || !ok {
				continue
			}
			p := s.of(f.Type, key)
			if doc := s.docs[name+"."+f.Name]; doc != "" {
				p["description"] = doc
			}
			properties[key] = p
		}
		for key, p := range extra[name] {
			properties[key] = p
		}
		def := map[string]any{"type": "object", "additionalProperties": false, "properties": properties, "description": s.docs[name]}
		if need := required[name]; need != nil {
			def["required"] = need
		}
		s.defs[name] = def
	}
	return map[string]any{"$ref": "#/$defs/" + name}
}

// fileName is what a field is called in files; false where it is not written.
func fileName(owner, field string) (string, bool) {
	for _, key := range []string{owner + "." + field, field} {
		if name, ok := written[key]; ok {
			return name, name != ""
		}
	}
	if field == "ID" {
		return "id", true
	}
	var b strings.Builder
	for i, r := range field {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String(), true
}

// of gives the schema of a field.
func (s *schemas) of(t reflect.Type, key string) map[string]any {
	switch t {
	case reflect.TypeFor[*Formula](), reflect.TypeFor[*Condition]():
		return map[string]any{"type": []string{"string", "number", "boolean"}}
	case reflect.TypeFor[*Spread](), reflect.TypeFor[Spread]():
		return map[string]any{"anyOf": []any{map[string]any{"type": []string{"number", "string"}}, map[string]any{"type": "object", "additionalProperties": false, "properties": spreadFields()}}}
	case reflect.TypeFor[Mode]():
		return oneWord(modeNames())
	case reflect.TypeFor[Do]():
		return oneWord(slices.Sorted(slices.Values(doNames)))
	case reflect.TypeFor[Kind]():
		return oneWord([]string{string(Bool), string(Number), string(Choice), string(Text)})
	}
	switch t.Kind() {
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Slice, reflect.Array:
		return s.list(t, key)
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": s.of(t.Elem(), key)}
	case reflect.Pointer:
		return s.of(t.Elem(), key)
	case reflect.Struct:
		return s.ref(t)
	}
	if choices := fieldChoices[key]; choices != nil {
		return oneWord(choices)
	}
	return map[string]any{"type": []string{"string", "number", "boolean"}}
}

// list allows one value where files may leave the brackets out.
func (s *schemas) list(t reflect.Type, key string) map[string]any {
	item := s.of(t.Elem(), "")
	list := map[string]any{"type": "array", "items": item}
	if t.Elem().Kind() == reflect.String || key == "minutes" {
		return map[string]any{"anyOf": []any{list, item}}
	}
	return list
}

// fieldChoices are the words that a field takes, where they are fixed.
var fieldChoices = map[string][]string{
	"relay": {"in", "out", "bench"}, "coil": {"rest", "energised"}, "how": {"clamp", "fuse_drop", "series"},
	"during": {"wiggle", "command", "crank"}, "short_to": {"ground", "supply"}, "hold": {"closed", "open", "over", "rest", "inverted", "reversed"},
	"only": {"hot", "loaded", "engine_off", "neighbours_on", "tap_on"}, "heat": {"soaked"}, "engine": {"running", "off"}, "instead": {"make", "rest"},
}

// oneWord is one of some words, or what `for` makes one of: {T}.
func oneWord(of []string) map[string]any {
	return map[string]any{"anyOf": []any{map[string]any{"enum": of}, map[string]any{"type": "string", "pattern": `\{\w+\}`}}}
}
