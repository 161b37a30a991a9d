//go:build unix

package main

import (
	"fmt"
	"io"
	"log"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"coilside/session/journal/pgtest"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"
)

// balanced is two instances over one database, behind a balancer that gives each request to
// the next of them, whether it lives or not.
type balanced struct {
	instances [2]*killed
	mu        sync.Mutex // of the instances' addresses
	next      atomic.Int64
	front     *killed // the balancer, as one who calls it sees it
}

func startBalanced(t *testing.T, store string) *balanced {
	t.Helper()
	b := &balanced{}
	program := buildProgram(t)
	for i := range b.instances {
		b.instances[i] = &killed{program: program, store: store}
		b.instances[i].start(t)
	}
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			to, err := url.Parse(b.address(int(b.next.Add(1) % 2)))
			if err == nil {
				r.SetURL(to)
			}
		},
		ErrorHandler: func(http.ResponseWriter, *http.Request, error) { panic(http.ErrAbortHandler) },
		ErrorLog:     log.New(io.Discard, "", 0),
	}
	server := httptest.NewUnstartedServer(proxy)
	server.Config.ErrorLog = proxy.ErrorLog
	server.Start()
	t.Cleanup(server.Close)
	b.front = &killed{url: server.URL}
	return b
}

func (b *balanced) address(i int) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.instances[i].url
}

// killOne kills an instance and has another in its place after a while.
func (b *balanced) killOne(t *testing.T, i int, away time.Duration) {
	b.instances[i].kill(t)
	time.Sleep(away)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.instances[i].start(t)
}

// insist makes a call with a key until it is answered, by whichever instance.
func (b *balanced) insist(method string, params map[string]any, out any) error {
	params["key"] = fmt.Sprintf("%x", rand.Uint64())
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if ok, err := b.front.ask(method, params, out); ok || err != nil {
			return err
		}
	}
	return fmt.Errorf("%s was not answered for a minute", method)
}

// said is an entry that was acknowledged: the reason of a skip makes it known again.
type said struct {
	seq    int
	reason string
}

// writer writes to jobs in turn until the round ends, and remembers what was acknowledged.
type writer struct {
	acked map[string][]said // by job
	count *atomic.Int64
}

func (w *writer) write(b *balanced, ended *atomic.Bool, jobs ...string) error {
	for n := 0; !ended.Load(); n++ {
		job := jobs[n%len(jobs)]
		reason := fmt.Sprintf("%x", rand.Uint64())
		var reply shownReply
		if err := b.insist("job.skip", map[string]any{"job": job, "test": "coil_drop", "reason": reason}, &reply); err != nil {
			return err
		}
		w.acked[job] = append(w.acked[job], said{reply.Seq, reason})
		w.count.Add(1)
	}
	return nil
}

// watcher watches a job, and goes on from its last number where its connection breaks.
type watcher struct {
	job    string
	seq    atomic.Int64
	breaks int
}

func (w *watcher) watch(b *balanced, ended *atomic.Bool) error {
	for !ended.Load() {
		ws, answer, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(b.front.url, "http")+"/ws", nil)
		if err != nil {
			time.Sleep(5 * time.Millisecond) // the balancer chose the dead one
			continue
		}
		_ = answer.Body.Close()
		err = w.listen(ws, ended)
		_ = ws.Close()
		w.breaks++
		if err != nil {
			return err
		}
	}
	return nil
}

// listen ends without an error where the connection breaks.
func (w *watcher) listen(ws *websocket.Conn, ended *atomic.Bool) error {
	watch := map[string]any{"jsonrpc": "2.0", "id": 1, "method": "job.watch", "params": map[string]any{"job": w.job, "from": w.seq.Load()}}
	if ws.WriteJSON(watch) != nil {
		return nil
	}
	for !ended.Load() {
		var m struct {
			Method string
			Params struct {
				Job string
				Seq int64
			}
			Error any
		}
		if ws.ReadJSON(&m) != nil {
			return nil
		}
		switch {
		case m.Error != nil:
			return fmt.Errorf("watch from %d: %v", w.seq.Load(), m.Error)
		case m.Method == "job.changed" && (m.Params.Job != w.job || m.Params.Seq <= w.seq.Load()):
			return fmt.Errorf("watching %s from %d, told of %v", w.job, w.seq.Load(), m.Params)
		case m.Method == "job.changed":
			w.seq.Store(m.Params.Seq)
		}
	}
	return nil
}

// Two instances serve one database behind a balancer; one after another is killed while
// clients write and watch. Nothing acknowledged is lost, every watcher catches up, and both
// instances give the same ranking. COILSIDE_FULL=1 plays 50 rounds.
func TestNothingIsLostWhenAnInstanceIsKilled(t *testing.T) {
	rounds := 1
	if os.Getenv("COILSIDE_FULL") != "" {
		rounds = 50
	}
	store := pgtest.Start(t).Address(t)
	b := startBalanced(t, store)
	entries, breaks := 0, 0
	for range rounds {
		e, broken := b.round(t)
		entries, breaks = entries+e, breaks+broken
	}
	for _, k := range b.instances {
		k.kill(t)
	}
	t.Logf("%d rounds, %d entries acknowledged, %d watchers connected again", rounds, entries, breaks)
	code, out, problems := jobsRun(t, "", "jobs", "verify", "--replay", "--store", store)
	require.Zero(t, code, problems)
	require.Contains(t, out, "problems: 0")
}

const balancedClients = 3

// round is one kill under load: each client writes to a job of its own and to one of all.
func (b *balanced) round(t *testing.T) (entries, breaks int) {
	jobs := make([]string, balancedClients+1) // the last is everyone's
	for i := range jobs {
		var opened struct{ Job string }
		require.NoError(t, b.insist("job.open", map[string]any{"complaint": "dead"}, &opened))
		jobs[i] = opened.Job
	}
	var written, seen atomic.Bool // the writing, the watching is over
	var count atomic.Int64
	var writing, watching sync.WaitGroup
	errs := make(chan error, 100)
	writers := make([]*writer, balancedClients)
	for i := range writers {
		writers[i] = &writer{acked: map[string][]said{}, count: &count}
		writing.Go(func() { errs <- writers[i].write(b, &written, jobs[i], jobs[balancedClients]) })
	}
	watchers := make([]*watcher, 2*len(jobs))
	for i := range watchers {
		watchers[i] = &watcher{job: jobs[i/2]}
		watching.Go(func() { errs <- watchers[i].watch(b, &seen) })
	}
	wait := func(acks int64) {
		for until := count.Load() + acks; count.Load() < until && len(errs) == 0; {
			time.Sleep(time.Millisecond)
		}
	}
	wait(1)
	time.Sleep(time.Duration(rand.IntN(400)) * time.Millisecond)
	b.killOne(t, rand.IntN(2), time.Duration(rand.IntN(400))*time.Millisecond)
	wait(3)
	written.Store(true)
	writing.Wait()

	for _, w := range writers {
		for job, acked := range w.acked {
			entries += len(acked)
			for _, k := range b.instances {
				k.has(t, job, acked)
			}
		}
	}
	for _, job := range jobs {
		b.same(t, job, watchers)
	}
	seen.Store(true)
	for _, job := range jobs { // one entry more wakes those who listen
		require.NoError(t, b.insist("job.skip", map[string]any{"job": job, "test": "coil_drop"}, &shownReply{}))
	}
	watching.Wait()
	close(errs)
	for err := range errs {
		require.NoError(t, err)
	}
	for _, w := range watchers {
		breaks += w.breaks - 1
	}
	return entries, breaks
}

type loggedView struct {
	Seq   int
	Reply shownReply
	Log   []struct {
		Entry   int
		Skipped *struct{ Reason string }
	}
}

// has checks that what was acknowledged is there, in its place, at this instance.
func (k *killed) has(t *testing.T, job string, acked []said) {
	t.Helper()
	var view loggedView
	ok, err := k.ask("job.show", map[string]any{"job": job}, &view)
	require.NoError(t, err)
	require.True(t, ok)
	for _, s := range acked {
		require.LessOrEqual(t, s.seq, view.Seq)
		e := view.Log[s.seq-1]
		require.Equal(t, s.seq, e.Entry)
		require.NotNil(t, e.Skipped)
		require.Equal(t, s.reason, e.Skipped.Reason)
	}
}

// same checks that both instances have a job stand at the same, entry by entry and byte for
// byte, and that its watchers get there.
func (b *balanced) same(t *testing.T, job string, watchers []*watcher) {
	t.Helper()
	var views [2]loggedView
	for i, k := range b.instances {
		ok, err := k.ask("job.show", map[string]any{"job": job}, &views[i])
		require.NoError(t, err)
		require.True(t, ok)
	}
	require.Equal(t, views[0].Log, views[1].Log)
	require.Equal(t, string(views[0].Reply.Suspects), string(views[1].Reply.Suspects))
	reasons := map[string]bool{}
	for _, e := range views[0].Log[1:] {
		require.False(t, reasons[e.Skipped.Reason], "written twice")
		reasons[e.Skipped.Reason] = true
	}
	for _, w := range watchers {
		if w.job == job {
			require.Eventually(t, func() bool { return w.seq.Load() == int64(views[0].Seq) }, time.Minute, time.Millisecond,
				"a watcher of %s stays at %d, not %d", job, w.seq.Load(), views[0].Seq)
		}
	}
}
