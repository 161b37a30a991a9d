package rulekeep

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
)

func load(t *testing.T, shop string) *rules.Book {
	t.Helper()
	layers := []rules.Layer{{Name: "relay", FS: rulesets.Relay()}}
	if shop != "" {
		layers = append(layers, rules.Layer{Name: "our shop/rules", FS: fstest.MapFS{"more/names.yaml": {Data: []byte(shop)}, "cases/x.yaml": {Data: []byte("cases: []")}}})
	}
	book, err := rules.Load(layers...)
	require.NoError(t, err)
	return book
}

const shop = "words:\n  - means: relay\n    said: [clicker]\n"

func TestWhatIsKeptIsLoadedAgain(t *testing.T) {
	d, err := OpenFolder(filepath.Join(t.TempDir(), "rules"))
	require.NoError(t, err)
	shipped, ours := load(t, ""), load(t, shop)
	require.NotEqual(t, shipped.Hash, ours.Hash)
	for _, b := range []*rules.Book{shipped, ours, ours} { // twice is once
		require.NoError(t, d.Keep(b))
	}
	for _, b := range []*rules.Book{shipped, ours} {
		got, err := d.Load(b.Hash)
		require.NoError(t, err)
		require.Equal(t, b.Hash, got.Hash)
		require.Equal(t, b.Name, got.Name)
		require.Len(t, got.Words, len(b.Words))
		require.Equal(t, b.Words[len(b.Words)-1], got.Words[len(got.Words)-1])
	}
	left, err := os.ReadDir(d.path)
	require.NoError(t, err)
	require.Len(t, left, 2)
}

func TestNothingIsLoadedButWhatWasKept(t *testing.T) {
	d, err := OpenFolder(t.TempDir())
	require.NoError(t, err)
	b := load(t, shop)
	_, err = d.Load(b.Hash)
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = d.Load("../" + b.Hash[3:])
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.NoError(t, d.Keep(b))
	file := filepath.Join(d.path, b.Hash, "1", "more", "names.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(shop, "clicker", "ticker", 1)), 0o600))
	_, err = d.Load(b.Hash)
	require.ErrorContains(t, err, "were changed")
	require.NoError(t, os.WriteFile(file, []byte("rules: ["), 0o600))
	_, err = d.Load(b.Hash)
	require.ErrorContains(t, err, "cannot be used")
}
