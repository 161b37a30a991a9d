package vehicle

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/engine/circuit"
	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/rulesets"
)

// only plays one job and logs each turn: go test ./engine/vehicle -run SingleFaults -v -args -job 17
var only = flag.Int("job", -1, "play only this one of the single-fault jobs, and log each turn")

// How the single-fault jobs are played.
const (
	allJobs    = 500
	fewJobs    = 100  // of them, in the ordinary test run
	mostTests  = 60   // a job that takes more comes to no conclusion
	mostDraws  = 2000 // vehicles drawn until a fault causes a complaint
	rightShare = 0.95
)

var shipped = sync.OnceValues(func() (*diagnosis.Knowledge, error) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		return nil, err
	}
	return diagnosis.Compile(book)
})

func knowledge(t testing.TB) *diagnosis.Knowledge {
	t.Helper()
	k, err := shipped()
	require.NoError(t, err)
	return k
}

// full reports whether the long versions of the tests are asked for.
func full() bool { return os.Getenv("COILSIDE_FULL") == "1" }

// truths deals the suspects that are a fault out evenly: every round holds each of
// them once, in an order of its own.
func truths(book *rules.Book, jobs int) []string {
	var ids []string
	for _, s := range book.Suspects {
		if len(s.Does) > 0 {
			ids = append(ids, s.ID)
		}
	}
	var out []string
	for round := uint64(0); len(out) < jobs; round++ {
		rng := rand.New(rand.NewPCG(round, 0xdea1))
		rng.Shuffle(len(ids), func(i, k int) { ids[i], ids[k] = ids[k], ids[i] })
		out = append(out, ids...)
	}
	return out[:jobs]
}

// complaining draws vehicles with the fault in them until one has a complaint, and
// tells how many had none.
func complaining(k *diagnosis.Knowledge, faults []string, seed uint64) (v *Vehicle, complaint string, redrawn int, err error) {
	for redrawn = range mostDraws {
		v, err = New(Options{Book: k.Book(), Model: k.Model(), Faults: faults, Seed: seed*10_000 + uint64(redrawn)})
		if err != nil {
			return nil, "", redrawn, err
		}
		if complaint = v.Complaint(); complaint != "" {
			return v, complaint, redrawn, nil
		}
	}
	return nil, "", mostDraws, fmt.Errorf("%v caused no complaint in %d vehicles", faults, mostDraws)
}

// told is what the technician knows of the vehicle when the job is opened: all of
// its wiring, no danger, and a plain switch.
func told(v *Vehicle) map[string]rules.Value {
	facts := map[string]rules.Value{
		"load_hazard": {Kind: rules.Choice, Text: "none"},
		"driver":      {Kind: rules.Choice, Text: "switch"},
	}
	for _, w := range v.book.Circuits[0].Wiring {
		is, _ := v.Wiring().Choice(w.ID)
		if number, err := strconv.ParseFloat(is, 64); w.Number && err == nil {
			facts[w.ID] = rules.Value{Kind: rules.Number, Number: number}
			continue
		}
		facts[w.ID] = rules.Value{Kind: rules.Choice, Text: is}
	}
	return facts
}

// played is one job from the complaint to its end.
type played struct {
	job       int
	truth     string
	complaint string
	redrawn   int
	end       string // right, true tie, false tie, wrong, none
	named     []string
	split     string // of a false tie: what would have told it apart
	tests     int
	minutes   float64
	turn      time.Duration
	live      []string // ohms tests proposed on a live place
}

// playJob lets the diagnosis ask and the vehicle answer until there is a
// conclusion or nothing left to ask.
func playJob(k *diagnosis.Knowledge, job int, truth string, log func(string, ...any)) (*played, error) {
	v, complaint, redrawn, err := complaining(k, []string{truth}, uint64(job))
	if err != nil {
		return nil, err
	}
	p := &played{job: job, truth: truth, complaint: complaint, redrawn: redrawn}
	c, err := k.Open(diagnosis.Opening{Complaint: complaint, Facts: told(v), Seed: uint64(job)})
	if err != nil {
		return nil, err
	}
	var done []taken
	start := time.Now()
	for p.tests < mostTests && c.Conclusion() == nil {
		proposals := c.Next(0)
		if len(proposals) == 0 {
			break
		}
		p.live = append(p.live, v.liveOhms(proposals)...)
		next := proposals[0]
		answer, err := v.Answer(next.Measure, next.Setup)
		if err != nil {
			return nil, fmt.Errorf("job %d: %s: %w", job, next.Test.ID, err)
		}
		p.tests++
		p.minutes += next.Minutes
		if err := c.Read(diagnosis.Reading{Entry: p.tests, Test: next.Test.ID, Measure: next.Measure, Setup: next.Setup, Answer: answer}); err != nil {
			return nil, fmt.Errorf("job %d: %s: %w", job, next.Test.ID, err)
		}
		done = append(done, taken{next.Test, next.Measure, next.Setup, answer})
		log("%-28s gain %.2f, %4.1f min -> %-14s | %s", next.Test.ID, next.Gain, next.Minutes,
			diagnosis.AnswerWords(next.Measure.Mode, answer), leading(c, 4))
	}
	p.turn = time.Since(start) / time.Duration(max(p.tests, 1))
	return p, p.judge(k, v, c, done)
}

// leading says the first few of a ranking.
func leading(c *diagnosis.Case, n int) string {
	var out []string
	for _, h := range c.Belief().Live(0)[:n] {
		out = append(out, fmt.Sprintf("%s %.2f", h.ID(), h.Probability()))
	}
	return strings.Join(out, ", ")
}

// judge says how the job ended. A tie counts only where it is true: the fault is
// among those named, and each of the others could be it as far as any test tells.
func (p *played) judge(k *diagnosis.Knowledge, v *Vehicle, c *diagnosis.Case, done []taken) error {
	con := c.Conclusion()
	if con == nil {
		p.end = "none"
		return nil
	}
	p.named = con.Suspects
	switch {
	case !slices.Contains(con.Suspects, p.truth):
		p.end = "wrong"
		return nil
	case len(con.Suspects) == 1:
		p.end = "right"
		return nil
	}
	p.end = "true tie"
	for _, other := range con.Suspects {
		if other == p.truth {
			continue
		}
		split, err := toldApart(v, c, done, other)
		if err != nil {
			return err
		}
		if split != "" {
			p.end, p.split = "false tie", other+" by "+split
			return nil
		}
	}
	return nil
}

// liveOhms lists the resistance tests among the proposals that would be taken on
// a live place: more than 0.1 V to the battery's negative post on either lead, in
// the true circuit, with the fault there or away.
func (v *Vehicle) liveOhms(proposals []diagnosis.Proposal) []string {
	var out []string
	for _, p := range proposals {
		if p.Measure.Mode != rules.Ohms {
			continue
		}
		for _, place := range []string{p.Measure.Red, p.Measure.Black} {
			for _, in := range []*circuit.Instance{v.there, v.away} {
				volts := v.voltsAt(in, place, circuit.SetupFor(p.Measure, p.Setup))
				if volts > 0.1 || volts < -0.1 {
					out = append(out, fmt.Sprintf("%s: %.2f V at %s", p.Test.ID, volts, place))
				}
			}
		}
	}
	return out
}

func (v *Vehicle) voltsAt(in *circuit.Instance, place string, s rules.Setup) float64 {
	m := rules.Measure{Mode: rules.VoltsDC, Red: place, Black: circuit.Reference}
	return v.solver.Read(in, m, s).A
}

// playAll plays jobs on all processors, in order of their numbers.
func playAll(t *testing.T, k *diagnosis.Knowledge, jobs []string) []*played {
	t.Helper()
	out := make([]*played, len(jobs))
	errs := make([]error, len(jobs))
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				out[i], errs[i] = playJob(k, i, jobs[i], func(string, ...any) {})
			}
		})
	}
	for i := range jobs {
		next <- i
	}
	close(next)
	wg.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	return out
}

// Hidden single faults in random circuits, with tolerances and a meter that errs:
// the right one is found, and no ohms are ever asked for on a live place.
func TestSingleFaults(t *testing.T) {
	k := knowledge(t)
	jobs := truths(k.Book(), allJobs)
	if *only >= 0 {
		p, err := playJob(k, *only, jobs[*only], t.Logf)
		require.NoError(t, err)
		t.Logf("%+v", *p)
		return
	}
	if !full() {
		jobs = jobs[:fewJobs]
	}
	all := playAll(t, k, jobs)
	t.Log(tableOf(all))
	good := 0
	for _, p := range all {
		if p.end == "right" || p.end == "true tie" {
			good++
		} else {
			t.Logf("job %d: %s, complaint %s: %s after %d tests, named %v %s", p.job, p.truth, p.complaint, p.end, p.tests, p.named, p.split)
		}
		require.Empty(t, p.live, "job %d: ohms proposed on a live place", p.job)
	}
	require.GreaterOrEqual(t, float64(good)/float64(len(all)), rightShare, "the right suspect, or a tie that nothing can break")
}

// line is one line of the table.
type line struct {
	n, redrawn, tests int
	ends              map[string]int
	minutes, ms       float64
}

func (l *line) add(p *played) {
	if l.ends == nil {
		l.ends = map[string]int{}
	}
	l.n++
	l.redrawn += p.redrawn
	l.tests += p.tests
	l.ends[p.end]++
	l.minutes += p.minutes
	l.ms += p.turn.Seconds() * 1000
}

func (l *line) String() string {
	n := float64(l.n)
	return fmt.Sprintf("%4d %6d %6d %6d %6d %6d %8d %6.1f %6.0f %6.1f", l.n, l.ends["right"], l.ends["true tie"],
		l.ends["false tie"], l.ends["wrong"], l.ends["none"], l.redrawn, float64(l.tests)/n, l.minutes/n, l.ms/n)
}

func tableOf(all []*played) string {
	by := map[string]*line{}
	var total line
	for _, p := range all {
		if by[p.truth] == nil {
			by[p.truth] = &line{}
		}
		by[p.truth].add(p)
		total.add(p)
	}
	var ids []string
	for id := range by {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-30s %4s %6s %6s %6s %6s %6s %8s %6s %6s %6s\n", "suspect", "n", "right", "tied,", "tied,", "wrong", "none", "redrawn", "tests", "min", "ms a")
	fmt.Fprintf(&b, "%-30s %4s %6s %6s %6s %6s %6s %8s %6s %6s %6s\n", "", "", "", "true", "false", "", "", "", "", "", "turn")
	for _, id := range ids {
		fmt.Fprintf(&b, "%-30s %s\n", id, by[id])
	}
	fmt.Fprintf(&b, "%-30s %s\n", "all", &total)
	return b.String()
}
