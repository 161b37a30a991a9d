package journal

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// copied is a new folder with a database of the content given.
func copied(t testing.TB, content []byte) string {
	t.Helper()
	path := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(path, databaseName), content, 0o600))
	return path
}

// database is the content of a closed database with some jobs, and their records.
func database(t testing.TB) ([]byte, map[string][]string) {
	t.Helper()
	path := t.TempDir()
	d, err := OpenFolder(path)
	require.NoError(t, err)
	want := map[string][]string{}
	for j := range 30 {
		name := fmt.Sprintf("job-%d", j)
		for r := range 1 + j%5 {
			want[name] = append(want[name], fmt.Sprintf(`"%d %s"`, r, strings.Repeat("x", 1+j*r*60)))
		}
		job(t, d, name, want[name]...)
	}
	require.NoError(t, d.Close())
	content, err := os.ReadFile(filepath.Join(path, databaseName))
	require.NoError(t, err)
	return content, want
}

// untold reports what a damaged database hides without saying so: it opens, and
// a job is gone, or reads back as something else.
func untold(path string, want map[string][]string) error {
	d, err := OpenFolder(path)
	if err != nil {
		if !strings.Contains(err.Error(), path) {
			return fmt.Errorf("the error does not name the file: %w", err)
		}
		return nil
	}
	defer d.Close()
	heads, err := d.Heads()
	if err != nil {
		return nil //nolint:nilerr // said
	}
	damaged := 0
	listed := map[string]bool{}
	for _, h := range heads {
		listed[h.Name] = true
		if h.Damage != nil {
			damaged++
		}
	}
	for name, records := range want {
		_, got, err := d.Open(name)
		if err != nil && (!errors.Is(err, fs.ErrNotExist) || damaged > 0) {
			continue // said, or listed as damaged under the name that it has now
		}
		if err != nil || !listed[name] {
			return fmt.Errorf("job %s is gone: %w", name, err)
		}
		if fmt.Sprint(texts(got)) != fmt.Sprint(records) {
			return fmt.Errorf("job %s reads back otherwise", name)
		}
	}
	return nil
}

func TestFlippedBitsAreFound(t *testing.T) {
	content, want := database(t)
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 0))
	rounds := 100
	if os.Getenv("COILSIDE_FULL") != "" {
		rounds = 20_000
	}
	for range rounds {
		bad := append([]byte{}, content...)
		at, bit := random.IntN(len(bad)), random.IntN(8)
		bad[at] ^= 1 << bit
		require.NoError(t, untold(copied(t, bad), want), "seed %d: byte %d, bit %d", seed, at, bit)
	}
}

func TestCutDatabasesAreFound(t *testing.T) {
	content, want := database(t)
	for _, size := range []int{0, 1, 50, 100, 512, 4095, 4096, 4097, 8192, len(content) / 2, len(content) - 4096, len(content) - 1} {
		path := copied(t, content[:size])
		require.NoError(t, untold(path, want), "%d bytes", size)
		left, err := os.ReadFile(filepath.Join(path, databaseName))
		require.NoError(t, err)
		require.True(t, bytes.Equal(content[:size], left), "%d bytes: what was found damaged is left as it was", size)
	}
	require.NoError(t, untold(copied(t, []byte("this is no database, whatever its name says")), want))
	require.NoError(t, untold(copied(t, make([]byte, len(content))), want))
}

// torn is what a killed program leaves of a folder: much of what was acknowledged is in the
// write-ahead log only.
func torn(t testing.TB) (files map[string][]byte, want map[string][]string) {
	t.Helper()
	path := t.TempDir()
	d := folderAt(t, path)
	want = map[string][]string{}
	for round := range 6 {
		for j := range 5 {
			name := fmt.Sprintf("job-%d", j*(1+round/3))
			record := fmt.Sprintf(`"%d %s"`, round, strings.Repeat("x", 1+j*round*60))
			f, _, err := d.Open(name)
			if errors.Is(err, fs.ErrNotExist) {
				_, err = d.Create(name, []byte(record), nil)
			} else {
				require.NoError(t, err)
				err = f.Append([]byte(record), nil)
			}
			require.NoError(t, err)
			want[name] = append(want[name], record)
		}
	}
	files = map[string][]byte{}
	for _, name := range []string{databaseName, databaseName + "-wal", marksName} {
		content, err := os.ReadFile(filepath.Join(path, name))
		require.NoError(t, err)
		require.NotEmpty(t, content, name)
		files[name] = content
	}
	return files, want
}

func laid(t testing.TB, files map[string][]byte) string {
	t.Helper()
	path := t.TempDir()
	for name, content := range files {
		require.NoError(t, os.WriteFile(filepath.Join(path, name), content, 0o600))
	}
	return path
}

// SQLite drops what follows damage in its write-ahead log without a word; here it is said, and
// nothing is changed, so that what is left can still be had.
func TestADamagedTailOfTheLogIsFound(t *testing.T) {
	files, want := torn(t)
	wal := files[databaseName+"-wal"]
	whole := laid(t, files)
	d := folderAt(t, whole)
	for name, records := range want {
		require.Equal(t, records, read(t, d, name))
	}
	random, seed := seeded()
	damages := map[string][]byte{"gone": nil, "empty": {}, "of zeros": make([]byte, len(wal)), "cut at its end": wal[:len(wal)-1]}
	rounds := 60
	if os.Getenv("COILSIDE_FULL") != "" {
		rounds = 5_000
	}
	for i := range rounds {
		at := random.IntN(len(wal))
		if i%2 == 0 {
			damages[fmt.Sprintf("cut at %d", at)] = wal[:at]
			continue
		}
		flipped := append([]byte{}, wal...)
		flipped[at] ^= 1 << random.IntN(8)
		damages[fmt.Sprintf("flipped at %d", at)] = flipped
	}
	said := 0
	for what, damaged := range damages {
		left := map[string][]byte{databaseName: files[databaseName], marksName: files[marksName]}
		if damaged != nil {
			left[databaseName+"-wal"] = damaged
		}
		path := laid(t, left)
		d, err := OpenFolder(path)
		if err == nil {
			require.NoError(t, d.Close())
			require.NoError(t, untold(path, want), "seed %d: %s", seed, what)
			continue
		}
		require.ErrorContains(t, err, path)
		said++
		for name, content := range left {
			now, err := os.ReadFile(filepath.Join(path, name))
			require.NoError(t, err, "%s: %s", what, name)
			require.True(t, bytes.Equal(content, now), "seed %d: %s: %s was changed", seed, what, name)
		}
	}
	require.Greater(t, said, len(damages)/2)
}

// What was lost is named job by job, verify tells of it, and whoever deletes the file goes on
// with what is there.
func TestLostRecordsAreNamed(t *testing.T) {
	files, want := torn(t)
	path := laid(t, map[string][]byte{databaseName: files[databaseName], databaseName + "-wal": files[databaseName+"-wal"][:len(files[databaseName+"-wal"])-5000], marksName: files[marksName]})
	_, err := OpenFolder(path)
	require.ErrorContains(t, err, "records that were acknowledged are missing: job job-8 has 2 of 3 (to go on without them, delete "+filepath.Join(path, marksName)+")")
	r, err := ReadFolder(path)
	require.NoError(t, err)
	report, err := r.Verify(t.Context())
	require.NoError(t, err)
	require.Len(t, report.Problems, 1)
	require.ErrorContains(t, report.Problems[0], "job job-8 has 2 of 3")
	require.Equal(t, want["job-6"], read(t, r, "job-6"), "what is there can be saved")
	require.NoError(t, r.Close())
	require.NoError(t, os.Remove(filepath.Join(path, marksName)))
	d := folderAt(t, path)
	require.Equal(t, want["job-8"][:2], read(t, d, "job-8"))
}

// The file does not grow without bound, and a line of it that is damaged says nothing.
func TestMarksAreDroppedOnceTheLogIsEmptied(t *testing.T) {
	path := t.TempDir()
	d := folderAt(t, path)
	job(t, d, "van-1", `1`, `2`)
	d.backend.(*folder).marks.size = mostMarks
	f, _, err := d.Open("van-1")
	require.NoError(t, err)
	require.NoError(t, f.Append([]byte(`3`), nil))
	info, err := os.Stat(filepath.Join(path, marksName))
	require.NoError(t, err)
	require.Zero(t, info.Size())
	info, err = os.Stat(filepath.Join(path, databaseName+"-wal"))
	require.NoError(t, err)
	require.Zero(t, info.Size())
	require.NoError(t, f.Append([]byte(`4`), nil))
	said, err := readMarks(d.Path())
	require.NoError(t, err)
	require.Equal(t, map[string]int{"van-1": 4}, said)
	require.NoError(t, os.WriteFile(marksOf(d.Path()), []byte("van-1 9 00000000\n"+markLine("van-1", 3)+"van-1 12"), 0o600))
	said, err = readMarks(d.Path())
	require.NoError(t, err)
	require.Equal(t, map[string]int{"van-1": 3}, said)
}

func TestAMissingDatabaseWithItsLogLeftIsFound(t *testing.T) {
	for _, left := range []string{databaseName + "-wal", marksName} {
		path := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(path, left), []byte("x"), 0o600))
		_, err := OpenFolder(path)
		require.ErrorContains(t, err, "it is missing, and its "+left)
	}
}

// The kill test runs this test binary again as the one that writes.
const killFolder = "COILSIDE_TEST_KILL_FOLDER"

func TestMain(m *testing.M) {
	if folder := os.Getenv(killFolder); folder != "" {
		writeUntilKilled(folder)
		return
	}
	os.Exit(m.Run())
}

// writeUntilKilled appends to many jobs at once and prints each record that was
// acknowledged.
func writeUntilKilled(folder string) {
	d, err := OpenFolder(folder)
	if err != nil {
		fmt.Println("error", err)
		return
	}
	var say sync.Mutex
	var all sync.WaitGroup
	for i := range 16 {
		all.Go(func() {
			name := fmt.Sprintf("job-%d", i)
			f, records, err := d.Open(name)
			n := len(records)
			if errors.Is(err, fs.ErrNotExist) {
				f, err = d.Create(name, []byte(`1`), nil)
				n = 1
			}
			for err == nil {
				say.Lock()
				fmt.Println(name, n)
				say.Unlock()
				n++
				err = f.Append(fmt.Appendf(nil, "%d", n), nil)
			}
			fmt.Println("error", err)
		})
	}
	all.Wait()
}

// The writer is killed at random moments; what it acknowledged is there when the
// folder is opened again, every log whole.
func TestNothingAcknowledgedIsLostWhenTheWriterIsKilled(t *testing.T) {
	rounds := 20
	if os.Getenv("COILSIDE_FULL") != "" {
		rounds = 300
	}
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 0))
	folder := t.TempDir()
	total := 0
	for round := range rounds {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), killFolder+"="+folder)
		out, err := c.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		life := time.Duration(20+random.IntN(150)) * time.Millisecond
		writing := round%2 == 0 // it is killed while it writes, else perhaps while it starts
		wait := life
		if writing {
			wait = time.Minute
		}
		end := time.AfterFunc(wait, func() { _ = c.Process.Kill() })
		acknowledged := map[string]int{}
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if writing && len(acknowledged) == 0 {
				end.Reset(life)
			}
			var name string
			var n int
			if _, err := fmt.Sscanf(lines.Text(), "%s %d", &name, &n); err == nil {
				acknowledged[name] = n
				total++
			}
			require.NotContains(t, lines.Text(), "error")
		}
		_ = c.Wait() // it says that it was killed
		d, err := OpenFolder(folder)
		require.NoError(t, err, "seed %d", seed)
		report, err := d.Verify(t.Context())
		require.NoError(t, err)
		require.Empty(t, report.Problems)
		for name, n := range acknowledged {
			got := read(t, d, name)
			require.GreaterOrEqual(t, len(got), n, "seed %d: %s", seed, name)
			require.LessOrEqual(t, len(got), n+1)
			for i, r := range got {
				require.Equal(t, fmt.Sprint(i+1), r)
			}
		}
		require.NoError(t, d.Close())
	}
	t.Logf("%d records acknowledged in %d rounds", total, rounds)
	require.Greater(t, total, 10*rounds, "there was a load")
}

func seeded() (*rand.Rand, uint64) {
	seed := uint64(time.Now().UnixNano())
	return rand.New(rand.NewPCG(seed, 0)), seed
}
