package circuit_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"coilside/engine/circuit"
	"coilside/engine/circuit/netlist"
	"coilside/rules"

	"github.com/rogpeppe/go-internal/txtar"
)

// Recorded results stand in two files: the rulebook they were made from, so that
// a change of the shipped one does not touch them, and the cases: a netlist each
// and one line of results.
const (
	recordDir  = "../../testdata/ngspice"
	bookFile   = "rulebook.txtar"
	casesFile  = "cases.txtar"
	resultFile = "results"
)

// recorded is what ngspice made of a case.
type recorded struct {
	Armature string
	Blown    []string // fuses that are open, whether blown or found so
	Value    float64
	Note     string // OL, trips, comes and goes; the value is 0 then
}

func record(c *spiceCase, s netlist.Solved) recorded {
	r := recorded{Armature: s.Armature, Blown: slices.Clone(s.Blown)}
	for _, e := range c.numbers.Circuit.Parts {
		if e.Kind == "fuse" && c.numbers.Open[e.ID] {
			r.Blown = append(r.Blown, e.ID)
		}
	}
	slices.Sort(r.Blown)
	r.Value, r.Note = netlist.Reading(c.numbers, c.measure, s)
	return r
}

// line is the recorded form; parseRecorded reads it back.
func (r recorded) line() string {
	return fmt.Sprintf("armature=%s blown=%s value=%.10g note=%s", r.Armature, strings.Join(r.Blown, ","), r.Value, r.Note)
}

func parseRecorded(line string) (recorded, error) {
	var r recorded
	head, note, ok := strings.Cut(line, " note=")
	fields := strings.Fields(head)
	if !ok || len(fields) != 3 {
		return r, fmt.Errorf("not a recorded result: %q", line)
	}
	get := func(i int, key string) string {
		v, found := strings.CutPrefix(fields[i], key+"=")
		ok = ok && found
		return v
	}
	r.Armature, r.Note = get(0, "armature"), note
	if blown := get(1, "blown"); blown != "" {
		r.Blown = strings.Split(blown, ",")
	}
	var err error
	if r.Value, err = strconv.ParseFloat(get(2, "value"), 64); err != nil || !ok {
		return r, fmt.Errorf("not a recorded result: %q", line)
	}
	return r, nil
}

// oldCase is one recorded case.
type oldCase struct {
	name, netlist string
	result        recorded
}

// readCases reads the recorded cases and the ngspice version that made them.
func readCases(tb testing.TB) (cases []oldCase, version string) {
	tb.Helper()
	archive, err := txtar.ParseFile(filepath.Join(recordDir, casesFile))
	if err != nil {
		tb.Fatal(err)
	}
	version, _, _ = strings.Cut(string(archive.Comment), "\n")
	results := map[string]string{}
	for _, f := range archive.Files {
		if f.Name != resultFile {
			cases = append(cases, oldCase{name: f.Name, netlist: string(f.Data)})
			continue
		}
		for line := range strings.Lines(string(f.Data)) {
			name, result, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
			results[name] = result
		}
	}
	for i := range cases {
		if cases[i].result, err = parseRecorded(results[cases[i].name]); err != nil {
			tb.Fatalf("%s: %v", cases[i].name, err)
		}
	}
	return cases, version
}

// regenerate draws a recorded case again, from its first line.
func regenerate(book *rules.Book, netlist string) (*spiceCase, error) {
	title, _, _ := strings.Cut(strings.TrimPrefix(netlist, "* "), "\n")
	fields := strings.SplitN(title, " | ", 3)
	var seed, number uint64
	if _, err := fmt.Sscanf(fields[0], "seed %d,%d", &seed, &number); err != nil || len(fields) < 3 {
		return nil, fmt.Errorf("not a case's title: %q", title)
	}
	suspects, err := suspectsOf(book, strings.Split(fields[1], "+"))
	if err != nil {
		return nil, err
	}
	c, err := newCase(book.Circuits[0], seed, number, suspects)
	if err == nil && (c == nil || c.title() != title) {
		err = fmt.Errorf("the case is drawn differently now: %q; record anew with -record", title)
	}
	return c, err
}

func suspectsOf(book *rules.Book, ids []string) ([]*rules.Suspect, error) {
	var found []*rules.Suspect
	for _, id := range ids {
		i := slices.IndexFunc(book.Suspects, func(s *rules.Suspect) bool { return s.ID == id })
		if i < 0 {
			return nil, fmt.Errorf("the rulebook has no suspect %s", id)
		}
		found = append(found, book.Suspects[i])
	}
	return found, nil
}

// recordedBook loads the rulebook that the recorded cases were made from.
func recordedBook(tb testing.TB) (*rules.Book, *circuit.Model) {
	tb.Helper()
	archive, err := txtar.ParseFile(filepath.Join(recordDir, bookFile))
	if err != nil {
		tb.Fatal(err)
	}
	files := fstest.MapFS{}
	for _, f := range archive.Files {
		files[f.Name] = &fstest.MapFile{Data: f.Data}
	}
	return compiled(tb, rules.Layer{Name: bookFile, FS: files})
}

func compiled(tb testing.TB, layer rules.Layer) (*rules.Book, *circuit.Model) {
	tb.Helper()
	book, err := rules.Load(layer)
	if err != nil {
		tb.Fatal(err)
	}
	m, err := circuit.Compile(book, book.Circuits[0])
	if err != nil {
		tb.Fatal(err)
	}
	return book, m
}
