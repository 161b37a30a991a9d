package rulekeep

import (
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session/journal"
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

func jobs(t *testing.T) *journal.Store {
	t.Helper()
	d, err := journal.OpenFolder(t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, d.Close()) })
	return d
}

func TestWhatIsKeptIsLoadedAgain(t *testing.T) {
	d := jobs(t)
	shipped, ours := load(t, ""), load(t, shop)
	require.NotEqual(t, shipped.Hash, ours.Hash)
	for _, b := range []*rules.Book{shipped, ours, ours} { // twice is once
		require.NoError(t, Keep(d, b))
	}
	for _, b := range []*rules.Book{shipped, ours} {
		got, err := Load(d, b.Hash)
		require.NoError(t, err)
		require.Equal(t, b.Hash, got.Hash)
		require.Equal(t, b.Name, got.Name)
		require.Len(t, got.Words, len(b.Words))
		require.Equal(t, b.Words[len(b.Words)-1], got.Words[len(got.Words)-1])
	}
	kept, err := d.RuleHashes()
	require.NoError(t, err)
	require.Len(t, kept, 2)
}

func TestNothingIsLoadedButWhatWasKept(t *testing.T) {
	d := jobs(t)
	b := load(t, shop)
	_, err := Load(d, b.Hash)
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.NoError(t, Keep(d, b))
	files, err := d.Rules(b.Hash)
	require.NoError(t, err)
	last := &files[len(files)-1]
	for words, content := range map[string]string{
		"were changed":   strings.Replace(shop, "clicker", "ticker", 1),
		"cannot be used": "rules: [",
	} {
		last.Content = []byte(content)
		other := jobs(t)
		require.NoError(t, other.KeepRules(b.Hash, files))
		_, err = Load(other, b.Hash)
		require.ErrorContains(t, err, words)
	}
	last.Layer++
	other := jobs(t)
	require.NoError(t, other.KeepRules(b.Hash, files))
	_, err = Load(other, b.Hash)
	require.ErrorContains(t, err, "layer 1 is missing")
}
