package diagnosis_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/rulesets"
)

// Worked cases that somebody else has published, with what was read and what it
// proves. Each is played through a whole rulebook: read by the loader, opened as a
// job, given the readings, and asked for its ranking and conclusion. The sources
// stand beside the cases, in testdata/published.

const publishedFolder = "../../testdata/published"

// worked is one case.
type worked struct {
	ID        string            `yaml:"id"`
	Source    string            `yaml:"source"`
	Says      string            `yaml:"says"`
	Rulebook  string            `yaml:"rulebook"` // a file beside the cases, or "relay" for the shipped one
	Complaint string            `yaml:"complaint"`
	Facts     map[string]string `yaml:"facts"`
	Readings  []taken           `yaml:"readings"`
	Leads     string            `yaml:"leads"`
	AtLeast   float64           `yaml:"at_least"`
	Among     []string          `yaml:"among"`
}

// taken is one reading: of a test, or unasked at a place.
type taken struct {
	Test    string        `yaml:"test"`
	Measure rules.Measure `yaml:"measure"`
	Setup   rules.Setup   `yaml:"setup"`
	Answer  string        `yaml:"answer"`
}

func workedCases(t *testing.T) []worked {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(publishedFolder, "cases", "*.yaml"))
	require.NoError(t, err)
	var all []worked
	for _, file := range files {
		f, err := os.Open(file)
		require.NoError(t, err)
		defer f.Close()
		d := yaml.NewDecoder(f)
		d.KnownFields(true)
		var some []worked
		require.NoError(t, d.Decode(&some), file)
		all = append(all, some...)
	}
	require.NotEmpty(t, all)
	return all
}

// knowledge compiles a published rulebook, or the shipped one.
func knowledge(t *testing.T, name string) *diagnosis.Knowledge {
	t.Helper()
	if name == "relay" {
		return compile(t, rules.Layer{Name: name, FS: relayFiles()})
	}
	data, err := os.ReadFile(filepath.Join(publishedFolder, name))
	require.NoError(t, err)
	return compile(t, rules.Layer{Name: "published", FS: oneFile(string(data))})
}

func relayFiles() fs.FS { return rulesets.Relay() }

func oneFile(text string) fs.FS { return fstest.MapFS{"rules.yaml": {Data: []byte(text)}} }

func compile(t *testing.T, layers ...rules.Layer) *diagnosis.Knowledge {
	t.Helper()
	book, err := rules.Load(layers...)
	require.NoError(t, err)
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	return k
}

func opened(t *testing.T, k *diagnosis.Knowledge, complaint string, facts map[string]string, seed uint64) *diagnosis.Case {
	t.Helper()
	o := diagnosis.Opening{Complaint: complaint, Facts: map[string]rules.Value{}, Seed: seed}
	for id, word := range facts {
		fact, ok := k.Book().Fact(id)
		require.True(t, ok, "fact %s", id)
		v, err := fact.Parse(word)
		require.NoError(t, err)
		o.Facts[id] = v
	}
	c, err := k.Open(o)
	require.NoError(t, err)
	return c
}

// answer reads "OL", "unsure", a number or a word.
func answer(text string) diagnosis.Answer {
	if number, err := strconv.ParseFloat(text, 64); err == nil {
		return diagnosis.Answer{Number: &number}
	}
	switch text {
	case "OL":
		return diagnosis.Answer{Over: true}
	case "unsure":
		return diagnosis.Answer{Unsure: true}
	}
	return diagnosis.Answer{Choice: text}
}

func read(t *testing.T, c *diagnosis.Case, entry int, r taken) {
	t.Helper()
	require.NoError(t, c.Read(diagnosis.Reading{Entry: entry, Test: r.Test, Measure: r.Measure, Setup: r.Setup,
		Answer: answer(r.Answer)}), "%+v", r)
}

// lead is the likeliest suspect, and fails the test unless the ranking sums to 1.
func lead(t *testing.T, c *diagnosis.Case) diagnosis.Ranked {
	t.Helper()
	ranking, sum := c.Ranking(), 0.0
	for _, r := range ranking {
		sum += r.Probability
	}
	require.InDelta(t, 1, sum, 1e-9)
	return ranking[0]
}

func TestWorkedCases(t *testing.T) {
	for _, w := range workedCases(t) {
		t.Run(w.ID, func(t *testing.T) {
			require.NotEmpty(t, w.Source)
			k := knowledge(t, w.Rulebook)
			backwards := slices.Clone(w.Readings)
			slices.Reverse(backwards)
			for seed, readings := range [][]taken{w.Readings, backwards, w.Readings} {
				c := opened(t, k, w.Complaint, w.Facts, uint64(seed))
				for i, r := range readings {
					read(t, c, i+1, r)
				}
				w.holds(t, c)
				if t.Failed() {
					t.Fatalf("seed %d; the source says: %s", seed, w.Says)
				}
			}
		})
	}
}

// holds checks the case's conclusion.
func (w *worked) holds(t *testing.T, c *diagnosis.Case) {
	t.Helper()
	first := lead(t, c)
	if len(w.Among) > 0 {
		sum := 0.0
		for _, s := range w.Among {
			assert.Greater(t, c.Probability(s), 0.02, s)
			sum += c.Probability(s)
		}
		assert.Greater(t, sum, w.AtLeast, "%v of %v", w.Among, c.Ranking()[:3])
		return
	}
	assert.Equal(t, w.Leads, first.Suspect)
	assert.Greater(t, first.Probability, w.AtLeast)
	if w.AtLeast >= 0.95 {
		conclusion := c.Conclusion()
		if assert.NotNil(t, conclusion, "nothing is concluded at %.3f", first.Probability) {
			assert.Equal(t, []string{w.Leads}, conclusion.Suspects)
		}
	}
}

// Lessons in Electric Circuits, volume Digital, ch. 6: with its switch on the hot
// side, a load whose wire to the switch touches ground blows the fuse; with the
// switch on the ground side it can't be switched off. The effect follows from the
// fault, in the worksheet's circuit and in that of a relay, whose coil is the load.
func TestGroundedWireByTheSideOfTheSwitch(t *testing.T) {
	for _, w := range []struct{ rulebook, side, fault string }{
		{"grounded.yaml", "switch_side", "between.short_to_ground"},
		{"relay", "control_side", "control_wire.short_to_ground"},
	} {
		k := knowledge(t, w.rulebook)
		for choice, complaint := range map[string]string{"hot": "blows_fuse", "ground": "stays_on"} {
			wiring := map[string]string{w.side: choice}
			if w.rulebook == "relay" {
				wiring = map[string]string{"control_side": map[string]string{"hot": "positive", "ground": "ground"}[choice], "contact": "make"}
			}
			as := 0
			for seed := range uint64(20) {
				v, err := vehicle.New(vehicle.Options{Book: k.Book(), Model: k.Model(), Wiring: wiring, Faults: []string{w.fault}, Seed: seed})
				require.NoError(t, err)
				if v.Complaint() == complaint {
					as++
				}
			}
			// A big fuse behind a poor switch may hold now and then.
			assert.GreaterOrEqual(t, as, 19, "%s, switch on the %s side, of 20 vehicles", w.rulebook, choice)
		}
	}
}

// FAA, Aviation Maintenance Technician Handbook, General: volts across a parallel
// circuit do not show which branch is open, or whether one is. So that test is
// worth nothing: it is never offered, and done all the same it moves nothing. The
// currents are offered, and they find it.
func TestOpenBranchIsNotSoughtByVolts(t *testing.T) {
	k := knowledge(t, "parallel.yaml")
	amps := map[string]string{"amps_r1": "0.1", "amps_r2": "0", "amps_r3": "0.05", "amps_all": "0.15"}
	for seed := range uint64(5) {
		c := opened(t, k, "", nil, seed)
		even := c.Ranking()
		for i := 1; c.Conclusion() == nil; i++ {
			next := c.Next(0)
			require.NotEmpty(t, next, "seed %d", seed)
			for _, p := range next {
				require.NotEqual(t, "volts", p.Test.ID, "seed %d: it is worth %.3f bits", seed, p.Gain)
			}
			assert.Greater(t, next[0].Gain, 0.3)
			read(t, c, i, taken{Test: next[0].Test.ID, Answer: amps[next[0].Test.ID]})
		}
		assert.Equal(t, []string{"r2.open"}, c.Conclusion().Suspects, "seed %d", seed)

		fresh := opened(t, k, "", nil, seed)
		read(t, fresh, 1, taken{Test: "volts", Answer: "9"})
		for i, r := range fresh.Ranking() {
			assert.Equal(t, even[i].Suspect, r.Suspect)
			assert.InDelta(t, even[i].Probability, r.Probability, 1e-6)
		}
	}
}
