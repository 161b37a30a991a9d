package rules_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// shopOptions are what a shop's jobs give the rulebooks of testdata/findings.
var shopOptions = rules.ReviewOptions{
	Given: []string{"mounting", "sealed", "load_amps", "temperature_c"},
	Readings: map[rules.Mode][2]float64{
		rules.VoltsDC: {-60, 60}, rules.Ohms: {0, 1e9},
	},
}

// TestFindings reviews rulesets with one slip each that load all the same, and holds the
// whole message against the one recorded. The base has no slip, so nothing may be said of it.
func TestFindings(t *testing.T) {
	base := rules.Layer{Name: "base", FS: os.DirFS("../testdata/findings/base")}
	sound, err := rules.Load(base)
	require.NoError(t, err)
	require.Empty(t, sound.Review(shopOptions).Findings, "the base itself is sound")
	names, err := filepath.Glob("../testdata/findings/*.txtar")
	require.NoError(t, err)
	require.Greater(t, len(names), 30)
	for _, name := range names {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txtar"), func(t *testing.T) {
			archive, err := txtar.ParseFile(name)
			require.NoError(t, err)
			shop := fstest.MapFS{}
			for _, f := range archive.Files[:len(archive.Files)-1] {
				shop[f.Name] = &fstest.MapFile{Data: f.Data}
			}
			book, err := rules.Load(base, rules.Layer{Name: "shop", FS: shop})
			require.NoError(t, err)
			found := book.Review(shopOptions).Findings
			last := &archive.Files[len(archive.Files)-1]
			if *update {
				last.Data = []byte(found.Error() + "\n")
				require.NoError(t, os.WriteFile(name, txtar.Format(archive), 0o644))
				return
			}
			require.Equal(t, string(last.Data), found.Error()+"\n")
			require.Len(t, found, 1, "one slip, one message")
			require.NotEmpty(t, found[0].Code)
		})
	}
}

var fixLine = regexp.MustCompile(`(?m)^Fix: (.+)$`)

// TestHintsAreRight holds, for every slip whose right correction can be told from the ruleset,
// the hint against that correction, written down with the case.
func TestHintsAreRight(t *testing.T) {
	right, total := 0, 0
	for _, folder := range []string{"broken", "findings"} {
		names, err := filepath.Glob("../testdata/" + folder + "/*.txtar")
		require.NoError(t, err)
		for _, name := range names {
			archive, err := txtar.ParseFile(name)
			require.NoError(t, err)
			fix := fixLine.FindSubmatch(archive.Comment)
			total++
			_, hint, hinted := strings.Cut(string(archive.Files[len(archive.Files)-1].Data), "\n  hint: ")
			if fix != nil && hinted && strings.Contains(hint, string(fix[1])) {
				right++
				continue
			}
			t.Logf("%s: no right hint", strings.TrimSuffix(filepath.Base(name), ".txtar"))
		}
	}
	t.Logf("%d of %d slips have the right correction in their hint", right, total)
	assert.GreaterOrEqual(t, right*40, total*35)
}
