package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func written(t *testing.T, records ...string) (*Folder, *File) {
	t.Helper()
	d, err := OpenFolder(filepath.Join(t.TempDir(), "jobs"))
	require.NoError(t, err)
	f, err := d.Create("van-1")
	require.NoError(t, err)
	for _, r := range records {
		require.NoError(t, f.Append([]byte(r)))
	}
	return d, f
}

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	d, _ := written(t, `{"a": 1}`, `"é < &"`, `[1.0, 1e5]`)
	f, got, err := d.Open("van-1")
	require.NoError(t, err)
	require.Equal(t, []string{`{"a":1}`, `"é < &"`, `[1.0,1e5]`}, texts(got))
	require.NoError(t, f.Append([]byte(`4`)))
	_, got, err = d.Open("van-1")
	require.NoError(t, err)
	require.Len(t, got, 4)
	names, err := d.Names()
	require.NoError(t, err)
	require.Equal(t, []string{"van-1"}, names)
}

func texts(payloads [][]byte) []string {
	var out []string
	for _, p := range payloads {
		out = append(out, string(p))
	}
	return out
}

func TestEveryFlippedBitIsFound(t *testing.T) {
	d, f := written(t, `{"volts":12.4}`, `{"volts":0.1}`, `{"volts":11.9}`)
	sound, err := os.ReadFile(f.Path())
	require.NoError(t, err)
	for at := range sound {
		for bit := range 8 {
			bad := append([]byte{}, sound...)
			bad[at] ^= 1 << bit
			require.NoError(t, os.WriteFile(f.Path(), bad, 0o600))
			_, _, err := d.Open("van-1")
			var damaged *Damaged
			require.ErrorAs(t, err, &damaged, "byte %d bit %d", at, bit)
			require.LessOrEqual(t, damaged.Line, 1+strings.Count(string(sound[:at]), "\n"))
		}
	}
}

func TestEveryCutIsFoundOrLeavesWholeLines(t *testing.T) {
	d, f := written(t, `{"volts":12.4}`, `{"volts":0.1}`)
	sound, err := os.ReadFile(f.Path())
	require.NoError(t, err)
	for n := range sound {
		require.NoError(t, os.WriteFile(f.Path(), sound[:n], 0o600))
		_, got, err := d.Open("van-1")
		if n == 0 || sound[n-1] == '\n' {
			require.NoError(t, err)
			require.Len(t, got, strings.Count(string(sound[:n]), "\n"))
			continue
		}
		require.ErrorContains(t, err, "is cut short", "after %d bytes", n)
	}
}

func TestMovedAndMissingLines(t *testing.T) {
	d, f := written(t, `1`, `2`, `3`)
	sound, err := os.ReadFile(f.Path())
	require.NoError(t, err)
	lines := strings.SplitAfter(string(sound), "\n")
	for what, c := range map[string]struct {
		content string
		line    int
	}{
		"first two changed places": {lines[1] + lines[0] + lines[2], 1},
		"second missing":           {lines[0] + lines[2], 2},
		"second twice":             {lines[0] + lines[1] + lines[1], 3},
		"an empty line":            {lines[0] + "\n" + lines[1], 2},
		"a line of another log":    {lines[0] + `{"n":2,"sum":"00","data":2}` + "\n", 2},
	} {
		require.NoError(t, os.WriteFile(f.Path(), []byte(c.content), 0o600))
		_, _, err := d.Open("van-1")
		var damaged *Damaged
		require.ErrorAs(t, err, &damaged, what)
		require.Equal(t, c.line, damaged.Line, what)
		require.ErrorContains(t, err, fmt.Sprintf("line %d", c.line))
	}
}

func TestAFailedWriteLeavesTheLogAsItWas(t *testing.T) {
	d, f := written(t, `1`)
	f.sync = func(*os.File) error { return errors.New("disk full") }
	require.ErrorContains(t, f.Append([]byte(`2`)), "disk full")
	_, got, err := d.Open("van-1")
	require.NoError(t, err)
	require.Equal(t, []string{"1"}, texts(got))
	f.sync = nil
	require.NoError(t, f.Append([]byte(`2`)))
	_, got, err = d.Open("van-1")
	require.NoError(t, err)
	require.Equal(t, []string{"1", "2"}, texts(got))
}

func TestTwoWritersAreToldApart(t *testing.T) {
	d, f := written(t, `1`)
	other, _, err := d.Open("van-1")
	require.NoError(t, err)
	require.NoError(t, other.Append([]byte(`2`)))
	require.ErrorIs(t, f.Append([]byte(`2`)), ErrMoved)
}

func TestAnEmptyJournalDoesNotCount(t *testing.T) {
	d, _ := written(t)
	names, err := d.Names()
	require.NoError(t, err)
	require.Empty(t, names)
	f, err := d.Create("van-1")
	require.NoError(t, err)
	require.NoError(t, f.Append([]byte(`1`)))
}

func TestNames(t *testing.T) {
	d, _ := written(t, `1`)
	_, err := d.Create("van-1")
	require.ErrorIs(t, err, fs.ErrExist)
	for _, bad := range []string{"", "..", "../x", "a/b", "A", "a.b", "é", strings.Repeat("a", 65), "a\x00"} {
		require.False(t, ValidName(bad), bad)
		_, _, err := d.Open(bad)
		require.ErrorIs(t, err, fs.ErrNotExist, bad)
		_, err = d.Create(bad)
		require.Error(t, err, bad)
	}
	_, _, err = d.Open("none")
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.Error(t, errOf(t, d, `{"broken`), "a record that is no JSON")
}

func errOf(t *testing.T, d *Folder, payload string) error {
	f, _, err := d.Open("van-1")
	require.NoError(t, err)
	return f.Append([]byte(payload))
}

func FuzzOpen(f *testing.F) {
	f.Add([]byte(`{"n":1,"sum":"","data":null}` + "\n"))
	f.Add([]byte("\n\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		d, err := OpenFolder(t.TempDir())
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(d.path, "x.jsonl"), content, 0o600))
		_, payloads, err := d.Open("x")
		var damaged *Damaged
		if err != nil {
			require.ErrorAs(t, err, &damaged)
			return
		}
		require.Equal(t, strings.Count(string(content), "\n"), len(payloads))
	})
}

func BenchmarkAppend(b *testing.B) {
	d, err := OpenFolder(b.TempDir())
	require.NoError(b, err)
	f, err := d.Create(fmt.Sprintf("j-%d", rand.Uint32()))
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		require.NoError(b, f.Append([]byte(`{"volts":12.4}`)))
	}
}
