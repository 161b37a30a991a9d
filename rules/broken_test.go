package rules_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

var update = flag.Bool("update", false, "write the messages seen into testdata/broken; read them before you keep them")

// TestBroken loads rulesets with one slip each and holds the whole message
// against the one recorded: place, text, underlining and hint.
func TestBroken(t *testing.T) {
	base := rules.Layer{Name: "base", FS: os.DirFS("../testdata/broken/base")}
	_, err := rules.Load(base)
	require.NoError(t, err, "the base itself is sound")
	names, err := filepath.Glob("../testdata/broken/*.txtar")
	require.NoError(t, err)
	require.Greater(t, len(names), 20)
	for _, name := range names {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txtar"), func(t *testing.T) {
			archive, err := txtar.ParseFile(name)
			require.NoError(t, err)
			shop := fstest.MapFS{}
			want := ""
			for _, f := range archive.Files {
				if f.Name == "want" {
					want = string(f.Data)
					continue
				}
				shop[f.Name] = &fstest.MapFile{Data: f.Data}
			}
			_, err = rules.Load(base, rules.Layer{Name: "shop", FS: shop})
			require.Error(t, err)
			var found rules.Errors
			require.ErrorAs(t, err, &found)
			if *update {
				archive.Files[len(archive.Files)-1].Data = []byte(err.Error() + "\n")
				require.NoError(t, os.WriteFile(name, txtar.Format(archive), 0o644))
				return
			}
			require.Equal(t, want, err.Error()+"\n")
			require.Len(t, found, 1, "one slip, one message")
			require.NotEmpty(t, found[0].Code)
		})
	}
}
