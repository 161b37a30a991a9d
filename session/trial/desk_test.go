package trial

import (
	"encoding/json"
	"flag"
	"os"
	"runtime"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/engine/study"
	"coilside/rules"
	"coilside/rulesets"
	"coilside/session"
	"coilside/session/journal"
)

// onlyBlind plays one job and logs what happens: go test ./session/trial -run BlindPlayer -v -args -blind 17
var onlyBlind = flag.Int("blind", -1, "play only this one of the blind player's jobs, and log each step")

const (
	blindJobs   = 100
	blindFew    = 8 // of them, in the ordinary test run
	blindSeed   = 31
	replayEvery = 5 // every so many jobs are replayed from disk at their end
)

// kinds of jobs, in turn: a third hide two faults, and of the others a third tell
// little of their wiring.
var kinds = []string{"double", "single", "single", "double", "unknown", "single"}

// shop is a service on a folder of jobs.
type shop struct {
	service *session.Service
	folder  *journal.Store
	book    *rules.Book
}

func openShop(t *testing.T, folder string, book *rules.Book) *shop {
	t.Helper()
	d, err := journal.OpenFolder(folder)
	require.NoError(t, err)
	ids := 0
	var lock sync.Mutex
	s, err := session.New(session.Options{Book: book, Journal: d, IDs: func() string {
		lock.Lock()
		defer lock.Unlock()
		ids++
		return "blind-" + strconv.Itoa(ids)
	}})
	require.NoError(t, err)
	return &shop{s, d, book}
}

// played is one job, the desk it was played at, and how it went.
type played struct {
	number  int
	desk    *Desk
	result  *study.Result
	outcome string
}

// play plays a job to its end: what is concluded is mended until the complaint is
// gone, the repair is proved, and the job is closed.
func (s *shop) play(k *diagnosis.Knowledge, number int, log func(string, ...any)) (*played, error) {
	stratum, _ := study.FindStratum(kinds[number%len(kinds)])
	j, err := (&study.Dealer{Knowledge: k}).Deal(stratum, blindSeed, number)
	if err != nil {
		return nil, err
	}
	minutes, err := study.ReadMinutes()
	if err != nil {
		return nil, err
	}
	b := &played{number: number, outcome: "unproven"}
	p := study.Player{Knowledge: k, Minutes: minutes, Policy: study.Policies[0], Mend: true, Log: log, Clock: func() float64 { return 0 },
		Seat: func(j *study.Job) (study.Desk, error) {
			b.desk, err = Open(s.service, s.book, j)
			return b.desk, err
		}}
	if b.result, err = p.Play(j); err != nil {
		return nil, err
	}
	if len(j.Vehicle.Faults()) == 0 {
		proven, err := b.desk.Prove(j.Vehicle)
		if err != nil {
			return nil, err
		}
		if proven {
			b.outcome = "fixed"
		}
	}
	return b, b.desk.Close(b.outcome)
}

// The blind player finishes all its jobs, repairs, finds second faults; and a job
// replayed from disk shows the same ranking byte for byte.
func TestBlindPlayer(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	folder := t.TempDir()
	s := openShop(t, folder, book)
	if *onlyBlind >= 0 {
		b, err := s.play(k, *onlyBlind, t.Logf)
		require.NoError(t, err)
		t.Logf("hidden %v, %s, left %v", b.result.Job.Faults, b.outcome, b.result.Job.Vehicle.Faults())
		require.NoError(t, s.folder.Close())
		return
	}
	number := blindFew
	if os.Getenv("COILSIDE_FULL") == "1" {
		number = blindJobs
	}
	jobs := s.playAll(t, k, number)
	report(t, jobs)
	before := map[int]string{}
	for _, b := range jobs {
		if b.number%replayEvery == 0 {
			before[b.number] = b.state(t, s.service)
		}
	}
	require.NoError(t, s.folder.Close())
	s = openShop(t, folder, book)
	defer func() { require.NoError(t, s.folder.Close()) }()
	for _, b := range jobs {
		if b.number%replayEvery == 0 {
			require.Equal(t, before[b.number], b.state(t, s.service), "job %d", b.number)
		}
	}
}

// playAll plays the jobs on all processors, against one service.
func (s *shop) playAll(t *testing.T, k *diagnosis.Knowledge, number int) []*played {
	t.Helper()
	jobs := make([]*played, number)
	errs := make([]error, number)
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				jobs[i], errs[i] = s.play(k, i, nil)
			}
		})
	}
	start := time.Now()
	for i := range jobs {
		next <- i
	}
	close(next)
	wg.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	t.Logf("%d jobs in %v", number, time.Since(start).Round(time.Second))
	return jobs
}

// report prints how the jobs went and holds them to the floors.
func report(t *testing.T, jobs []*played) {
	t.Helper()
	var singles, fixed, exact, doubles, both, proven, tests int
	for _, b := range jobs {
		tests += b.result.Tests
		is := len(b.result.Job.Vehicle.Faults()) == 0
		proven += count(b.outcome == "fixed")
		if b.outcome != "fixed" || !b.result.Exact {
			t.Logf("job %d, %s: hidden %v, %s, %d tests: %+v", b.number, b.result.Job.Stratum.ID, b.result.Job.Faults, b.outcome, b.result.Tests, b.result.Ends)
		}
		if b.result.Job.Stratum.Faults == 2 {
			doubles++
			both += count(is)
			continue
		}
		singles++
		fixed += count(is)
		exact += count(b.result.Exact)
	}
	t.Logf("one fault: %d of %d fixed, %d exactly; two faults: both fixed in %d of %d; %d repairs proven; %.1f tests a job",
		fixed, singles, exact, both, doubles, proven, float64(tests)/float64(len(jobs)))
	singlesAtLeast, doublesAtLeast := 0.95, 0.75
	if len(jobs) < blindJobs {
		singlesAtLeast, doublesAtLeast = 0.85, 0.60 // of few jobs one weighs more
	}
	require.GreaterOrEqual(t, float64(fixed)/float64(singles), singlesAtLeast, "single faults fixed")
	require.GreaterOrEqual(t, float64(both)/float64(doubles), doublesAtLeast, "second faults found")
}

func count(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// state is everything a service says of the job, as JSON.
func (b *played) state(t *testing.T, s *session.Service) string {
	t.Helper()
	var show, suspects json.RawMessage
	require.NoError(t, Through(s.Show, map[string]any{"job": b.desk.Job}, &show))
	require.NoError(t, Through(s.Suspects, map[string]any{"job": b.desk.Job, "limit": 100}, &suspects))
	return string(show) + "\n" + string(suspects)
}
