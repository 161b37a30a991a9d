package circuit_test

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilside/engine/circuit/netlist"
	"coilside/rules"
	"coilside/rulesets"

	"github.com/rogpeppe/go-internal/txtar"
)

// recordCases draws and solves the recorded cases: each suspect four times, some
// of them more often, and pairs of suspects.
func recordCases(t *testing.T) {
	version := ngspiceVersion()
	if version == "" {
		t.Fatal("recording needs ngspice")
	}
	book, _ := shipped(t)
	if err := keepBook(book, rulesets.Relay()); err != nil {
		t.Fatal(err)
	}
	archive := &txtar.Archive{}
	var results strings.Builder
	tally := map[string]int{}
	number := uint64(0)
	for _, want := range wanted(t, book) {
		for {
			number++
			c, err := newCase(book.Circuits[0], *spiceSeed, number, want.suspects)
			if err != nil {
				t.Fatal(err)
			}
			if c == nil {
				tally["no wiring has both suspects"]++
				break
			}
			result, outcome, err := decide(c)
			if err == nil && outcome == agree && want.outcome != "" {
				outcome, err = want.met(c, result)
			}
			if err != nil {
				t.Fatal(err)
			}
			tally[outcome]++
			if outcome != agree {
				continue
			}
			netlist, _ := c.netlist(netlist.AsDrawn)
			name := fmt.Sprintf("%04d.cir", number)
			archive.Files = append(archive.Files, txtar.File{Name: name, Data: []byte(netlist)})
			fmt.Fprintf(&results, "%s %s\n", name, result.line())
			break
		}
	}
	archive.Files = append(archive.Files, txtar.File{Name: resultFile, Data: []byte(results.String())})
	archive.Comment = fmt.Appendf(nil, "%s\nseed %d; the draws came to: %v\n", version, *spiceSeed, tally)
	t.Logf("%s", archive.Comment)
	if err := os.WriteFile(filepath.Join(recordDir, casesFile), txtar.Format(archive), 0o644); err != nil {
		t.Fatal(err)
	}
}

// wish is what a recorded case must have.
type wish struct {
	suspects []*rules.Suspect
	outcome  string // buzzes, holds, blows, barely blows, barely lasts; "" = any
}

// met reports agree where ngspice found the outcome wished for. An armature
// holds when it would not stay over without the gap from pull-in to drop-out; a
// fuse barely blows when one a fifth stronger would last, and the other way round.
func (w wish) met(c *spiceCase, r recorded) (string, error) {
	met := false
	other := map[string]netlist.Limits{"holds": {Fuse: 1, Pull: 1, Slack: true},
		"barely blows": {Fuse: 1.2, Pull: 1}, "barely lasts": {Fuse: 0.8, Pull: 1}}[w.outcome]
	var changed recorded
	if other.Fuse > 0 {
		var err error
		if changed, err = solve(c, other); errors.Is(err, netlist.ErrGaveUp) {
			return gaveUp, nil
		} else if err != nil {
			return disagree, err
		}
	}
	switch w.outcome {
	case "buzzes":
		met = r.Armature == "buzz"
	case "blows":
		met = len(r.Blown) > 0
	case "holds":
		met = r.Armature == "over" && changed.Armature != "over"
	case "barely blows":
		met = len(r.Blown) > len(changed.Blown)
	case "barely lasts":
		met = len(r.Blown) < len(changed.Blown)
	}
	if met {
		return agree, nil
	}
	return "one that " + w.outcome + " was wanted", nil
}

func wanted(t *testing.T, book *rules.Book) []wish {
	var list []wish
	for range 4 {
		for i := range book.Suspects {
			list = append(list, wish{suspects: book.Suspects[i : i+1]})
		}
	}
	for range 6 {
		for _, w := range [][2]string{{"battery.resistive", "buzzes"}, {"battery.resistive", "holds"},
			{"load_wire.short_to_ground", "blows"}, {"coil_wire.short_to_ground", "blows"},
			{"load.overcurrent", "barely blows"}, {"load.overcurrent", "barely lasts"}} {
			s, err := suspectsOf(book, w[:1])
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, wish{s, w[1]})
		}
	}
	rng := rand.New(rand.NewPCG(*spiceSeed, 0))
	for range 40 {
		a, b := book.Suspects[rng.IntN(len(book.Suspects))], book.Suspects[rng.IntN(len(book.Suspects))]
		if a.Element != b.Element {
			list = append(list, wish{suspects: []*rules.Suspect{a, b}})
		}
	}
	return list
}

// keepBook writes the parts of a rulebook that bear on its circuit, and tests by
// the names that its suspects mention.
func keepBook(book *rules.Book, folder fs.FS) error {
	archive := &txtar.Archive{Comment: []byte("The rulebook that cases.txtar was recorded from; written by the test's -record.\n")}
	for _, name := range []string{"circuit.yaml", "facts.yaml", "parameters.yaml", "suspects.yaml"} {
		data, err := fs.ReadFile(folder, name)
		if err != nil {
			return err
		}
		archive.Files = append(archive.Files, txtar.File{Name: name, Data: data})
	}
	proofs := map[string]bool{}
	for _, s := range book.Suspects {
		if s.Repair.Verify != "" {
			proofs[s.Repair.Verify] = true
		}
	}
	tests := fmt.Sprintf(`tests:
  - for: {V: [%s]}
    id: "{V}"
    words: "a test that a repair names: {V}"
    measure: {mode: watch}
    setup: {relay: in, key: on, command: on}
    say: "Watch the load."
    why: "It stands for the test of this name."
    minutes: [1, 1, 1]
    tool: none
`, strings.Join(slices.Sorted(maps.Keys(proofs)), ", "))
	archive.Files = append(archive.Files, txtar.File{Name: "tests.yaml", Data: []byte(tests)})
	return os.WriteFile(filepath.Join(recordDir, bookFile), txtar.Format(archive), 0o644)
}

// renewCases solves again those recorded cases whose netlist is written differently now.
func renewCases(t *testing.T, book *rules.Book) {
	archive, err := txtar.ParseFile(filepath.Join(recordDir, casesFile))
	if err != nil {
		t.Fatal(err)
	}
	cases, _ := readCases(t)
	var results strings.Builder
	renewed := 0
	for i, old := range cases { // the results come last
		c, err := regenerate(book, old.netlist)
		if err != nil {
			t.Fatalf("%s: %v", old.name, err)
		}
		text, err := c.netlist(netlist.AsDrawn)
		if err != nil {
			t.Fatalf("%s: %v", old.name, err)
		}
		if text != old.netlist {
			solved, err := ngspice(text)
			if err != nil {
				t.Fatalf("%s: %v", old.name, err)
			}
			archive.Files[i].Data, old.result = []byte(text), record(c, solved)
			renewed++
		}
		fmt.Fprintf(&results, "%s %s\n", old.name, old.result.line())
	}
	archive.Files[len(cases)].Data = []byte(results.String())
	t.Logf("%d of %d solved again", renewed, len(cases))
	if err := os.WriteFile(filepath.Join(recordDir, casesFile), txtar.Format(archive), 0o644); err != nil {
		t.Fatal(err)
	}
}
