package rules_test

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// fails loads one file and gives the only error found.
func fails(t *testing.T, text string) *rules.Error {
	t.Helper()
	_, err := load(text)
	var found rules.Errors
	require.ErrorAs(t, err, &found, "should not load:\n%s", text)
	require.Len(t, found, 1, "%s", found)
	return found[0]
}

func load(text string) (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "t", FS: fstest.MapFS{"a.yaml": {Data: []byte(text)}}})
}

const positionFacts = `facts:
  - {id: wet, kind: bool}
  - {id: name, of: [grün, ok]}
`

// TestPlaces holds the place of the word `oops` in every scalar style: YAML
// folds, escapes and indents, and the error must still point at the word.
func TestPlaces(t *testing.T) {
	cases := map[string]string{
		"plain":                   "    when: wet and oops\n",
		"plain over two lines":    "    when: wet\n      and oops\n",
		"plain over blank line":   "    when: wet\n\n      and oops or\n      wet\n",
		"plain after tab":         "    when:\twet and oops\n",
		"single quotes":           "    when: 'wet and oops'\n",
		"single quote doubled":    "    when: 'name == ''ok'' and oops'\n",
		"single over two lines":   "    when: 'wet and\n      oops'\n",
		"double quotes":           "    when: \"wet and oops\"\n",
		"double with escapes":     "    when: \"name == \\\"ok\\\" and \\x6fops\"\n",
		"double with code point":  "    when: \"name == \\\"gr\\u00fcn\\\" and oops\"\n",
		"double with line escape": "    when: \"wet \\\n      and oops\"\n",
		"double over two lines":   "    when: \"wet and\n\n      oops\"\n",
		"wide letters":            "    when: name == \"grün\" and oops\n",
		"literal":                 "    when: |\n      wet and oops\n",
		"literal second line":     "    when: |\n      wet\n      and oops\n",
		"literal indented":        "    when: |\n      wet\n          and oops\n",
		"literal blank lines":     "    when: |\n\n      wet\n\n      and oops\n",
		"literal with indicator":  "    when: |2-\n        wet\n      and oops\n",
		"literal with comment":    "    when: | # why\n      wet and\n      oops\n",
		"folded":                  "    when: >\n      wet\n      and oops\n",
		"folded strip":            "    when: >-\n      wet and\n      oops\n",
		"folded blank lines":      "    when: >\n      wet\n\n\n      and oops\n",
		"folded more indented":    "    when: >\n      wet\n        and\n      oops\n",
		"key apart":               "    when:\n      wet and oops\n",
		"windows line ends":       "    when: |\r\n      wet\r\n      and oops\r\n",
	}
	for name, when := range cases {
		t.Run(name, func(t *testing.T) {
			text := positionFacts + "rules:\n  - id: r\n" + when + "    then: [{do: advise, say: Look.}]\n    because: A test.\n"
			line, column := find(text)
			e := fails(t, text)
			require.Equal(t, rules.CodeName, e.Code, e)
			require.Equal(t, rules.Pos{File: "t/a.yaml", Line: line, Column: column}, e.Pos, "%s", e)
			shown := strings.Split(e.Snippet, "\n")
			mark := strings.Index(shown[1], "^")
			width := strings.Count(shown[1], "^")
			word := string([]rune(shown[0])[mark : mark+width])
			require.Contains(t, []string{"oops", `\x6fops`}, word)
		})
	}
}

// find gives line and column, in letters from 1, of the word oops.
func find(text string) (int, int) {
	at := strings.Index(text, "oops")
	if at < 0 {
		at = strings.Index(text, `\x6fops`)
	}
	before := text[:at]
	return strings.Count(before, "\n") + 1, len([]rune(before[strings.LastIndex(before, "\n")+1:])) + 1
}

// TestPlacesAfterFor holds that a slip in an item written once for many is shown
// where it was written, whatever the lengths of the values.
func TestPlacesAfterFor(t *testing.T) {
	for _, values := range []string{"[a, b]", "[a_much_longer_value, b]"} {
		text := fmt.Sprintf("facts:\n  - {id: \"f_{V}\", for: {V: %s}, kind: bool}\nrules:\n  - for: {V: %s, W: [x, yyyy]}\n"+
			"    id: \"r_{V}_{W}\"\n    when: \"f_{V} and not f_{V} and \\\"{W}\\\" == \\\"x\\\" and oops\"\n    then: [{do: advise, say: Look.}]\n    because: A test.\n", values, values)
		line, column := find(text)
		_, err := load(text)
		var found rules.Errors
		require.ErrorAs(t, err, &found)
		last := found[len(found)-1]
		require.Equal(t, rules.Pos{File: "t/a.yaml", Line: line, Column: column}, last.Pos, "%s", err)
	}
}

// TestErrorsSorted holds that all errors come at once, in the order of the text.
func TestErrorsSorted(t *testing.T) {
	_, err := rules.Load(rules.Layer{Name: "t", FS: fstest.MapFS{
		"b.yaml": {Data: []byte("rules:\n  - {id: one, when: nope1, then: [], because: x}\n")},
		"a.yaml": {Data: []byte(positionFacts + "rules:\n  - {id: two, when: nope2 or nope3, then: [{do: advise, sya: x}], because: x}\n")},
	}})
	var found rules.Errors
	require.ErrorAs(t, err, &found)
	var got []string
	for _, e := range found {
		got = append(got, fmt.Sprintf("%s %s", e.Pos, e.Code))
	}
	require.Equal(t, []string{
		"t/a.yaml:5:21 unknown_name", "t/a.yaml:5:30 unknown_name", "t/a.yaml:5:57 unknown_field",
		"t/b.yaml:2:21 unknown_name", "t/b.yaml:2:34 missing",
	}, got, err.Error())
}
