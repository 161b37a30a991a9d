//go:build linux

package journal

import (
	"iter"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"
	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"
)

// losing is a disk that keeps what was synced and may lose the rest when the power
// goes: each write since the last sync of its file arrives, is torn, or is lost.
// It stands between SQLite and its usual files.
type losing struct {
	mu     sync.Mutex
	files  map[string]*losingFile
	open   map[uintptr]string // names by SQLite's file
	fail   bool               // syncs fail
	syncs  int
	before sqlite3.Tsqlite3_vfs // the usual one
	// methods stand for the usual ones, of which each kind of file has its own; how
	// they write and cut is the same.
	methods map[uintptr]uintptr
	usual   sqlite3.Tsqlite3_io_methods
	// Functions that SQLite calls must not move or be collected.
	xOpen     func(*libc.TLS, uintptr, uintptr, uintptr, int32, uintptr) int32
	xDelete   func(*libc.TLS, uintptr, uintptr, int32) int32
	xWrite    func(*libc.TLS, uintptr, uintptr, int32, int64) int32
	xTruncate func(*libc.TLS, uintptr, int64) int32
	xSync     func(*libc.TLS, uintptr, int32) int32
}

type losingFile struct {
	durable []byte
	pending []losingWrite
}

// losingWrite is a write, or, without data, a cut.
type losingWrite struct {
	at   int64
	data []byte
}

func (f *losingFile) apply(w losingWrite) {
	if w.data == nil {
		f.durable = append(f.durable, make([]byte, max(0, w.at-int64(len(f.durable))))...)[:w.at]
		return
	}
	if short := w.at + int64(len(w.data)) - int64(len(f.durable)); short > 0 {
		f.durable = append(f.durable, make([]byte, short)...)
	}
	copy(f.durable[w.at:], w.data)
}

func at[T any](p uintptr) *T { return *(**T)(unsafe.Pointer(&p)) }

func pointer[T any](f *T) uintptr { return *(*uintptr)(unsafe.Pointer(f)) }

func function[T any](p uintptr) T {
	held := struct{ p uintptr }{p}
	return *(*T)(unsafe.Pointer(&held))
}

// allocated is a copy in memory that is SQLite's, for good.
func allocated[T any](tls *libc.TLS, v T) uintptr {
	p := libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(v)))
	*at[T](p) = v
	return p
}

var (
	theLosing     *losing
	theLosingOnce sync.Once
)

const losingName = "losing"

// losingDisk is the one such disk; it starts empty.
func losingDisk(t *testing.T) *losing {
	t.Helper()
	theLosingOnce.Do(func() {
		theLosing = &losing{methods: map[uintptr]uintptr{}}
		theLosing.register(t)
	})
	theLosing.mu.Lock()
	defer theLosing.mu.Unlock()
	theLosing.files, theLosing.open, theLosing.fail = map[string]*losingFile{}, map[uintptr]string{}, false
	return theLosing
}

func (l *losing) register(t *testing.T) {
	tls := libc.NewTLS()
	name, err := libc.CString(losingName)
	require.NoError(t, err)
	l.before = *at[sqlite3.Tsqlite3_vfs](sqlite3.Xsqlite3_vfs_find(tls, 0))
	vfs := allocated(tls, l.before)
	ours := at[sqlite3.Tsqlite3_vfs](vfs)
	ours.FzName, ours.FpNext = name, 0
	l.xOpen, l.xDelete, l.xWrite, l.xTruncate, l.xSync = l.openFile, l.remove, l.write, l.truncate, l.sync
	ours.FxOpen, ours.FxDelete = pointer(&l.xOpen), pointer(&l.xDelete)
	require.Zero(t, sqlite3.Xsqlite3_vfs_register(tls, vfs, 0))
}

func (l *losing) openFile(tls *libc.TLS, vfs, name, file uintptr, flags int32, out uintptr) int32 {
	code := function[func(*libc.TLS, uintptr, uintptr, uintptr, int32, uintptr) int32](l.before.FxOpen)(tls, vfs, name, file, flags, out)
	if code != sqlite3.SQLITE_OK || name == 0 {
		return code
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	methods := at[uintptr](file)
	if l.methods[*methods] == 0 {
		l.usual = *at[sqlite3.Tsqlite3_io_methods](*methods)
		l.methods[*methods] = allocated(tls, l.usual)
		ours := at[sqlite3.Tsqlite3_io_methods](l.methods[*methods])
		ours.FxWrite, ours.FxTruncate, ours.FxSync = pointer(&l.xWrite), pointer(&l.xTruncate), pointer(&l.xSync)
	}
	*methods = l.methods[*methods]
	path := libc.GoString(name)
	l.open[file] = path
	if l.files[path] == nil {
		content, _ := os.ReadFile(path) // what was there before this disk was watched
		l.files[path] = &losingFile{durable: content}
	}
	return code
}

func (l *losing) remove(tls *libc.TLS, vfs, name uintptr, sync int32) int32 {
	l.mu.Lock()
	delete(l.files, libc.GoString(name))
	l.mu.Unlock()
	return function[func(*libc.TLS, uintptr, uintptr, int32) int32](l.before.FxDelete)(tls, vfs, name, sync)
}

func (l *losing) note(file uintptr, w losingWrite) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if f := l.files[l.open[file]]; f != nil {
		f.pending = append(f.pending, w)
	}
}

func (l *losing) write(tls *libc.TLS, file, data uintptr, n int32, offset int64) int32 {
	content := append([]byte{}, unsafe.Slice(at[byte](data), n)...)
	l.note(file, losingWrite{offset, content})
	return function[func(*libc.TLS, uintptr, uintptr, int32, int64) int32](l.usual.FxWrite)(tls, file, data, n, offset)
}

func (l *losing) truncate(tls *libc.TLS, file uintptr, size int64) int32 {
	l.note(file, losingWrite{at: size})
	return function[func(*libc.TLS, uintptr, int64) int32](l.usual.FxTruncate)(tls, file, size)
}

// sync keeps what was written. It does without the real sync: the power does not
// really go.
func (l *losing) sync(_ *libc.TLS, file uintptr, _ int32) int32 {
	time.Sleep(time.Millisecond) // it takes its time, so that the power goes while it does
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fail {
		return sqlite3.SQLITE_IOERR_FSYNC
	}
	l.syncs++
	if f := l.files[l.open[file]]; f != nil {
		for _, w := range f.pending {
			f.apply(w)
		}
		f.pending = nil
	}
	return sqlite3.SQLITE_OK
}

// afterPowerLoss writes what the disk may hold if the power goes now into a new
// folder.
func (l *losing) afterPowerLoss(t *testing.T, random *rand.Rand) string {
	t.Helper()
	folder := t.TempDir()
	for path := range l.databases() { // what was acknowledged so far, of which nothing may be lost
		said, err := os.ReadFile(marksOf(path))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(folder, marksName), said, 0o600))
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for path, f := range l.files {
		now := &losingFile{durable: append([]byte{}, f.durable...)}
		for _, w := range f.pending {
			switch random.IntN(3) {
			case 0:
				now.apply(w)
			case 1: // torn between two sectors
				if sectors := len(w.data) / 512; sectors > 0 {
					now.apply(losingWrite{w.at, w.data[:512*random.IntN(sectors+1)]})
				}
			}
		}
		require.NoError(t, os.WriteFile(filepath.Join(folder, filepath.Base(path)), now.durable, 0o600))
	}
	return folder
}

// databases are those among the files.
func (l *losing) databases() iter.Seq[string] {
	l.mu.Lock()
	defer l.mu.Unlock()
	var found []string
	for path := range l.files {
		if filepath.Base(path) == databaseName {
			found = append(found, path)
		}
	}
	return slices.Values(found)
}

// The power goes at random moments under load, on a disk that loses and tears what
// was not synced. What was acknowledged before is there, every log whole.
func TestNothingAcknowledgedIsLostWhenThePowerGoes(t *testing.T) {
	rounds := 15
	if os.Getenv("COILSIDE_FULL") != "" {
		rounds = 200
	}
	random, seed := seeded()
	disk := losingDisk(t)
	folder := t.TempDir()
	create := folderAt(t, folder) // the folder is made before the disk is watched
	require.NoError(t, create.Close())
	d, err := openFolder(folder, faults{vfs: losingName})
	require.NoError(t, err)
	load := startLoad(d, 16)
	for round := range rounds {
		for until := load.total() + int64(random.IntN(100)); load.total() < until; time.Sleep(time.Millisecond) {
			load.failed(t)
		}
		acknowledged := load.acknowledged() // before the power goes
		after, err := OpenFolder(disk.afterPowerLoss(t, random))
		require.NoError(t, err, "seed %d round %d", seed, round)
		report, err := after.Verify(t.Context())
		require.NoError(t, err)
		require.Empty(t, report.Problems, "seed %d round %d", seed, round)
		for name, n := range acknowledged {
			require.GreaterOrEqual(t, len(read(t, after, name)), n, "seed %d round %d: %s", seed, round, name)
		}
		require.NoError(t, after.Close())
	}
	load.stop()
	t.Logf("%d records acknowledged, %d syncs", load.total(), disk.syncs)
	require.NoError(t, d.Close())
}

// While syncs fail nothing is acknowledged; afterwards the logs go on where they
// stood, and the power may go.
func TestAFailedSyncIsNotAcknowledged(t *testing.T) {
	random, seed := seeded()
	disk := losingDisk(t)
	folder := t.TempDir()
	create := folderAt(t, folder)
	require.NoError(t, create.Close())
	d, err := openFolder(folder, faults{vfs: losingName})
	require.NoError(t, err)
	f := job(t, d, "van-1", `1`, `2`)
	disk.set(true)
	for range 3 {
		require.ErrorContains(t, f.Append([]byte(`"lost"`), nil), "the disk failed")
	}
	_, err = d.Create("van-2", []byte(`1`), nil)
	require.ErrorContains(t, err, "the disk failed")
	require.Equal(t, []string{"1", "2"}, read(t, d, "van-1"))
	disk.set(false)
	require.NoError(t, f.Append([]byte(`3`), nil))
	for range 20 {
		after := folderAt(t, disk.afterPowerLoss(t, random))
		require.Equal(t, []string{"1", "2", "3"}, read(t, after, "van-1"), "seed %d", seed)
	}
	require.NoError(t, d.Close())
}

func (l *losing) set(fail bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fail = fail
}

// load is many writers on one folder.
type load struct {
	mu    sync.Mutex
	acked map[string]int
	err   error
	count atomic.Int64
	ended atomic.Bool
	all   sync.WaitGroup
}

func startLoad(d *Store, writers int) *load {
	l := &load{acked: map[string]int{}}
	for i := range writers {
		l.all.Go(func() {
			name := "job-" + string(rune('a'+i))
			f, err := d.Create(name, []byte(`1`), nil)
			for n := 1; err == nil && !l.ended.Load(); n++ {
				l.mu.Lock()
				l.acked[name] = n
				l.mu.Unlock()
				l.count.Add(1)
				err = f.Append([]byte(`"some words to fill a record"`), []byte(`"head"`))
			}
			if err != nil {
				l.mu.Lock()
				l.err = err
				l.mu.Unlock()
			}
		})
	}
	return l
}

func (l *load) total() int64 { return l.count.Load() }

func (l *load) acknowledged() map[string]int {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := map[string]int{}
	for name, n := range l.acked {
		out[name] = n
	}
	return out
}

func (l *load) failed(t *testing.T) {
	t.Helper()
	l.mu.Lock()
	defer l.mu.Unlock()
	require.NoError(t, l.err)
}

func (l *load) stop() {
	l.ended.Store(true)
	l.all.Wait()
}
