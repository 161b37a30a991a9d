package session

import (
	"fmt"
	"os"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/session/journal"
)

// Jobs that take turns, most of them out of memory at any time, answer word for word as
// jobs that never leave it.
func TestIdleJobsGoOutOfMemoryAndComeBackWithoutLoss(t *testing.T) {
	const jobs, rounds = 4, 3
	var said [2][]string
	for i, most := range []int{jobs, 1} {
		s := serviceIn(t, t.TempDir())
		s.residents.most = most
		var ids []string
		var last []Reply
		for n := range jobs {
			o := van()
			o.Label, o.Key = fmt.Sprintf("van %d", n), fmt.Sprintf("open-%d", n)
			opened := opened(t, s, o)
			ids, last = append(ids, opened.Job), append(last, opened.Reply)
			said[i] = append(said[i], asJSON(t, opened.Reply))
		}
		for range rounds {
			for n, id := range ids {
				var err error
				if last[n].Next != nil {
					last[n] = answered(t, s, last[n], id)
				}
				said[i] = append(said[i], asJSON(t, last[n]))
				told, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: id, Key: fmt.Sprint(last[n].Seq)}, Text: "why"})
				require.NoError(t, err)
				said[i] = append(said[i], asJSON(t, told))
				require.LessOrEqual(t, s.residents.order.Len(), most)
			}
		}
		resident := 0
		for _, j := range s.jobs {
			if j.read || j.c != nil {
				resident++
			}
		}
		require.Equal(t, most, resident)
	}
	require.Equal(t, said[0], said[1])
}

// A watcher hears of a job that went out of memory and came back.
func TestAWatchedJobMayLeaveMemory(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	s.residents.most = 1
	o := opened(t, s, van())
	_, changes, stop, err := s.Subscribe(t.Context(), o.Job, nil)
	require.NoError(t, err)
	defer stop()
	opened(t, s, van())
	require.False(t, s.jobs[o.Job].read)
	answered(t, s, o.Reply, o.Job)
	require.Equal(t, 2, (<-changes).Seq)
}

// manyJobs fills a folder with copies of one job, as many calls at once would.
func manyJobs(t testing.TB, folder string, most int) {
	t.Helper()
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	_, records, err := s.o.Journal.Open(o.Job)
	require.NoError(t, err)
	h := *s.jobs[o.Job].head.Load()
	d := jobsIn(t, folder)
	var all sync.WaitGroup
	for worker := range 128 {
		all.Go(func() {
			for n := worker; n < most; n += 128 {
				mine := h
				mine.Job = fmt.Sprintf("job-%d", n+1)
				if _, err := d.Create(mine.Job, records[0], marshalled(&mine)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
}

// A start on many jobs, and a list of them, read no log; and each of them is worked on and
// comes back into memory without loss, within 1 GiB. COILSIDE_FULL=1 works on all of them.
func TestTenThousandOpenJobs(t *testing.T) {
	const jobs = 10_000
	folder := t.TempDir()
	manyJobs(t, folder, jobs)
	d := jobsIn(t, folder)
	b := book(t)
	_, err := New(Options{Book: b}) // compiles the rules, which is not what is timed
	require.NoError(t, err)
	start := time.Now()
	s, err := New(Options{Book: b, Journal: d, MostOpen: 2 * jobs})
	require.NoError(t, err)
	started := time.Since(start)
	list, err := s.List(t.Context(), JobsRequest{Limit: 100, State: "open"})
	require.NoError(t, err)
	t.Logf("start %v, with a list %v", started, time.Since(start))
	require.Len(t, list.Jobs, 100)
	require.Len(t, s.jobs, jobs)
	require.Zero(t, s.residents.order.Len(), "no log was read")
	require.Less(t, time.Since(start), 5*time.Second)
	work := 40
	s.residents.most = 16
	if os.Getenv("COILSIDE_FULL") != "" {
		work, s.residents.most = jobs, defaultResident
	}
	said := make([]Reply, work)
	most := uint64(0)
	for n := range work {
		id := fmt.Sprintf("job-%d", (n*7919)%jobs+1)
		v, err := s.Show(t.Context(), JobRequest{id})
		require.NoError(t, err)
		require.Equal(t, id, v.Job)
		said[n] = answered(t, s, v.Reply, id)
		require.LessOrEqual(t, s.residents.order.Len(), s.residents.most)
		var now runtime.MemStats
		runtime.ReadMemStats(&now)
		most = max(most, now.HeapInuse+now.StackInuse)
	}
	for n, was := range said {
		v, err := s.Show(t.Context(), JobRequest{fmt.Sprintf("job-%d", (n*7919)%jobs+1)})
		require.NoError(t, err)
		require.Len(t, v.Log, 2)
		require.Equal(t, asJSON(t, was.Suspects), asJSON(t, v.Reply.Suspects))
	}
	t.Logf("%d of %d open jobs worked on: at most %d MB in use", work, jobs, most>>20)
	require.Less(t, most, uint64(1<<30))
}

// Jobs taken over without a head are listed from their logs once, and have a head
// then.
func TestAJobWithoutAHeadIsListed(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	want, err := s.List(t.Context(), JobsRequest{})
	require.NoError(t, err)
	_, records, err := s.o.Journal.Open(o.Job)
	require.NoError(t, err)
	folder := t.TempDir()
	_, err = jobsIn(t, folder).Create(o.Job, records[0], nil)
	require.NoError(t, err)
	for range 2 {
		s = serviceIn(t, folder)
		got, err := s.List(t.Context(), JobsRequest{})
		require.NoError(t, err)
		require.Equal(t, asJSON(t, want), asJSON(t, got))
	}
}

// A disk that takes nothing more is said by the name of the file and without its
// folder; the job goes on where it stood.
func TestAFailedStoreIsSaid(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	o := opened(t, s, van())
	before, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.NoError(t, s.o.Journal.Close())
	record := RecordRequest{Write: Write{Job: o.Job, Key: "k"}, Test: o.Reply.Next.ID, Answer: Answer{Unsure: true}}
	_, err = s.Record(t.Context(), record)
	require.Equal(t, Storage, kindOf(t, err))
	require.NotContains(t, err.Error(), string(os.PathSeparator))
	_, err = s.Open(t.Context(), van())
	require.Equal(t, Storage, kindOf(t, err))
	list, err := s.List(t.Context(), JobsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Jobs, 1, "the job that was not opened is not there")

	s.o.Journal, err = journal.OpenFolder(folder) // the disk is well again
	require.NoError(t, err)
	running.Store(folder, s.o.Journal)
	s.jobs[o.Job].rest(true)
	after, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Equal(t, asJSON(t, before), asJSON(t, after))
	r, err := s.Record(t.Context(), record)
	require.NoError(t, err)
	require.Equal(t, 2, r.Seq)
}
