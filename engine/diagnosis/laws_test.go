package diagnosis_test

import (
	"encoding/json"
	"io/fs"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
)

// Laws that every ranking obeys, whatever the vehicle and the readings, held
// against random jobs on the shipped rulebook. A failure prints the job's seed.

// script is a job as its log holds it: the opening and what was taken in.
type script struct {
	seed     uint64
	opening  diagnosis.Opening
	readings []diagnosis.Reading
	vehicle  *vehicle.Vehicle
}

// play opens a case and feeds it readings.
func (s *script) play(t *testing.T, k *diagnosis.Knowledge, readings []diagnosis.Reading) *diagnosis.Case {
	t.Helper()
	c, err := k.Open(s.opening)
	require.NoError(t, err, "seed %d", s.seed)
	for _, r := range readings {
		require.NoError(t, c.Read(r), "seed %d", s.seed)
	}
	return c
}

// randomJob hides a random fault in a random vehicle, tells part of the wiring and
// takes readings: mostly what the case asks for, now and then another test, an
// answer of "unsure", or one that was read off another vehicle.
func randomJob(t *testing.T, k *diagnosis.Knowledge, seed uint64, turns int) *script {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 0x1a35))
	s := &script{seed: seed}
	for s.opening.Complaint == "" {
		s.vehicle = hiddenFault(t, k, rng)
		s.opening.Complaint = s.vehicle.Complaint()
	}
	s.opening.Seed, s.opening.Facts = seed, map[string]rules.Value{}
	known := knownWiring(k, s.vehicle)
	for _, id := range slices.Sorted(maps.Keys(known)) {
		if rng.Float64() < 0.7 {
			s.opening.Facts[id] = known[id]
		}
	}
	c := s.play(t, k, nil)
	for range turns {
		next := c.Next(0)
		if len(next) == 0 {
			break
		}
		p := next[0]
		if rng.Float64() < 0.3 {
			p = next[rng.IntN(len(next))]
		}
		from := s.vehicle
		if rng.Float64() < 0.15 {
			from = hiddenFault(t, k, rng)
		}
		answer, err := from.Answer(p.Measure, p.Setup)
		require.NoError(t, err)
		if rng.Float64() < 0.1 {
			answer = diagnosis.Answer{Unsure: true}
		}
		r := diagnosis.Reading{Entry: len(s.readings) + 1, Test: p.Test.ID, Measure: p.Measure, Setup: p.Setup, Answer: answer}
		require.NoError(t, c.Read(r))
		s.readings = append(s.readings, r)
	}
	return s
}

func hiddenFault(t *testing.T, k *diagnosis.Knowledge, rng *rand.Rand) *vehicle.Vehicle {
	t.Helper()
	for {
		fault := k.Book().Suspects[rng.IntN(len(k.Book().Suspects))].ID
		v, err := vehicle.New(vehicle.Options{Book: k.Book(), Model: k.Model(), Faults: []string{fault}, Seed: rng.Uint64()})
		if err == nil {
			return v
		}
	}
}

// scripts are the jobs played so far: every law is held against the same ones.
var scripts []*script

// jobs plays random jobs and checks each.
func jobs(t *testing.T, k *diagnosis.Knowledge, check func(t *testing.T, rng *rand.Rand, s *script)) {
	t.Helper()
	n := uint64(5)
	if os.Getenv("COILSIDE_FULL") == "1" {
		n = 60
	}
	for seed := range n {
		if len(scripts) == int(seed) {
			scripts = append(scripts, randomJob(t, k, seed, 6))
		}
		s := scripts[seed]
		check(t, rand.New(rand.NewPCG(seed, 0xc4ec)), s)
		if t.Failed() {
			t.Fatalf("seed %d: complaint %s, hidden %v", seed, s.opening.Complaint, s.vehicle.Faults())
		}
	}
}

func shippedKnowledge(t *testing.T) *diagnosis.Knowledge {
	t.Helper()
	k, err := compiled()
	require.NoError(t, err)
	return k
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	require.NoError(t, err, "%v", v)
	return string(text)
}

// assertSameBytes compares what two cases say, and shows where it differs first.
func assertSameBytes(t *testing.T, want, got any, what string) {
	t.Helper()
	a, b := asJSON(t, want), asJSON(t, got)
	if a == b {
		return
	}
	at := 0
	for at < min(len(a), len(b)) && a[at] == b[at] {
		at++
	}
	cut := func(s string) string { return s[max(at-150, 0):min(at+60, len(s))] }
	assert.Fail(t, what+" differ", "want ...%s...\ngot  ...%s...", cut(a), cut(b))
}

func probabilities(c *diagnosis.Case) map[string]float64 {
	out := map[string]float64{}
	for _, r := range c.Ranking() {
		out[r.Suspect] = r.Probability
	}
	return out
}

func assertSame(t *testing.T, want, got map[string]float64, within float64) {
	t.Helper()
	require.Equal(t, len(want), len(got))
	for id, p := range want {
		assert.InDelta(t, p, got[id], within, id)
	}
}

func TestProbabilitiesSumToOne(t *testing.T) {
	k := shippedKnowledge(t)
	jobs(t, k, func(t *testing.T, _ *rand.Rand, s *script) {
		c := s.play(t, k, nil)
		for i := range len(s.readings) + 1 {
			sum := 0.0
			for _, r := range c.Ranking() {
				assert.True(t, r.Probability >= 0 && r.Probability <= 1, "%s %v", r.Suspect, r.Probability)
				for _, why := range r.Reasons {
					assert.False(t, math.IsNaN(why.Bits) || math.IsInf(why.Bits, 0), "%s: %v", r.Suspect, why)
				}
				sum += r.Probability
			}
			assert.InDelta(t, 1, sum, 1e-9, "after %d readings", i)
			if i < len(s.readings) {
				require.NoError(t, c.Read(s.readings[i]))
			}
		}
	})
}

// The same log gives the same ranking byte for byte, reasons, proposals and
// conclusion with it, and whatever is asked of the case in between.
func TestReplayIsExact(t *testing.T) {
	k := shippedKnowledge(t)
	jobs(t, k, func(t *testing.T, rng *rand.Rand, s *script) {
		silent := s.play(t, k, s.readings)
		asked := s.play(t, k, nil)
		for _, r := range s.readings {
			switch rng.IntN(4) {
			case 0:
				asked.Next(0)
			case 1:
				asked.Conclusion()
			case 2:
				asked.Advice()
			}
			require.NoError(t, asked.Read(r))
		}
		assertSameBytes(t, silent.Ranking(), asked.Ranking(), "rankings")
		assertSameBytes(t, gains(silent), gains(asked), "proposals")
		assertSameBytes(t, silent.Conclusion(), asked.Conclusion(), "conclusions")
	})
}

// An entry taken back is as if never given, wherever it stood.
func TestTakenBackIsNeverGiven(t *testing.T) {
	k := shippedKnowledge(t)
	jobs(t, k, func(t *testing.T, rng *rand.Rand, s *script) {
		if len(s.readings) == 0 {
			return
		}
		gone := rng.IntN(len(s.readings))
		c := s.play(t, k, s.readings)
		require.NoError(t, c.Retract(s.readings[gone].Entry))
		without := s.play(t, k, slices.Delete(slices.Clone(s.readings), gone, gone+1))
		assertSameBytes(t, without.Ranking(), c.Ranking(), "rankings")
		assertSameBytes(t, gains(without), gains(c), "proposals")
		require.Error(t, c.Retract(s.readings[gone].Entry), "it is gone already")

		// And given again at the end it counts again.
		again := s.readings[gone]
		again.Entry = 99
		require.NoError(t, c.Read(again))
		require.NoError(t, c.Retract(99))
		assertSameBytes(t, without.Ranking(), c.Ranking(), "rankings")
	})
}

// Unsure answers change nothing, then or later.
func TestUnsureChangesNothing(t *testing.T) {
	k := shippedKnowledge(t)
	jobs(t, k, func(t *testing.T, rng *rand.Rand, s *script) {
		var sure, padded []diagnosis.Reading
		for i, r := range s.readings {
			if r.Answer.Unsure {
				continue
			}
			sure = append(sure, r)
			unsure := s.readings[rng.IntN(i+1)]
			unsure.Entry, unsure.Answer = 100+r.Entry, diagnosis.Answer{Unsure: true}
			padded = append(padded, unsure, r)
		}
		assertSame(t, probabilities(s.play(t, k, sure)), probabilities(s.play(t, k, padded)), 1e-12)
		assertSame(t, probabilities(s.play(t, k, sure)), probabilities(s.play(t, k, s.readings)), 1e-12)
	})
}

// The ranking does not depend on the order in which the files name the suspects.
func TestOrderOfSuspectsDoesNotMatter(t *testing.T) {
	k := shippedKnowledge(t)
	jobs(t, k, func(t *testing.T, rng *rand.Rand, s *script) {
		other := compile(t, rules.Layer{Name: "relay", FS: shuffledSuspects(t, rng, relayFiles())})
		first := func(k *diagnosis.Knowledge) string { return k.Book().Suspects[0].ID }
		if first(other) == first(k) {
			return // one in many
		}
		for n := 0; n <= len(s.readings); n += 2 {
			assertSame(t, probabilities(s.play(t, k, s.readings[:n])), probabilities(s.play(t, other, s.readings[:n])), 1e-9)
			if t.Failed() {
				t.Fatalf("seed %d: after %d readings", s.seed, n)
			}
		}
	})
}

// shuffledSuspects copies a ruleset with the suspects of every file in another
// order.
func shuffledSuspects(t *testing.T, rng *rand.Rand, from fs.FS) fs.FS {
	t.Helper()
	out := fstest.MapFS{}
	files, err := fs.Glob(from, "*.yaml")
	require.NoError(t, err)
	for _, name := range files {
		data, err := fs.ReadFile(from, name)
		require.NoError(t, err)
		var doc yaml.Node
		require.NoError(t, yaml.Unmarshal(data, &doc))
		top := doc.Content[0]
		for i := 0; i+1 < len(top.Content); i += 2 {
			if list := top.Content[i+1]; top.Content[i].Value == "suspects" {
				rng.Shuffle(len(list.Content), func(a, b int) {
					list.Content[a], list.Content[b] = list.Content[b], list.Content[a]
				})
			}
		}
		text, err := yaml.Marshal(&doc)
		require.NoError(t, err)
		out[path.Base(name)] = &fstest.MapFile{Data: text}
	}
	return out
}

// No single reading, however absurd, rules a suspect out for good: what it says
// can be unsaid by a few good ones.
func TestNoReadingIsTheLastWord(t *testing.T) {
	const most = 1e-9 // by which one reading may multiply the odds
	k := shippedKnowledge(t)
	jobs(t, k, func(t *testing.T, rng *rand.Rand, s *script) {
		c := s.play(t, k, s.readings[:min(1, len(s.readings))])
		before := probabilities(c)
		next := c.Next(0)
		rng.Shuffle(len(next), func(a, b int) { next[a], next[b] = next[b], next[a] })
		for _, p := range next[:min(2, len(next))] {
			answers := absurd(p)
			rng.Shuffle(len(answers), func(a, b int) { answers[a], answers[b] = answers[b], answers[a] })
			for _, a := range answers[:min(3, len(answers))] {
				require.NoError(t, c.Read(diagnosis.Reading{Entry: 99, Test: p.Test.ID, Measure: p.Measure, Setup: p.Setup, Answer: a}))
				sum := 0.0
				for id, after := range probabilities(c) {
					sum += after
					assert.Greater(t, after, before[id]*most, "%s after %s %s", id, p.Test.ID, asJSON(t, a))
				}
				assert.InDelta(t, 1, sum, 1e-9)
				require.NoError(t, c.Retract(99))
			}
		}
	})
}

// absurd lists answers that a test may be given, sensible or not.
func absurd(p diagnosis.Proposal) []diagnosis.Answer {
	if of := p.Test.Answers(); of != nil {
		var out []diagnosis.Answer
		for _, word := range of {
			out = append(out, diagnosis.Answer{Choice: word})
		}
		return out
	}
	if p.Measure.Mode == rules.MinMax {
		return []diagnosis.Answer{{MinMax: &[2]float64{-40, 900}}, {MinMax: &[2]float64{0, 0}}, {MinMax: &[2]float64{12.4, 12.4}}}
	}
	var out []diagnosis.Answer
	for _, number := range []float64{0, 0.3, 12.4, 1234.5, 19e6} {
		out = append(out, diagnosis.Answer{Number: &number})
	}
	if p.Measure.Mode == rules.Ohms || p.Measure.Mode == rules.PullIn {
		return append(out, diagnosis.Answer{Over: true})
	}
	negative := -700.0
	return append(out, diagnosis.Answer{Number: &negative})
}
