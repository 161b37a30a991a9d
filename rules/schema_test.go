package rules_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/rules"
)

func schemaDocument(t *testing.T) map[string]any {
	t.Helper()
	text, err := json.Marshal(rules.Schema())
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(text, &doc))
	return doc
}

func ruleSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("rules.json", any(schemaDocument(t))))
	s, err := c.Compile("rules.json")
	require.NoError(t, err)
	return s
}

// decoded is a YAML file as JSON sees it.
func decoded(t *testing.T, data []byte) any {
	t.Helper()
	var v any
	require.NoError(t, yaml.Unmarshal(data, &v))
	text, err := json.Marshal(keyed(v))
	require.NoError(t, err)
	out, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
	require.NoError(t, err)
	return out
}

// keyed makes the keys of mappings text, as {30: 1} is allowed in YAML.
func keyed(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k := range v {
			v[k] = keyed(v[k])
		}
	case map[any]any:
		out := map[string]any{}
		for k, x := range v {
			text, _ := json.Marshal(k)
			out[strings.Trim(string(text), `"`)] = keyed(x)
		}
		return out
	case []any:
		for i := range v {
			v[i] = keyed(v[i])
		}
	}
	return v
}

// What the loader takes the schema takes: every rule file of the tree.
func TestSchemaTakesEveryRuleFile(t *testing.T) {
	schema := ruleSchema(t)
	files := 0
	for _, root := range []string{"../rulesets/relay", "../testdata/published", "../testdata/broken/base", "../testdata/findings/base", "../testdata/nocircuit"} {
		require.NoError(t, filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() && d.Name() == "cases" {
				return fs.SkipDir
			}
			if d.IsDir() || filepath.Ext(name) != ".yaml" {
				return nil
			}
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			assert.NoError(t, schema.Validate(decoded(t, data)), name)
			files++
			return nil
		}))
	}
	require.Greater(t, files, 20)
}

// A shop's ways of laying its own over what is shipped are known to the schema too.
func TestSchemaTakesOverrides(t *testing.T) {
	shop := `
changes:
  - {suspect: lamp.open, prior: 7, was: 1, because: Ours blow.}
  - {test: lamp_volts, minutes: [4, 5, 6], because: It is behind the trim.}
rules:
  - {id: outside_is_wet, off: true, was: "0a1b2c3d"}
`
	assert.NoError(t, ruleSchema(t).Validate(decoded(t, []byte(shop))))
	assert.Error(t, ruleSchema(t).Validate(decoded(t, []byte("changes: [{suspect: lamp.open, priors: 7, because: x}]"))))
}

// Misspelt fields and words show in the editor already.
func TestSchemaRefusesSlips(t *testing.T) {
	schema := ruleSchema(t)
	for _, name := range []string{"unknown_field", "unknown_action", "test_unknown_mode", "unknown_section"} {
		archive, err := txtar.ParseFile("../testdata/broken/" + name + ".txtar")
		require.NoError(t, err)
		assert.Error(t, schema.Validate(decoded(t, archive.Files[0].Data)), name)
	}
}

// The fields of the schema are those that the loader reads, taken from its own calls.
func TestSchemaHasTheLoadersFields(t *testing.T) {
	defs := schemaDocument(t)["$defs"].(map[string]any)
	names := map[string]string{"rule": "Rule", "action": "Action", "fact": "Fact", "parameter": "Parameter", "complaint": "Complaint", "word": "Synonym",
		"suspect": "Suspect", "repair": "Repair", "effect": "Effect", "test": "Test", "measure": "Measure", "setup": "Setup", "expect": "Expect",
		"circuit": "Circuit", "name": "DerivedName", "wiring": "Wiring", "quantity": "Quantity", "part": "Element", "chain": "Chain"}
	seen := 0
	for what, fields := range loaderFields(t) {
		def, ok := names[what]
		if !ok {
			continue
		}
		seen++
		properties := defs[def].(map[string]any)["properties"].(map[string]any)
		for _, f := range fields {
			assert.Contains(t, properties, f, "%s: the loader reads %q", what, f)
			if p, ok := properties[f].(map[string]any); ok && def != "Quantity" && f != "id" {
				assert.True(t, len(p) > 0, "%s.%s", what, f)
			}
		}
		for key := range properties {
			if key != "for" && key != "was" { // taken out before the item is read
				assert.False(t, refused(t, what, key), "%s: the schema has %q, which the loader refuses", what, key)
			}
		}
	}
	assert.Equal(t, len(names), seen)
}

// loaderFields reads the calls r.object(node, "what", "field", ...) of this package.
func loaderFields(t *testing.T) map[string][]string {
	out := map[string][]string{}
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) < 3 {
				return true
			}
			if f, ok := call.Fun.(*ast.SelectorExpr); !ok || f.Sel.Name != "object" {
				return true
			}
			var words []string
			ast.Inspect(call, func(n ast.Node) bool {
				if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
					word, _ := strconv.Unquote(lit.Value)
					words = append(words, word)
				}
				return true
			})
			out[words[0]] = append(out[words[0]], words[1:]...)
			return true
		})
	}
	return out
}

// refused says whether the loader calls a field unknown in such an item.
func refused(t *testing.T, what, key string) bool {
	at := map[string]string{"rule": "rules: [{K: 1}]", "action": "rules: [{then: [{K: 1}]}]", "fact": "facts: [{K: 1}]", "parameter": "parameters: [{K: 1}]",
		"complaint": "complaints: [{K: 1}]", "word": "words: [{K: 1}]", "suspect": "suspects: [{K: 1}]", "repair": "suspects: [{repair: {K: 1}}]",
		"effect": "suspects: [{does: [{K: 1}]}]", "test": "tests: [{K: 1}]", "measure": "tests: [{measure: {K: 1}}]", "setup": "tests: [{setup: {K: 1}}]",
		"expect": "tests: [{expect: [{K: 1}]}]", "circuit": "circuits: [{K: 1}]", "name": "circuits: [{names: [{K: 1}]}]", "wiring": "circuits: [{wiring: [{K: 1}]}]",
		"quantity": "circuits: [{vary: [{K: 1}]}]", "part": "circuits: [{parts: [{K: 1}]}]", "chain": "circuits: [{chains: [{K: 1}]}]"}[what]
	require.NotEmpty(t, at, what)
	_, err := rules.Load(rules.Layer{Name: "x", FS: fstest.MapFS{"x.yaml": {Data: []byte(strings.ReplaceAll(at, "K", key))}}})
	var found rules.Errors
	if err == nil {
		return false
	}
	require.ErrorAs(t, err, &found, "%s %s", what, key)
	return slices.ContainsFunc(found, func(e *rules.Error) bool {
		return e.Code == rules.CodeField && strings.Contains(e.Message, "is not a field of this "+what)
	})
}
