package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// written is a folder with one job of the records given.
func written(t testing.TB, records ...string) (*Store, *File) {
	t.Helper()
	d := folderAt(t, filepath.Join(t.TempDir(), "data"))
	return d, job(t, d, "van-1", records...)
}

func job(t testing.TB, d *Store, name string, records ...string) *File {
	t.Helper()
	f, err := d.Create(name, []byte(records[0]), []byte(`"head 1"`))
	require.NoError(t, err)
	for i, r := range records[1:] {
		require.NoError(t, f.Append([]byte(r), fmt.Appendf(nil, `"head %d"`, i+2)))
	}
	return f
}

func texts(payloads [][]byte) []string {
	var out []string
	for _, p := range payloads {
		out = append(out, string(p))
	}
	return out
}

func read(t testing.TB, d *Store, name string) []string {
	t.Helper()
	_, got, err := d.Open(name)
	require.NoError(t, err)
	return texts(got)
}

func TestTwoProgramsAreKeptApart(t *testing.T) {
	path := t.TempDir()
	d, err := OpenFolder(path)
	require.NoError(t, err)
	_, err = OpenFolder(path)
	var inUse *InUse
	require.ErrorAs(t, err, &inUse)
	require.ErrorContains(t, err, path)
	require.NoError(t, d.Close())
	_, err = d.Create("late", []byte(`1`), nil)
	require.ErrorIs(t, err, ErrClosed)
	folderAt(t, path)
}

// Writes that wait together share a transaction; a refused one among them fails
// alone.
func TestWritesUnderLoadShareTheirTransactions(t *testing.T) {
	commits := 0
	d, err := openFolder(t.TempDir(), faults{commit: func(tx *sql.Tx) error {
		commits++ // by the one writer only
		time.Sleep(2 * time.Millisecond)
		return tx.Commit()
	}})
	require.NoError(t, err)
	const jobs, each = 40, 10
	var all sync.WaitGroup
	for j := range jobs {
		all.Go(func() {
			f, err := d.Create(fmt.Sprintf("job-%d", j), []byte(`0`), nil)
			if err != nil {
				t.Error(err)
				return
			}
			for n := range each {
				if _, err := d.Create("job-0", []byte(`0`), nil); !errors.Is(err, fs.ErrExist) && j > 0 && n > 0 {
					t.Error(err)
				}
				if err := f.Append(fmt.Appendf(nil, "%d", n+1), nil); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	for j := range jobs {
		require.Len(t, read(t, d, fmt.Sprintf("job-%d", j)), each+1)
	}
	require.Less(t, commits, jobs*each/4)
	require.NoError(t, d.Close())
}

// A store that fails leaves every log as it was, and goes on when it is well again.
func TestAFailedWriteLeavesTheLogAsItWas(t *testing.T) {
	var failure error
	d, err := openFolder(t.TempDir(), faults{commit: func(tx *sql.Tx) error {
		if failure != nil {
			return failure
		}
		return tx.Commit()
	}})
	require.NoError(t, err)
	f := job(t, d, "van-1", `1`)
	failure = errors.New("no more space")
	require.ErrorContains(t, f.Append([]byte(`2`), nil), "no more space")
	require.ErrorContains(t, f.Append([]byte(`2`), nil), d.Path())
	_, err = d.Create("van-2", []byte(`1`), nil)
	require.ErrorContains(t, err, "no more space")
	require.Equal(t, []string{"1"}, read(t, d, "van-1"))
	failure = nil
	require.NoError(t, f.Append([]byte(`3`), nil))
	require.Equal(t, []string{"1", "3"}, read(t, d, "van-1"))
	_, err = d.Create("van-2", []byte(`1`), nil)
	require.NoError(t, err)
	require.NoError(t, d.Close())
}

func TestAFullDatabaseSaysSo(t *testing.T) {
	d, f := written(t, `1`)
	_, err := d.db.Exec("PRAGMA max_page_count = 30") // SQLite's own bound stands for that of the disk
	require.NoError(t, err)
	d.db.SetMaxOpenConns(1) // the bound is of the one connection
	big := []byte(`"` + strings.Repeat("x", 10_000) + `"`)
	wrote := 1
	for ; err == nil; wrote++ {
		require.Less(t, wrote, 100)
		err = f.Append(big, nil)
	}
	require.ErrorContains(t, err, "the disk is full")
	require.ErrorContains(t, err, d.Path())
	require.Len(t, read(t, d, "van-1"), wrote-1, "no half record")
	_, err = d.db.Exec("PRAGMA max_page_count = 3000")
	require.NoError(t, err)
	require.NoError(t, f.Append(big, nil))
	require.Len(t, read(t, d, "van-1"), wrote)
}

func TestChangedRecordsAreFound(t *testing.T) {
	for what, c := range map[string]struct {
		change string
		line   int
	}{
		"data changed":         {`UPDATE records SET data = CAST('7' AS BLOB) WHERE job = 'a' AND n = 2`, 2},
		"sum changed":          {`UPDATE records SET sum = 'x' WHERE job = 'a' AND n = 3`, 3},
		"first missing":        {`DELETE FROM records WHERE job = 'a' AND n = 1`, 1},
		"middle missing":       {`DELETE FROM records WHERE job = 'a' AND n = 2`, 2},
		"last missing":         {`DELETE FROM records WHERE job = 'a' AND n = 3`, 3},
		"all missing":          {`DELETE FROM records WHERE job = 'a'`, 1},
		"one more":             {`INSERT INTO records SELECT job, 4, sum, data FROM records WHERE job = 'a' AND n = 3`, 4},
		"two changed places":   {`UPDATE records SET n = CASE n WHEN 1 THEN 20 ELSE 1 END WHERE job = 'a' AND n < 3`, 1},
		"those of another job": {`DELETE FROM records WHERE job = 'a'; UPDATE records SET job = 'a' WHERE job = 'b'`, 1},
		"shorter job":          {`UPDATE jobs SET records = 2 WHERE name = 'a'`, 0},
		"head changed":         {`UPDATE jobs SET head = CAST('"b"' AS BLOB) WHERE name = 'a'`, 0},
	} {
		d := folderAt(t, t.TempDir())
		job(t, d, "a", `1`, `2`, `3`)
		job(t, d, "b", `1`, `2`, `3`)
		_, err := d.db.Exec(c.change)
		require.NoError(t, err, what)
		_, _, err = d.Open("a")
		var damaged *Damaged
		require.ErrorAs(t, err, &damaged, what)
		require.Equal(t, c.line, damaged.Line, what)
		require.ErrorContains(t, err, "job a", what)
		require.ErrorContains(t, err, d.Path(), what)
	}
}

func TestReadiness(t *testing.T) {
	path := filepath.Join(t.TempDir(), "data")
	d := folderAt(t, path)
	before, err := os.ReadDir(path)
	require.NoError(t, err)
	require.NoError(t, d.Ready(t.Context()))
	left, err := os.ReadDir(path)
	require.NoError(t, err)
	require.Len(t, left, len(before))
	require.NoError(t, os.RemoveAll(path))
	require.Error(t, d.Ready(t.Context()))
}

func TestReadingBesideAWriter(t *testing.T) {
	path := filepath.Join(t.TempDir(), "with space, ? and # and %20")
	_, err := ReadFolder(path)
	require.ErrorIs(t, err, fs.ErrNotExist)
	d := folderAt(t, path)
	f := job(t, d, "van-1", `1`)
	r, err := ReadFolder(path)
	require.NoError(t, err)
	defer r.Close()
	require.NoError(t, f.Append([]byte(`2`), nil))
	require.Equal(t, []string{"1", "2"}, read(t, r, "van-1"))
	_, err = r.Create("x", []byte(`1`), nil)
	require.ErrorContains(t, err, "for reading only")
	names, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, names, 1, "the folder is the one named")
}

func BenchmarkAppend(b *testing.B) {
	_, f := written(b, `1`)
	b.ReportAllocs()
	for b.Loop() {
		require.NoError(b, f.Append([]byte(`{"volts":12.4}`), nil))
	}
}
