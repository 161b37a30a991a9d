package transport

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"coilside/session"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// load is how much a run of the load test asks for.
type load struct {
	jobs, watchers int
	every, during  time.Duration // between two readings, and of the whole
	p99            time.Duration // 99 of 100 readings are answered within; 0 = not looked at
}

// shop is a service with jobs, and screens that watch them.
type shop struct {
	r     *running
	jobs  []string
	tests []string
	seen  []atomic.Int64 // newest seq that each screen was told
	ends  []*websocket.Conn
	left  sync.WaitGroup

	refused int // readings
}

func openShop(t *testing.T, l load) *shop {
	t.Helper()
	s := &shop{seen: make([]atomic.Int64, l.watchers)}
	s.r = startServer(t, func(o *Options) { o.Limits.Rate, o.Limits.Outstanding = 100_000, 10_000 })
	call := overHTTP(s.r)
	for range l.jobs {
		var opened session.Opened
		call.ask(t, "job.open", fan(), &opened)
		s.jobs, s.tests = append(s.jobs, opened.Job), append(s.tests, opened.Reply.Next.ID)
	}
	for i := range l.watchers {
		ws := dial(t, s.r)
		overSocket(ws).ask(t, "job.watch", object{"job": s.jobs[i%l.jobs]}, nil)
		s.ends = append(s.ends, ws)
		s.left.Go(func() { s.watch(ws, i) })
	}
	return s
}

// watch keeps the newest number a screen is told.
func (s *shop) watch(ws *websocket.Conn, i int) {
	for {
		_, msg, err := ws.ReadMessage()
		if err != nil {
			return
		}
		var told struct{ Params session.Change }
		if json.Unmarshal(msg, &told) == nil {
			s.seen[i].Store(max(s.seen[i].Load(), int64(told.Params.Seq)))
		}
	}
}

// work records readings at a steady pace, whether or not the last was answered, and
// gives the time that each took.
func (s *shop) work(t *testing.T, l load) []time.Duration {
	t.Helper()
	var mu sync.Mutex
	var took []time.Duration
	var writing sync.WaitGroup
	tick := time.NewTicker(l.every)
	defer tick.Stop()
	for i := range int(l.during / l.every) {
		<-tick.C
		writing.Go(func() {
			start := time.Now()
			resp, body := do(t, "POST", s.r.url+"/rpc", fmt.Sprintf(`{"jsonrpc":"2.0","id":1,"method":"job.record","params":{"job":%q,"test":%q,"answer":"unsure"}}`,
				s.jobs[i%l.jobs], s.tests[i%l.jobs]), http.Header{"Content-Type": {"application/json"}})
			mu.Lock()
			defer mu.Unlock()
			if resp.StatusCode != 200 || rpcCode([]byte(body)) != "" {
				s.refused++
			}
			took = append(took, time.Since(start))
		})
	}
	writing.Wait()
	slices.Sort(took)
	return took
}

// Many screens watch many jobs while readings come in. Each is told where its job
// ends up, and when they have left nothing of them stays behind. COILSIDE_FULL=1
// makes it the size of a large shop, and looks at how long answers take.
func TestManyScreens(t *testing.T) {
	l := load{jobs: 10, watchers: 200, every: 50 * time.Millisecond, during: 2 * time.Second}
	if os.Getenv("COILSIDE_FULL") != "" {
		l = load{jobs: 500, watchers: 2000, every: 10 * time.Millisecond, during: time.Minute, p99: 100 * time.Millisecond}
	}
	before := runtime.NumGoroutine()
	s := openShop(t, l)
	took := s.work(t, l)
	p99 := took[len(took)*99/100]
	t.Logf("%d screens, %d readings on %d jobs: median %v, p99 %v, longest %v", l.watchers, len(took), l.jobs, took[len(took)/2], p99, took[len(took)-1])
	var list session.JobList
	overHTTP(s.r).ask(t, "job.list", object{"limit": 1000}, &list)
	seq := map[string]int64{}
	for _, j := range list.Jobs {
		seq[j.Job] = int64(j.Seq)
	}
	assert.Zero(t, s.refused, "readings were refused")
	missed := 0
	assert.Eventually(t, func() bool {
		missed = 0
		for i := range s.seen {
			if s.seen[i].Load() != seq[s.jobs[i%l.jobs]] {
				missed++
			}
		}
		return missed == 0
	}, 10*time.Second, 10*time.Millisecond, "screens missed something")
	assert.Zero(t, missed)
	for _, ws := range s.ends {
		require.NoError(t, ws.Close())
	}
	s.left.Wait()
	assert.Eventually(t, func() bool { return s.r.server.open.Load() == 0 }, time.Minute, time.Millisecond)
	s.r.stop()
	require.NoError(t, <-s.r.done)
	s.r.done <- nil
	assert.Eventually(t, func() bool { return runtime.NumGoroutine() <= before+5 }, time.Minute, 10*time.Millisecond, "goroutines stay behind")
	if l.p99 > 0 {
		assert.Less(t, p99, l.p99)
	}
}
