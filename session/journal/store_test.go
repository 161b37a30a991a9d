package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// place is where a test's store is: open gives it again and again, as another program
// would, which SQLite allows once the one before is closed.
type place struct {
	open    func(testing.TB) *Store
	read    func(testing.TB) *Store
	change  func(t testing.TB, statement string) // behind the store's back
	nothing string                               // what reading says before there is anything
}

// placeAt is a place at an address, a folder's or a server's, that is opened and read as said.
func placeAt(where string, open, read func(where string) (*Store, error)) place {
	by := func(open func(string) (*Store, error)) func(testing.TB) *Store {
		return func(t testing.TB) *Store {
			t.Helper()
			d, err := open(where)
			require.NoError(t, err)
			return d
		}
	}
	return place{open: by(open), read: by(read)}
}

// opened is the store until the test ends.
func (p place) opened(t testing.TB) *Store {
	t.Helper()
	d := p.open(t)
	t.Cleanup(func() { require.NoError(t, d.Close()) })
	return d
}

func folderAt(t testing.TB, path string) *Store {
	t.Helper()
	return placeAt(path, OpenFolder, ReadFolder).opened(t)
}

func TestSQLite(t *testing.T) {
	keepsItsPromises(t, func(t testing.TB) place {
		path := t.TempDir()
		p := placeAt(path, OpenFolder, ReadFolder)
		p.nothing = "no such file"
		p.change = func(t testing.TB, statements string) {
			db, err := connect(filepath.Join(path, databaseName))
			require.NoError(t, err)
			_, err = db.Exec(statements)
			require.NoError(t, errors.Join(err, db.Close()))
		}
		return p
	})
}

// keepsItsPromises holds either database to what a store promises.
func keepsItsPromises(t *testing.T, at func(testing.TB) place) {
	for what, promise := range map[string]func(*testing.T, place){
		"reads back what was written":    storeReadsBack,
		"takes any JSON":                 storeTakesAnyJSON,
		"refuses names":                  storeRefusesNames,
		"tells writers apart":            storeTellsWritersApart,
		"puts writers in turn":           storePutsWritersInTurn,
		"gives news":                     storeGivesNews,
		"keeps heads made later":         storeKeepsHeads,
		"keeps rules":                    storeKeepsRules,
		"exports and imports":            storeMoves,
		"imports all or nothing":         storeImportsAllOrNothing,
		"finds damage":                   storeFindsDamage,
		"writes no more once closed":     storeIsClosed,
		"can be read only":               storeIsRead,
		"leaves a newer program's alone": storeLeavesNewerAlone,
	} {
		t.Run(what, func(t *testing.T) { promise(t, at(t)) })
	}
}

func storeReadsBack(t *testing.T, p place) {
	d := p.open(t)
	job(t, d, "van-1", `{"a": 1}`, `"é < &"`, `[1.0, 1e5]`)
	job(t, d, "car-2", `1`)
	job(t, d, "car", `1`)
	require.NoError(t, d.Close())
	d = p.opened(t)
	f, got, err := d.Open("van-1")
	require.NoError(t, err)
	require.Equal(t, []string{`{"a":1}`, `"é < &"`, `[1.0,1e5]`}, texts(got))
	require.Equal(t, `"head 3"`, string(f.Head()))
	require.NoError(t, f.Append([]byte(`4`), []byte(`"head 4"`)))
	require.Len(t, read(t, d, "van-1"), 4)
	heads, err := d.Heads()
	require.NoError(t, err)
	require.Equal(t, []Head{{Name: "car", Records: 1, Head: []byte(`"head 1"`)}, {Name: "car-2", Records: 1, Head: []byte(`"head 1"`)},
		{Name: "van-1", Records: 4, Head: []byte(`"head 4"`)}}, heads)
	report, err := d.Verify(t.Context())
	require.NoError(t, err)
	require.Equal(t, &Report{Jobs: 3, Records: 6}, report)
}

func storeRefusesNames(t *testing.T, p place) {
	d := p.opened(t)
	f := job(t, d, "van-1", `1`)
	_, err := d.Create("van-1", []byte(`1`), nil)
	require.ErrorIs(t, err, fs.ErrExist)
	_, _, err = d.Open("none")
	require.ErrorIs(t, err, fs.ErrNotExist)
	for _, bad := range []string{"", "..", "../x", "a/b", "A", "a.b", "é", strings.Repeat("a", 65), "a\x00"} {
		require.False(t, ValidName(bad), bad)
		_, _, err := d.Open(bad)
		require.ErrorIs(t, err, fs.ErrNotExist, bad)
		_, err = d.Create(bad, []byte(`1`), nil)
		require.ErrorIs(t, err, fs.ErrNotExist, bad)
	}
	require.ErrorContains(t, f.Append([]byte(`{"broken`), nil), "no JSON")
	require.NoError(t, f.Append([]byte(`2`), nil), "what is no JSON changed nothing")
}

func storeTellsWritersApart(t *testing.T, p place) {
	d := p.opened(t)
	f := job(t, d, "van-1", `1`)
	other, _, err := d.Open("van-1")
	require.NoError(t, err)
	require.NoError(t, other.Append([]byte(`2`), nil))
	require.ErrorIs(t, f.Append([]byte(`2`), nil), ErrMoved, "also where it would write the same")
	require.Equal(t, []string{"1", "2"}, read(t, d, "van-1"))
}

// Each of many writers to one job writes all it has, however often it comes late.
func storePutsWritersInTurn(t *testing.T, p place) {
	d := p.opened(t)
	job(t, d, "van-1", `"start"`)
	const writers, each = 8, 12
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() {
			f, _, err := d.Open("van-1")
			for n := 0; n < each && err == nil; {
				switch err = f.Append(fmt.Appendf(nil, `"%d-%d"`, w, n), nil); {
				case err == nil:
					n++
				case errors.Is(err, ErrMoved):
					_, _, err = f.News()
				}
			}
			if err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	got := read(t, d, "van-1")
	require.Len(t, got, 1+writers*each)
	next := map[string]int{}
	for _, record := range got[1:] {
		var w, n int
		_, err := fmt.Sscanf(record, `"%d-%d"`, &w, &n)
		require.NoError(t, err)
		require.Equal(t, next[fmt.Sprint(w)], n, "each writer's own in order")
		next[fmt.Sprint(w)]++
	}
}

func storeGivesNews(t *testing.T, p place) {
	d := p.opened(t)
	f := job(t, d, "van-1", `1`)
	records, fresh, err := f.News()
	require.NoError(t, err)
	require.False(t, fresh)
	require.Empty(t, records)
	other, _, err := d.Open("van-1")
	require.NoError(t, err)
	require.NoError(t, other.Append([]byte(`2`), []byte(`"h 2"`)))
	require.NoError(t, other.Append([]byte(`3`), []byte(`"h 3"`)))
	records, fresh, err = f.News()
	require.NoError(t, err)
	require.True(t, fresh)
	require.Equal(t, []string{"2", "3"}, texts(records))
	require.Equal(t, `"h 3"`, string(f.Head()))
	require.NoError(t, f.Append([]byte(`4`), []byte(`"h 4"`)), "it goes on from there")
	_, fresh, err = f.News()
	require.NoError(t, err)
	require.False(t, fresh, "what it wrote itself is no news")

	p.change(t, `DELETE FROM records WHERE job = 'van-1' AND n = 4; UPDATE jobs SET records = 3 WHERE name = 'van-1'`)
	_, _, err = f.News()
	require.Error(t, err, "a log that was cut is not taken for one without news")
}

func storeKeepsHeads(t *testing.T, p place) {
	d := p.opened(t)
	f := job(t, d, "van-1", `1`, `2`)
	require.Eventually(t, func() bool {
		f.SetHead([]byte(`"new"`))
		heads, err := d.Heads()
		require.NoError(t, err)
		return string(heads[0].Head) == `"new"`
	}, 5*time.Second, time.Millisecond)
	require.NoError(t, f.Append([]byte(`3`), nil))
}

func storeKeepsRules(t *testing.T, p place) {
	d := p.opened(t)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			if err := d.KeepRules("h1", someRules); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	got, err := d.Rules("h1")
	require.NoError(t, err)
	require.Equal(t, someRules, got)
	_, err = d.Rules("h2")
	require.ErrorIs(t, err, fs.ErrNotExist)
	hashes, err := d.RuleHashes()
	require.NoError(t, err)
	require.Equal(t, []string{"h1"}, hashes)
	require.NoError(t, d.KeepRules("h1", nil), "kept already")
}

// What one kind of database exports, either kind imports, and exports again byte for byte.
func storeMoves(t *testing.T, p place) {
	from := filled(t)
	text := exported(t, from)
	d := p.opened(t)
	done, err := imported(d, text)
	require.NoError(t, err)
	require.Equal(t, Imported{Jobs: 2, Records: 3}, done)
	require.Equal(t, text, exported(t, d))
	done, err = imported(d, text)
	require.NoError(t, err)
	require.Equal(t, Imported{Same: 2}, done, "again changes nothing")
}

func storeImportsAllOrNothing(t *testing.T, p place) {
	d := p.opened(t)
	job(t, d, "van-1", `"other"`)
	_, err := imported(d, exported(t, filled(t)))
	var differs *Differs
	require.ErrorAs(t, err, &differs)
	heads, err := d.Heads()
	require.NoError(t, err)
	require.Len(t, heads, 1, "not car-2 either")
	_, err = d.Rules("h1")
	require.ErrorIs(t, err, fs.ErrNotExist)
}

func storeFindsDamage(t *testing.T, p place) {
	d := p.open(t)
	for _, name := range []string{"a", "b", "c"} {
		job(t, d, name, `1`, `2`, `3`)
	}
	require.NoError(t, d.Close())
	p.change(t, `UPDATE records SET sum = 'x' WHERE job = 'a' AND n = 2; DELETE FROM records WHERE job = 'b' AND n = 3; UPDATE jobs SET problem = 'y' WHERE name = 'c'`)
	d = p.opened(t)
	for name, line := range map[string]int{"a": 2, "b": 3, "c": 0} {
		_, _, err := d.Open(name)
		var damaged *Damaged
		require.ErrorAs(t, err, &damaged, name)
		require.Equal(t, line, damaged.Line, name)
		require.ErrorContains(t, err, d.Path())
	}
	report, err := d.Verify(t.Context())
	require.NoError(t, err)
	require.Len(t, report.Problems, 3)
	require.Zero(t, report.Jobs)
}

func storeIsClosed(t *testing.T, p place) {
	d := p.open(t)
	f := job(t, d, "van-1", `1`)
	require.NoError(t, d.Close())
	require.ErrorIs(t, f.Append([]byte(`2`), nil), ErrClosed)
	_, err := d.Create("late", []byte(`1`), nil)
	require.ErrorIs(t, err, ErrClosed)
}

func storeIsRead(t *testing.T, p place) {
	require.Contains(t, failure(t, p.read), p.nothing)
	d := p.opened(t)
	f := job(t, d, "van-1", `1`)
	r := p.read(t)
	defer r.Close()
	require.NoError(t, f.Append([]byte(`2`), nil))
	require.Equal(t, []string{"1", "2"}, read(t, r, "van-1"))
	_, err := r.Create("x", []byte(`1`), nil)
	require.Error(t, err)
	heads, err := d.Heads()
	require.NoError(t, err)
	require.Len(t, heads, 1)
}

func storeLeavesNewerAlone(t *testing.T, p place) {
	require.NoError(t, p.open(t).Close())
	p.change(t, "INSERT INTO migrations VALUES (99, '', '')")
	for _, open := range []func(testing.TB) *Store{p.open, p.read} {
		message := failure(t, open)
		require.Contains(t, message, "written by a newer program (version 99")
	}
}

// failure is what an opening that fails says.
func failure(t *testing.T, open func(testing.TB) *Store) string {
	t.Helper()
	heard := &listening{TB: t}
	func() {
		defer func() { _ = recover() }() // FailNow, below
		open(heard)
	}()
	return heard.said
}

// listening is a test that keeps to itself how it failed.
type listening struct {
	testing.TB
	said string
}

func (l *listening) Helper()                           {}
func (l *listening) Errorf(format string, args ...any) { l.said += fmt.Sprintf(format, args...) }
func (l *listening) FailNow()                          { panic("failed") }

func storeTakesAnyJSON(t *testing.T, p place) {
	d := p.opened(t)
	records := []string{`"\u0000"`, `"` + strings.Repeat("x", 300_000) + `"`, `"日本 𝄞"`, `{"a":{"b":[null,true,1e-300]}}`}
	job(t, d, "van-1", records...)
	require.Equal(t, records, read(t, d, "van-1"))
}
