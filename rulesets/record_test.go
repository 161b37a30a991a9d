package rulesets_test

import (
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/circuit"
	"coilside/engine/diagnosis"
	"coilside/engine/rank"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/session/rulecase"
)

// record writes cases/jobs.yaml and cases/readings.yaml anew; with -readings only the second:
// go test ./rulesets -run RecordJobs -args -record
var record = flag.Bool("record", false, "write the cases of whole jobs anew, from simulated vehicles")

var onlyReadings = flag.Bool("readings", false, "leave the whole jobs as they are")

const (
	jobsFile     = "relay/cases/jobs.yaml"
	readingsFile = "relay/cases/readings.yaml"
	mostReadings = 30
)

const jobsHead = `# Whole jobs, one for each suspect: what was read on a simulated vehicle with that fault and
# tolerances of its own, up to a conclusion that names it. No real vehicle.
# Written by  go test ./rulesets -run RecordJobs -args -record

cases:
`

const readingsHead = `# One reading each, for tests that the jobs do not use: on a simulated vehicle with the fault
# named, the reading makes that fault at least twice as likely. No real vehicle.
# Written by  go test ./rulesets -run RecordJobs -args -record

cases:
`

// TestRecordJobs records cases for whatever the other cases do not cover yet.
func TestRecordJobs(t *testing.T) {
	if !*record {
		return // it writes files, which is no test
	}
	book := relayBook(t)
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	if !*onlyReadings {
		recordJobs(t, k)
	}
	recordReadings(t, k)
}

func recordJobs(t *testing.T, k *diagnosis.Knowledge) {
	t.Helper()
	var jobs strings.Builder
	jobs.WriteString(jobsHead)
	for _, s := range k.Book().Suspects {
		if text := recordJob(t, k, s); text != "" {
			jobs.WriteString(text)
		} else {
			t.Logf("no job ended in %s", s.ID)
		}
	}
	require.NoError(t, os.WriteFile(jobsFile, []byte(jobs.String()), 0o644))
}

func recordReadings(t *testing.T, k *diagnosis.Knowledge) {
	t.Helper()
	if err := os.Remove(readingsFile); !errors.Is(err, fs.ErrNotExist) {
		require.NoError(t, err)
	}
	var readings strings.Builder
	readings.WriteString(readingsHead)
	for _, id := range uncovered(t, k.Book()).Tests.Missing {
		if text := recordReading(t, k, id); text != "" {
			readings.WriteString(text)
		} else {
			t.Logf("no reading of %s tells anything", id)
		}
	}
	require.NoError(t, os.WriteFile(readingsFile, []byte(readings.String()), 0o644))
}

// uncovered plays the cases as they are on disk now.
func uncovered(t *testing.T, book *rules.Book) rulecase.Coverage {
	t.Helper()
	cases, err := rulecase.Read(os.DirFS("relay"))
	require.NoError(t, err)
	p := rulecase.NewPlayer(book)
	var all []rulecase.Outcome
	for _, c := range cases {
		all = append(all, p.Play(c))
	}
	return rulecase.Cover(book, all, func(string) bool { return true })
}

// faulty draws vehicles with one fault until it causes a complaint.
func faulty(k *diagnosis.Knowledge, s *rules.Suspect, seed uint64) (*vehicle.Vehicle, string) {
	faults := []string{s.ID}
	if len(s.Does) == 0 {
		faults = nil
	}
	for redrawn := range uint64(400) {
		v, err := vehicle.New(vehicle.Options{Book: k.Book(), Model: k.Model(), Faults: faults, Seed: seed*10_000 + redrawn})
		if err != nil {
			continue // this circuit cannot have the fault
		}
		if complaint := v.Complaint(); complaint != "" {
			return v, complaint
		}
		if faults == nil {
			return v, "intermittent" // the customer complains, and nothing is wrong
		}
	}
	return nil, ""
}

// told is what is known when the job is opened: all of the wiring, no danger.
func told(book *rules.Book, v *vehicle.Vehicle, complaint string) map[string]string {
	facts := map[string]string{"complaint": complaint, "load_hazard": "none"}
	for _, w := range book.Circuits[0].Wiring {
		facts[w.ID], _ = v.Wiring().Choice(w.ID)
	}
	return facts
}

// recordJob plays a job to a conclusion that names the suspect; "" if none of a few does.
func recordJob(t *testing.T, k *diagnosis.Knowledge, s *rules.Suspect) string {
	t.Helper()
	for seed := range uint64(8) {
		v, complaint := faulty(k, s, seed+1)
		if v == nil {
			continue
		}
		id := strings.ReplaceAll(s.ID, ".", "_")
		facts := told(k.Book(), v, complaint)
		d := opened(t, k, id, facts)
		var lines []string
		for n := 1; n <= mostReadings; n++ {
			if c := d.Conclusion(); c != nil && n > 1 {
				if slices.Contains(c.Suspects, s.ID) {
					return caseText(id, facts, lines, "among: ["+s.ID+"]")
				}
				break
			}
			next := d.Next(1)
			if len(next) == 0 {
				break
			}
			a, err := v.Answer(next[0].Measure, next[0].Setup)
			require.NoError(t, err)
			require.NoError(t, d.Read(diagnosis.Reading{Entry: n, Test: next[0].Test.ID, Measure: next[0].Measure, Setup: next[0].Setup, Answer: a}))
			lines = append(lines, next[0].Test.ID+": "+answerText(a))
		}
	}
	return ""
}

// opened opens the case as whoever runs it later will.
func opened(t *testing.T, k *diagnosis.Knowledge, id string, facts map[string]string) *diagnosis.Case {
	t.Helper()
	c := rulecase.Case{ID: id, Facts: map[string]*string{}}
	for fact, value := range facts {
		c.Facts[fact] = &value
	}
	d, err := rulecase.NewPlayer(k.Book()).Open(c)
	require.NoError(t, err)
	return d
}

// recordReading finds a fault that one reading of a test makes twice as likely; failing
// that, a fifth likelier.
func recordReading(t *testing.T, k *diagnosis.Knowledge, test string) string {
	t.Helper()
	for seed, least := range []float64{2, 2, 1.2, 1.2} {
		if text := recordReadingOf(t, k, test, uint64(seed), least); text != "" {
			return text
		}
	}
	return ""
}

func recordReadingOf(t *testing.T, k *diagnosis.Knowledge, test string, seed uint64, least float64) string {
	t.Helper()
	book := k.Book()
	rng := rand.New(rand.NewPCG(7, seed))
	for _, i := range rng.Perm(len(book.Suspects)) {
		s := book.Suspects[i]
		v, complaint := faulty(k, s, 77+seed)
		if v == nil || len(s.Does) == 0 {
			continue
		}
		id := test + "_tells_" + strings.ReplaceAll(s.ID, ".", "_")
		facts := told(book, v, complaint)
		d := opened(t, k, id, facts)
		m, setup, ok := placed(book, d, test)
		if !ok {
			continue
		}
		before := d.Probability(s.ID)
		a, err := v.Answer(m, setup)
		if err != nil || d.Read(diagnosis.Reading{Entry: 1, Test: test, Measure: m, Setup: setup, Answer: a}) != nil {
			continue
		}
		if d.Probability(s.ID) >= least*before {
			return caseText(id, facts, []string{test + ": " + answerText(a)}, "rises: ["+s.ID+"]")
		}
	}
	return ""
}

// placed gives where the leads go for a test: as proposed, or as written where it
// needs no proposal.
func placed(book *rules.Book, d *diagnosis.Case, test string) (rules.Measure, rules.Setup, bool) {
	for _, p := range d.Next(0) {
		if p.Test.ID == test {
			return p.Measure, p.Setup, true
		}
	}
	t, _ := book.Test(test)
	m := t.Measure
	return m, circuit.SetupFor(m, t.Setup), !strings.Contains(m.Red+m.Black+m.From+m.To+m.At, "{")
}

func caseText(id string, facts map[string]string, readings []string, expect string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "  - id: %s\n    facts: {", id)
	for i, fact := range slices.Sorted(maps.Keys(facts)) {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%s: %s", fact, facts[fact])
	}
	b.WriteString("}\n    readings:\n")
	for _, line := range readings {
		fmt.Fprintf(&b, "      - %s\n", line)
	}
	fmt.Fprintf(&b, "    expect: {%s}\n\n", expect)
	return b.String()
}

func answerText(a rank.Answer) string {
	number := func(v float64) string {
		if v == 0 {
			return "0" // a meter may show minus zero
		}
		return strconv.FormatFloat(v, 'g', 6, 64)
	}
	switch {
	case a.Unsure:
		return "unsure"
	case a.Over:
		return "OL"
	case a.Number != nil:
		return number(*a.Number)
	case a.MinMax != nil:
		return "[" + number(a.MinMax[0]) + ", " + number(a.MinMax[1]) + "]"
	case a.Choice == "yes" || a.Choice == "no" || a.Choice == "on" || a.Choice == "off":
		return strconv.Quote(a.Choice)
	}
	return a.Choice
}
