package rulesets_test

import (
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session"
	"coilside/session/rulecase"
)

// mutant is the shipped ruleset with one slip: bytes from..to of a file replaced.
type mutant struct {
	kind, file, rule string
	line, from, to   int
	text             string
}

func (m mutant) String() string {
	return fmt.Sprintf("%-10s %s:%d %s -> %s", m.kind, m.file, m.line, m.rule, m.text)
}

// TestMutantsAreCaught makes one slip at a time in the shipped rules: a threshold shifted by a
// tenth either way, a comparison turned round, a rule dropped, a weight inverted. The check and the
// cases beside the rules are to catch nine in ten; those they miss are listed. Cases that play a
// whole job are left out, which can only make the figure worse. COILSIDE_FULL=1 tries all of them,
// else every tenth.
func TestMutantsAreCaught(t *testing.T) {
	files := shippedFiles(t)
	var cases []rulecase.Case
	for _, c := range readCases(t) {
		if !c.Whole() {
			cases = append(cases, c)
		}
	}
	step := 10
	if os.Getenv("COILSIDE_FULL") != "" {
		step = 1
	}
	made, caught := map[string]int{}, map[string]int{}
	total, all := 0, 0
	mutants := mutantsOf(t, files)
	require.Greater(t, len(mutants), 250)
	require.Empty(t, catch(files, mutant{file: mutants[0].file}, cases), "the rules as shipped are sound")
	for i := 0; i < len(mutants); i += step {
		m := mutants[i]
		made[m.kind]++
		total++
		if by := catch(files, m, cases); by != "" {
			caught[m.kind]++
			all++
			continue
		}
		t.Log("missed:", m)
	}
	for _, kind := range []string{"threshold", "comparison", "dropped", "weight"} {
		t.Logf("%-10s %d of %d caught", kind, caught[kind], made[kind])
	}
	t.Logf("%d of %d caught", all, total)
	assert.GreaterOrEqual(t, all*10, total*9)
}

func shippedFiles(t *testing.T) fstest.MapFS {
	files := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(rulesets.Relay(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(name, "cases/") {
			return err
		}
		data, err := fs.ReadFile(rulesets.Relay(), name)
		files[name] = &fstest.MapFile{Data: data}
		return err
	}))
	return files
}

// catch says what catches a mutant: that it does not load, the check, or a case.
func catch(files fstest.MapFS, m mutant, cases []rulecase.Case) string {
	changed := fstest.MapFS{}
	for name, f := range files {
		changed[name] = f
	}
	data := string(files[m.file].Data)
	changed[m.file] = &fstest.MapFile{Data: []byte(data[:m.from] + m.text + data[m.to:])}
	book, err := rules.Load(rules.Layer{Name: "relay", FS: changed})
	if err != nil {
		return err.Error()
	}
	if found := book.Review(session.ReviewOptions()).Findings; len(found) > 0 {
		return found[0].Error()
	}
	for _, c := range cases {
		if misses, err := c.Run(book); err != nil || len(misses) > 0 {
			return c.ID
		}
	}
	return ""
}

var comparison = regexp.MustCompile(`[<>=!]=|[<>]`)

var turned = map[string]string{"<": ">", ">": "<", "<=": ">=", ">=": "<=", "==": "!=", "!=": "=="}

// mutantsOf makes every slip of the four kinds.
func mutantsOf(t *testing.T, files fstest.MapFS) []mutant {
	var out []mutant
	conditions := ""
	names, err := fs.Glob(files, "*.yaml")
	require.NoError(t, err)
	for _, name := range names {
		data := string(files[name].Data)
		var doc struct{ Rules []yaml.Node }
		require.NoError(t, yaml.Unmarshal([]byte(data), &doc))
		for i := range doc.Rules {
			r := ruleText{file: name, data: data, node: &doc.Rules[i]}
			made, when := r.mutants(t)
			out, conditions = append(out, made...), conditions+" "+when
		}
	}
	return append(out, shifted(t, files, conditions)...)
}

// ruleText is one rule as it stands in its file.
type ruleText struct {
	file, data string
	node       *yaml.Node
}

func (r ruleText) at(n *yaml.Node) int { return offset(r.data, n.Line, n.Column) }

func offset(data string, line, column int) int {
	at := 0
	for range line - 1 {
		at += strings.Index(data[at:], "\n") + 1
	}
	return at + len(string([]rune(data[at:])[:column-1]))
}

func (r ruleText) mutants(t *testing.T) (out []mutant, condition string) {
	field := map[string]*yaml.Node{}
	for i := 0; i+1 < len(r.node.Content); i += 2 {
		field[r.node.Content[i].Value] = r.node.Content[i+1]
	}
	id, when := field["id"].Value, field["when"]
	make1 := func(kind string, n *yaml.Node, from, to int, text string) {
		out = append(out, mutant{kind: kind, file: r.file, rule: id, line: n.Line, from: from, to: to, text: text})
	}
	start := offset(r.data, r.node.Line, 1)
	end := len(r.data)
	if next := strings.Index(r.data[start+1:], "\n  - "); next >= 0 {
		end = start + 1 + next + 1
	}
	make1("dropped", r.node, start, end, "")
	from := r.at(when)
	source := r.data[from : from+strings.Index(r.data[from:], "\n")]
	require.Contains(t, source, when.Value, "%s: a condition over several lines is not mutated", id)
	for _, at := range comparison.FindAllStringIndex(source, -1) {
		op := source[at[0]:at[1]]
		make1("comparison", when, from+at[0], from+at[1], turned[op])
	}
	for _, action := range field["then"].Content {
		for i := 0; i+1 < len(action.Content); i += 2 {
			if by := action.Content[i+1]; action.Content[i].Value == "by" {
				v, err := strconv.ParseFloat(by.Value, 64)
				require.NoError(t, err)
				make1("weight", by, r.at(by), r.at(by)+len(by.Value), strconv.FormatFloat(1/v, 'g', 6, 64))
			}
		}
	}
	return out, when.Value
}

// shifted moves every parameter that a condition reads by a tenth, up and down.
func shifted(t *testing.T, files fstest.MapFS, conditions string) []mutant {
	var out []mutant
	data := string(files["parameters.yaml"].Data)
	var doc struct{ Parameters []yaml.Node }
	require.NoError(t, yaml.Unmarshal([]byte(data), &doc))
	for i := range doc.Parameters {
		var id string
		for j := 0; j+1 < len(doc.Parameters[i].Content); j += 2 {
			key, n := doc.Parameters[i].Content[j].Value, doc.Parameters[i].Content[j+1]
			if key == "id" {
				id = n.Value
			}
			if key != "value" || !regexp.MustCompile(`\b`+id+`\b`).MatchString(conditions) {
				continue
			}
			v, err := strconv.ParseFloat(n.Value, 64)
			require.NoError(t, err)
			from := offset(data, n.Line, n.Column)
			for _, by := range []float64{0.9, 1.1} {
				out = append(out, mutant{kind: "threshold", file: "parameters.yaml", rule: id, line: n.Line, from: from, to: from + len(n.Value),
					text: strconv.FormatFloat(v*by, 'g', 6, 64)})
			}
		}
	}
	return out
}
