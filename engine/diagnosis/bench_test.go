package diagnosis_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/rulesets"
)

// Bars of the benchmarks, on an otherwise idle machine. They are held to when
// COILSIDE_FULL=1.
const (
	turnMedianBar  = 20 * time.Millisecond
	commonOpenBar  = 200 * time.Millisecond
	unknownOpenBar = time.Second
	openAgainBar   = 20 * time.Millisecond
	manyBar        = 100 * time.Millisecond
)

var compiled = sync.OnceValues(func() (*diagnosis.Knowledge, error) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		return nil, err
	}
	return diagnosis.Compile(book)
})

func shipped(b testing.TB) *diagnosis.Knowledge {
	b.Helper()
	k, err := compiled()
	if err != nil {
		b.Fatal(err)
	}
	return k
}

// faulty is a vehicle with a fault of every kind in turn, and its complaint.
func faulty(b testing.TB, k *diagnosis.Knowledge, job int) (*vehicle.Vehicle, string) {
	b.Helper()
	suspects := k.Book().Suspects
	for try := range 2000 {
		s := suspects[(job*7+try/100)%len(suspects)]
		v, err := vehicle.New(vehicle.Options{Book: k.Book(), Model: k.Model(), Faults: []string{s.ID}, Seed: uint64(job*10_000 + try)})
		if err != nil {
			b.Fatal(err)
		}
		if complaint := v.Complaint(); complaint != "" {
			return v, complaint
		}
	}
	b.Fatal("no vehicle complains")
	return nil, ""
}

// knownWiring is everything that can be said of how a vehicle is wired.
func knownWiring(k *diagnosis.Knowledge, v *vehicle.Vehicle) map[string]rules.Value {
	facts := map[string]rules.Value{"load_hazard": {Kind: rules.Choice, Text: "none"}}
	for _, w := range k.Book().Circuits[0].Wiring {
		is, _ := v.Wiring().Choice(w.ID)
		facts[w.ID] = rules.Value{Kind: rules.Choice, Text: is}
		if number, err := strconv.ParseFloat(is, 64); w.Number && err == nil {
			facts[w.ID] = rules.Value{Kind: rules.Number, Number: number}
		}
	}
	return facts
}

// nothingKnown is a job of which only the system's volts are known.
func nothingKnown() map[string]rules.Value {
	return map[string]rules.Value{"system_volts": {Kind: rules.Number, Number: 12}}
}

// open opens a job and has it say all that a reply holds.
func open(b testing.TB, k *diagnosis.Knowledge, o diagnosis.Opening) *diagnosis.Case {
	b.Helper()
	c, err := k.Open(o)
	if err != nil {
		b.Fatal(err)
	}
	say(c)
	return c
}

func say(c *diagnosis.Case) []diagnosis.Proposal {
	c.Ranking()
	c.Conclusion()
	return c.Next(1)
}

func holdTo(b *testing.B, bar, took time.Duration) {
	b.Helper()
	if os.Getenv("COILSIDE_FULL") == "1" && took > bar {
		b.Errorf("took %v; the bar is %v", took, bar)
	}
}

// BenchmarkOpenCommon opens jobs whose wiring is known, first ranking and first
// test included.
func BenchmarkOpenCommon(b *testing.B) {
	k := shipped(b)
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		b.StopTimer()
		v, complaint := faulty(b, k, n%40)
		o := diagnosis.Opening{Complaint: complaint, Facts: knownWiring(k, v), Seed: uint64(n)}
		n++
		b.StartTimer()
		open(b, k, o)
	}
	holdTo(b, commonOpenBar, b.Elapsed()/time.Duration(n))
}

// BenchmarkOpenAgain opens jobs that start like one opened before.
func BenchmarkOpenAgain(b *testing.B) {
	k := shipped(b)
	v, complaint := faulty(b, k, 0)
	for _, o := range []struct {
		name string
		diagnosis.Opening
	}{
		{"common", diagnosis.Opening{Complaint: complaint, Facts: knownWiring(k, v), Seed: 1}},
		{"unknown", diagnosis.Opening{Complaint: complaint, Facts: nothingKnown(), Seed: 1}},
	} {
		b.Run(o.name, func(b *testing.B) {
			open(b, k, o.Opening)
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				open(b, k, o.Opening)
				n++
			}
			holdTo(b, openAgainBar, b.Elapsed()/time.Duration(n))
		})
	}
}

// BenchmarkOpenUnknown opens jobs of which only the complaint and 12 V are known.
func BenchmarkOpenUnknown(b *testing.B) {
	k := shipped(b)
	complaints := k.Book().Complaints
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		open(b, k, diagnosis.Opening{Complaint: complaints[n%len(complaints)].ID, Facts: nothingKnown(), Seed: uint64(n)})
		n++
	}
	holdTo(b, unknownOpenBar, b.Elapsed()/time.Duration(n))
}

// BenchmarkTurn plays whole jobs. A turn is what a technician waits for: from a
// reading to the new ranking, with its reasons, and the next test. Allocations are told
// of a turn, those of the vehicle that answers included, and by the flag of a whole job.
func BenchmarkTurn(b *testing.B) {
	for _, known := range []bool{true, false} {
		name := "known"
		if !known {
			name = "unknown"
		}
		b.Run(name, func(b *testing.B) {
			k := shipped(b)
			b.ReportAllocs()
			var turns []time.Duration
			var before, after runtime.MemStats
			allocs, bytes := 0.0, 0.0
			for job := 0; b.Loop(); job++ {
				b.StopTimer()
				v, complaint := faulty(b, k, job%40)
				o := diagnosis.Opening{Complaint: complaint, Facts: nothingKnown(), Seed: uint64(job)}
				if known {
					o.Facts = knownWiring(k, v)
				} else if is, _ := v.Wiring().Choice("system_volts"); is == "24" {
					o.Facts = map[string]rules.Value{"system_volts": {Kind: rules.Number, Number: 24}}
				}
				c := open(b, k, o)
				runtime.ReadMemStats(&before)
				b.StartTimer()
				turns = append(turns, playTurns(b, c, v)...)
				b.StopTimer()
				runtime.ReadMemStats(&after)
				allocs += float64(after.Mallocs - before.Mallocs)
				bytes += float64(after.TotalAlloc - before.TotalAlloc)
				b.StartTimer()
			}
			slices.Sort(turns)
			report := func(part float64, unit string) {
				b.ReportMetric(turns[min(int(part*float64(len(turns))), len(turns)-1)].Seconds()*1000, unit)
			}
			report(0.5, "ms/turn-p50")
			report(0.9, "ms/turn-p90")
			report(0.99, "ms/turn-p99")
			b.ReportMetric(float64(len(turns))/float64(b.N), "turns/op")
			b.ReportMetric(allocs/float64(len(turns)), "allocs/turn")
			b.ReportMetric(bytes/1e6/float64(len(turns)), "MB/turn")
			if known {
				holdTo(b, turnMedianBar, turns[len(turns)/2])
			}
		})
	}
}

// playTurns plays a job to its end and tells what each turn took.
func playTurns(b testing.TB, c *diagnosis.Case, v *vehicle.Vehicle) []time.Duration {
	b.Helper()
	var turns []time.Duration
	ps := say(c)
	for entry := 1; entry <= 40 && c.Conclusion() == nil && len(ps) > 0; entry++ {
		p := ps[0]
		a, err := v.Answer(p.Measure, p.Setup)
		if err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		if err := c.Read(diagnosis.Reading{Entry: entry, Test: p.Test.ID, Measure: p.Measure, Setup: p.Setup, Answer: a}); err != nil {
			b.Fatal(err)
		}
		ps = say(c)
		turns = append(turns, time.Since(start))
	}
	return turns
}

// BenchmarkRanking is the ranking with its reasons alone, after some readings.
func BenchmarkRanking(b *testing.B) {
	k := shipped(b)
	var c *diagnosis.Case
	readings := 0
	for job := 0; readings < 5; job++ {
		v, complaint := faulty(b, k, job)
		c = open(b, k, diagnosis.Opening{Complaint: complaint, Facts: knownWiring(k, v), Seed: 1})
		readings = len(playTurns(b, c, v))
	}
	b.ReportAllocs()
	for b.Loop() {
		c.Ranking()
	}
}

// manyBook is a rulebook without a circuit of so many suspects and tests; every test
// tells a random third of the suspects from the others.
func manyBook(b *testing.B, suspects, tests int) *rules.Book {
	b.Helper()
	rng := rand.New(rand.NewPCG(1, 500))
	var text strings.Builder
	text.WriteString("suspects:\n")
	for i := range suspects {
		fmt.Fprintf(&text, "  - {id: part%d.bad, words: part %d is bad, prior: 1, repair: {do: Replace part %d.}}\n", i, i, i)
	}
	text.WriteString("tests:\n")
	for i := range tests {
		var third []string
		for s := range suspects {
			if rng.IntN(3) == 0 {
				third = append(third, fmt.Sprintf("part%d.bad", s))
			}
		}
		fmt.Fprintf(&text, "  - id: test%d\n    measure: {mode: ask, question: \"Does sign %d show?\"}\n    of: [shown, absent]\n    say: Look for sign %d.\n    minutes: %d\n"+
			"    expect:\n      - {suspects: [%s], answers: {shown: 0.9}}\n      - {answers: {shown: 0.1}}\n", i, i, i, 1+rng.IntN(9), strings.Join(third, ", "))
	}
	book, err := rules.Load(rules.Layer{Name: "many", FS: fstest.MapFS{"many.yaml": {Data: []byte(text.String())}}})
	if err != nil {
		b.Fatal(err)
	}
	return book
}

// BenchmarkManySuspects is a turn with 500 suspects and 500 tests, all of them alive.
func BenchmarkManySuspects(b *testing.B) {
	k, err := diagnosis.Compile(manyBook(b, 500, 500))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		b.StopTimer()
		c := open(b, k, diagnosis.Opening{Seed: 1})
		test := c.Offers()[0].Test
		b.StartTimer()
		if err := c.Read(diagnosis.Reading{Entry: 1, Test: test.ID, Answer: diagnosis.Answer{Choice: "absent"}}); err != nil {
			b.Fatal(err)
		}
		say(c)
		n++
	}
	holdTo(b, manyBar, b.Elapsed()/time.Duration(n))
}
