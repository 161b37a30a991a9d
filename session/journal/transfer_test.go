package journal

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var someRules = []RuleFile{
	{Layer: 0, Name: "relay", File: "a.yaml", Content: []byte("rules: []\n")},
	{Layer: 0, Name: "relay", File: "b/c.yaml", Content: []byte{0xff, 0, '\n'}},
	{Layer: 1, Name: "shop", File: "a.yaml", Content: []byte{}},
}

func filled(t testing.TB) *Store {
	d := folderAt(t, t.TempDir())
	job(t, d, "van-1", `{"a":"é < & \u2028"}`, `2`)
	job(t, d, "car-2", `"x"`)
	require.NoError(t, d.KeepRules("h1", someRules))
	require.NoError(t, d.KeepRules("h1", someRules), "kept already")
	return d
}

func exported(t testing.TB, d *Store, names ...string) string {
	t.Helper()
	var out bytes.Buffer
	problems, err := d.Export(&out, names...)
	require.NoError(t, err)
	require.Empty(t, problems)
	return out.String()
}

// held is what an export holds, all of it.
type held struct {
	Rules map[string][]RuleFile // by content hash
	Jobs  map[string][]string   // records by name of the job
	ended map[string]row
}

func (h *held) rules(hash string, files []RuleFile) error {
	h.Rules[hash] = append(h.Rules[hash], files...)
	return nil
}

func (h *held) record(e *entry) error {
	h.Jobs[e.name] = append(h.Jobs[e.name], string(e.data))
	return nil
}

func (h *held) jobEnds(last row) error {
	h.ended[last.name] = last
	return nil
}

func readExport(text string) (*held, counts, error) {
	h := &held{map[string][]RuleFile{}, map[string][]string{}, map[string]row{}}
	t := transfer{to: h}
	err := t.read(strings.NewReader(text))
	return h, t.counted, err
}

func imported(d *Store, text string) (Imported, error) { return d.Import(strings.NewReader(text)) }

func TestWhatIsExportedIsImported(t *testing.T) {
	d := filled(t)
	text := exported(t, d)
	other := folderAt(t, t.TempDir())
	job(t, other, "own", `1`)
	done, err := imported(other, text)
	require.NoError(t, err)
	require.Equal(t, Imported{Jobs: 2, Records: 3}, done)
	require.Equal(t, text, exported(t, other, "car-2", "van-1"), "byte for byte")
	require.Equal(t, []string{"1"}, read(t, other, "own"))
	done, err = imported(other, text)
	require.NoError(t, err)
	require.Equal(t, Imported{Same: 2}, done, "again changes nothing")

	f, _, err := other.Open("van-1")
	require.NoError(t, err)
	require.NoError(t, f.Append([]byte(`3`), nil), "an imported job goes on")
	_, err = imported(other, text)
	var differs *Differs
	require.ErrorAs(t, err, &differs)
	require.Equal(t, "van-1", differs.Job)
	require.Len(t, read(t, other, "van-1"), 3)
}

// Every changed byte and every cut of an export is found, or it changes nothing.
func TestADamagedExportIsRefused(t *testing.T) {
	text := exported(t, filled(t), "van-1")
	whole, _, err := readExport(text)
	require.NoError(t, err)
	for at := range len(text) - 1 { // the last line's end may be missing
		_, _, err := readExport(text[:at])
		require.ErrorContains(t, err, "line ", "cut after %d", at)
		if strings.HasPrefix(text[strings.LastIndexByte(text[:at], '\n')+1:], `{"job"`) && text[at] != '\n' {
			bad := text[:at] + string(text[at]^1) + text[at+1:]
			got, _, err := readExport(bad)
			if err == nil { // such as an upper-case key, which JSON readers take too
				require.Equal(t, whole.Jobs, got.Jobs, "%q at %d", bad[at], at)
			}
		}
	}
	lines := strings.SplitAfter(text, "\n")
	for what, bad := range map[string]string{
		"line 1: an export of jobs starts with": strings.Join(lines[1:], ""),
		"line 5: record 2 of job van-1 comes":   strings.Join(append(append([]string{}, lines[:4]...), lines[5:]...), ""),
		"more after the last line":              text + lines[4],
		"unknown field":                         lines[0] + `{"jobs":1}` + "\n",
	} {
		_, _, err := readExport(bad)
		require.ErrorContains(t, err, what)
	}
}

func TestVerifyFindsWhatIsWrong(t *testing.T) {
	d := filled(t)
	r, err := d.Verify(context.Background())
	require.NoError(t, err)
	require.Equal(t, &Report{Jobs: 2, Records: 3, Rules: 1}, r)
	_, err = d.db.Exec("PRAGMA foreign_keys = 0")
	require.NoError(t, err)
	d.db.SetMaxOpenConns(1)
	_, err = d.db.Exec("PRAGMA foreign_keys = 0; DELETE FROM jobs WHERE name = 'car-2'; UPDATE records SET sum = 'x' WHERE job = 'van-1' AND n = 2")
	require.NoError(t, err)
	r, err = d.Verify(context.Background())
	require.NoError(t, err)
	require.Len(t, r.Problems, 3)
	require.ErrorContains(t, r.Problems[0], "records that were acknowledged are missing: job car-2 is gone, with 1 (")
	require.ErrorContains(t, r.Problems[1], "job van-1: record 2 is damaged")
	require.ErrorContains(t, r.Problems[2], "job car-2: there are 1 records and the job is missing")
	var out bytes.Buffer
	problems, err := d.Export(&out)
	require.NoError(t, err)
	require.Len(t, problems, 1, "the damaged one is left out and named")
	_, _, err = readExport(out.String())
	require.NoError(t, err)
}

// oldFolder is a folder as programs before the database left it.
func oldFolder(t testing.TB, logs map[string][]string) string {
	path := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(path, linesName), 0o700))
	for name, records := range logs {
		var text []byte
		before := ""
		for i, r := range records {
			var line []byte
			line, before = formatLine(i+1, before, []byte(r))
			text = append(append(text, line...), '\n')
		}
		require.NoError(t, os.WriteFile(filepath.Join(path, linesName, name+linesExtension), text, 0o600))
	}
	return path
}

func TestLogsOfLinesAreTakenOver(t *testing.T) {
	path := oldFolder(t, map[string][]string{"van-1": {`{"a":1}`, `2`}, "car-2": {`1`}, "made-only": nil, "bad": {`1`, `2`, `3`}})
	bad := filepath.Join(path, linesName, "bad"+linesExtension)
	content, err := os.ReadFile(bad)
	require.NoError(t, err)
	content[len(content)-3] ^= 1
	require.NoError(t, os.WriteFile(bad, content, 0o600))
	for range 2 {
		d, err := OpenFolder(path)
		require.NoError(t, err)
		require.Equal(t, []string{`{"a":1}`, `2`}, read(t, d, "van-1"))
		require.Equal(t, []string{`1`}, read(t, d, "car-2"))
		_, _, err = d.Open("bad")
		aside := filepath.Join(path, linesAside, "bad"+linesExtension)
		require.ErrorContains(t, err, "its log "+aside+" line 3 is damaged")
		kept, err := os.ReadFile(aside)
		require.NoError(t, err)
		require.Equal(t, content, kept, "the backup is what there was")
		heads, err := d.Heads()
		require.NoError(t, err)
		require.Len(t, heads, 3)
		require.NoError(t, d.Close())
	}
}

// A stop between the move into the database and the putting aside of the files
// is made good at the next start.
func TestAMoveThatWasStoppedIsEnded(t *testing.T) {
	path := oldFolder(t, map[string][]string{"van-1": {`1`}})
	d, err := OpenFolder(path)
	require.NoError(t, err)
	f, _, err := d.Open("van-1")
	require.NoError(t, err)
	require.NoError(t, f.Append([]byte(`2`), nil))
	require.NoError(t, d.Close())
	require.NoError(t, os.Rename(filepath.Join(path, linesAside), filepath.Join(path, linesName)))
	d = folderAt(t, path)
	require.Equal(t, []string{"1", "2"}, read(t, d, "van-1"))
	require.NoDirExists(t, filepath.Join(path, linesName))
}

func runSQL(text string) func(*sql.Tx, string) error {
	return func(tx *sql.Tx, _ string) error {
		_, err := tx.Exec(text)
		return err
	}
}

// An older database is copied before it is brought up to date; a failed step
// leaves it at the version it had.
func TestAnOlderDatabaseIsBackedUp(t *testing.T) {
	path := t.TempDir()
	d, err := OpenFolder(path)
	require.NoError(t, err)
	job(t, d, "van-1", `1`)
	require.NoError(t, d.Close())
	before := migrations
	defer func() { migrations = before }()
	migrations = append(migrations[:1:1], migration{words: "a column more", run: runSQL("ALTER TABLE jobs ADD COLUMN more TEXT; SELECT nothing")})
	_, err = OpenFolder(path)
	require.ErrorContains(t, err, "to version 2")
	require.FileExists(t, filepath.Join(path, databaseName+".version-1"))
	migrations[1].run = runSQL("ALTER TABLE jobs ADD COLUMN more TEXT")
	d = folderAt(t, path)
	require.Equal(t, []string{"1"}, read(t, d, "van-1"))
	version, err := versionOf(d.path, d.db, len(migrations))
	require.NoError(t, err)
	require.Equal(t, 2, version)
	migrations = before
	old := t.TempDir()
	require.NoError(t, os.Rename(filepath.Join(path, databaseName+".version-1"), filepath.Join(old, databaseName)))
	require.Equal(t, []string{"1"}, read(t, folderAt(t, old), "van-1"), "the backup can be put back")
}

func FuzzReadTransfer(f *testing.F) {
	f.Add([]byte(`{"coilside":"jobs","version":1}` + "\n" + `{"end":{"jobs":0,"records":0,"rule_files":0}}` + "\n"))
	f.Add([]byte(fmt.Sprintf(`{"coilside":"jobs","version":1}`+"\n"+`{"job":"a","n":1,"sum":"%s","data":1}`+"\n", chain("a", 1, []byte("1")))))
	f.Fuzz(func(t *testing.T, text []byte) {
		in, counted, err := readExport(string(text))
		if err != nil {
			var bad *BadTransfer
			require.ErrorAs(t, err, &bad)
			require.Positive(t, bad.Line)
			return
		}
		n := 0
		for name, records := range in.Jobs {
			require.True(t, ValidName(name))
			require.Contains(t, in.ended, name)
			n += len(records)
		}
		require.Equal(t, n, counted.Records)
	})
}

func FuzzReadLines(f *testing.F) {
	line, _ := formatLine(1, "", []byte(`{"volts":12.4}`))
	f.Add(append(line, '\n'))
	f.Add([]byte("\n\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		payloads, problem := readLines(content)
		if problem == "" {
			require.Equal(t, bytes.Count(content, []byte("\n")), len(payloads))
		}
	})
}
