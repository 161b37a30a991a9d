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

func TestAMissingDatabaseWithItsLogLeftIsFound(t *testing.T) {
	path := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(path, databaseName+"-wal"), []byte("x"), 0o600))
	_, err := OpenFolder(path)
	require.ErrorContains(t, err, "it is missing")
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
	for range rounds {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), killFolder+"="+folder)
		out, err := c.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		time.AfterFunc(time.Duration(20+random.IntN(150))*time.Millisecond, func() { _ = c.Process.Kill() })
		acknowledged := map[string]int{}
		for lines := bufio.NewScanner(out); lines.Scan(); {
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
	require.Greater(t, total, 100*rounds/4)
}

func seeded() (*rand.Rand, uint64) {
	seed := uint64(time.Now().UnixNano())
	return rand.New(rand.NewPCG(seed, 0)), seed
}
