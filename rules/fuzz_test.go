package rules_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"time"
	"unicode/utf8"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// FuzzLoad looks for rule files that make loading or checking panic, take long, or answer
// with anything but a book or errors that name a line; alone, and laid over a base whose
// names they may use. What loads, loads and checks the same again, also from what a Loader
// kept and when it is laid out anew. What it found is in testdata/fuzz/FuzzLoad.
func FuzzLoad(f *testing.F) {
	for _, text := range []string{
		positionFacts + "rules:\n  - {id: r, when: 'wet and name == \"ok\"', then: [{do: advise, say: x}], because: x}\n",
		"suspects:\n  - for: {T: [30, 87]}\n    id: \"t{T}.open\"\n    does: [{one_of: [{to: x, open: true}]}]\n",
		"circuits:\n  - id: c\n    chains: [{chain: a [b] c}]\n    wiring: [{id: w, of: {x: 1}}]\n",
		"tests: [{id: t, measure: {mode: look, at: x}, say: \"{r}\", expect: [{answers: {sound: 1}}]}]\nrules: [{id: r, off: true}]\n",
		"facts: [{id: a, kind: number, unit: volt/ampere}]\nparameters: [{id: p, value: 1, source: x}]\nwords: [{means: a, said: [b]}]\n",
		"changes:\n  - {suspect: lamp.open, prior: 7, was: 2, because: Ours blow.}\n",
	} {
		f.Add(text, false)
		f.Add(text, true)
	}
	base, err := os.ReadFile("../testdata/broken/base/base.yaml")
	require.NoError(f, err)
	f.Add(string(base), false)
	for _, pattern := range []string{"../testdata/broken/*.txtar", "../testdata/findings/*.txtar"} {
		slips, err := filepath.Glob(pattern)
		require.NoError(f, err)
		require.NotEmpty(f, slips)
		for _, name := range slips {
			archive, err := txtar.ParseFile(name)
			require.NoError(f, err)
			for _, file := range archive.Files {
				if filepath.Ext(file.Name) == ".yaml" {
					f.Add(string(file.Data), true)
				}
			}
		}
	}
	f.Fuzz(func(t *testing.T, text string, overBase bool) {
		start := time.Now()
		files := map[string]string{"shop/a.yaml": text, "base/base.yaml": string(base)}
		layers := func(text string) []rules.Layer {
			shop := layer("shop", text)
			if !overBase {
				return []rules.Layer{shop}
			}
			return []rules.Layer{{Name: "base", FS: fstest.MapFS{"base.yaml": {Data: base}}}, shop}
		}
		var loader rules.Loader
		book, err := loader.Load(layers(text)...)
		seen := outcome(t, files, book, err)
		require.Equal(t, seen, outcome(t, files, book, err), "checked again")
		again, err := rules.Load(layers(text)...)
		require.Equal(t, seen, outcome(t, files, again, err), "loaded afresh")
		again, err = loader.Load(layers(text)...)
		require.Equal(t, seen, outcome(t, files, again, err), "loaded from what was kept")
		if tidy, err := rules.Format("shop/a.yaml", []byte(text)); err == nil && book != nil {
			_, err := rules.Load(layers(string(tidy))...)
			require.NoError(t, err, "laid out anew: %s", tidy)
		}
		require.Less(t, time.Since(start), 10*time.Second)
	})
}

var yamlBreak = regexp.MustCompile("\r\n|[\n\r\u0085\u2028\u2029]")

// outcome is all that loading and checking say, each with its place in the files.
func outcome(t *testing.T, files map[string]string, book *rules.Book, err error) string {
	t.Helper()
	var said rules.Errors
	if err != nil {
		require.Nil(t, book)
		require.ErrorAs(t, err, &said)
		require.NotEmpty(t, said)
	} else {
		require.NotNil(t, book)
		said = append(said, book.Stale()...)
		said = append(said, book.Review(rules.ReviewOptions{}).Findings...)
	}
	for _, e := range said {
		require.NotEmpty(t, e.Message)
		require.NotEmpty(t, e.Code)
		text, ok := files[e.Pos.File]
		require.True(t, ok, "%v is in no file", e)
		lines := yamlBreak.Split(strings.TrimPrefix(text, "\uFEFF"), -1)
		require.True(t, e.Pos.Line >= 1 && e.Pos.Line <= len(lines), "%v", e)
		require.True(t, e.Pos.Column >= 1 && e.Pos.Column <= utf8.RuneCountInString(lines[e.Pos.Line-1])+1, "%v", e)
		require.True(t, utf8.ValidString(e.Error()) || !utf8.ValidString(text), "%q", e.Error())
	}
	if book != nil {
		return book.Hash + "\n" + said.Error()
	}
	return said.Error()
}
