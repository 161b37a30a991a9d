package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// killed is the service as a program of its own, to be killed.
type killed struct {
	program, data string
	store         string // database of the jobs, in the place of data
	cmd           *exec.Cmd
	url           string
	acks          atomic.Int64
	under         []string // command that runs the program, where one does
}

func buildProgram(t *testing.T) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "coilside")
	out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return program
}

func (k *killed) start(t *testing.T) {
	t.Helper()
	args := append(append([]string{}, k.under...), k.program, "serve", "--listen", "127.0.0.1:0", "--data", k.data)
	if k.store != "" {
		args = append(args, "--store", k.store)
	}
	k.cmd = exec.Command(args[0], args[1:]...)
	var log bytes.Buffer
	k.cmd.Stderr = &log
	out, err := k.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, k.cmd.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		_ = k.cmd.Wait()
		require.NoError(t, err, log.String())
	}
	k.url = strings.TrimSpace(line)
}

func (k *killed) kill(t *testing.T) {
	t.Helper()
	require.NoError(t, k.cmd.Process.Kill()) // SIGKILL
	_ = k.cmd.Wait()                         // it says that it was killed
}

// ask makes one call; ok is false where the service is gone.
func (k *killed) ask(method string, params, out any) (ok bool, err error) {
	body, err := json.Marshal(map[string]any{"jsonrpc": "2.0", "id": 1, "method": method, "params": params})
	if err != nil {
		return false, err
	}
	resp, err := http.Post(k.url+"/rpc", "application/json", bytes.NewReader(body))
	if err != nil {
		return false, nil //nolint:nilerr // killed
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		return false, nil //nolint:nilerr // killed while it answered
	}
	var answer struct{ Result, Error json.RawMessage }
	if err := json.Unmarshal(text, &answer); err != nil || answer.Error != nil {
		return false, fmt.Errorf("%s: %s", method, text)
	}
	return true, json.Unmarshal(answer.Result, out)
}

// acked is a job as the service acknowledged it.
type acked struct {
	job  string
	last shownReply
	said []string // by entry, from the second on: the reason given with the skip, which makes it known again
}

type shownReply struct {
	Seq      int
	Suspects json.RawMessage
	Next     *struct{ ID string }
}

// play works on one job until the service is killed.
func (k *killed) play(a *acked, seed uint64) error {
	var opened struct {
		Job   string
		Reply shownReply
	}
	ok, err := k.ask("job.open", map[string]any{"complaint": "dead"}, &opened)
	if !ok {
		return err
	}
	a.job, a.last = opened.Job, opened.Reply
	k.acks.Add(1)
	random := rand.New(rand.NewPCG(seed, 1))
	for a.last.Next != nil {
		reason := fmt.Sprintf("%x", random.Uint64())
		params := map[string]any{"job": a.job, "test": a.last.Next.ID, "reason": reason}
		method := "job.skip"
		if random.IntN(3) > 0 {
			method, reason = "job.record", ""
			params = map[string]any{"job": a.job, "test": a.last.Next.ID, "answer": "unsure"}
		}
		var reply shownReply
		ok, err := k.ask(method, params, &reply)
		if !ok {
			return err
		}
		a.last = reply
		k.acks.Add(1)
		a.said = append(a.said, reason)
	}
	return nil
}

// holds checks that everything acknowledged is there, and that the job replays to
// the ranking that was shown.
func (k *killed) holds(t *testing.T, a *acked) (more int) {
	t.Helper()
	type shown struct {
		Suspect     string  `json:"suspect"`
		Probability float64 `json:"probability"`
	}
	var view struct {
		Seq   int
		Reply shownReply
		Log   []struct {
			Entry   int
			Skipped *struct{ Reason string }
			Shown   []shown
		}
	}
	ok, err := k.ask("job.show", map[string]any{"job": a.job}, &view)
	require.NoError(t, err)
	require.True(t, ok)
	require.GreaterOrEqual(t, view.Seq, a.last.Seq, "job %s", a.job)
	require.LessOrEqual(t, view.Seq, a.last.Seq+1, "one call at most was under way")
	require.Len(t, view.Log, view.Seq)
	for i, said := range a.said {
		e := view.Log[i+1]
		require.Equal(t, i+2, e.Entry)
		require.Equal(t, said != "", e.Skipped != nil, "job %s entry %d", a.job, e.Entry)
		if said != "" {
			require.Equal(t, said, e.Skipped.Reason)
		}
	}
	if view.Seq == a.last.Seq {
		require.Equal(t, string(a.last.Suspects), string(view.Reply.Suspects), "job %s replays byte for byte", a.job)
	}
	var now []shown
	require.NoError(t, json.Unmarshal(view.Reply.Suspects, &now))
	require.Equal(t, view.Log[view.Seq-1].Shown, now, "job %s replays to what was shown with its last entry", a.job)
	return view.Seq - a.last.Seq
}

// The service is killed at random moments while several clients write. Nothing
// acknowledged is lost, and every job replays to the ranking that was shown.
// COILSIDE_FULL=1 plays 300 rounds.
func TestNothingAcknowledgedIsLostWhenKilled(t *testing.T) {
	rounds := 6
	if os.Getenv("COILSIDE_FULL") != "" {
		rounds = 300
	}
	const clients = 3
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	k := &killed{program: buildProgram(t), data: t.TempDir()}
	k.start(t)
	entries, under := 0, 0
	for round := range rounds {
		jobs := make([]acked, clients)
		errs := make([]error, clients)
		var all sync.WaitGroup
		for i := range jobs {
			all.Go(func() { errs[i] = k.play(&jobs[i], seed+uint64(round*clients+i)) })
		}
		for before := k.acks.Load(); round%5 > 0 && k.acks.Load() == before; { // one round in five is killed while jobs are opened
			time.Sleep(time.Millisecond)
		}
		time.Sleep(time.Duration(random.IntN(250)) * time.Millisecond)
		k.kill(t)
		all.Wait()
		k.start(t)
		for i := range jobs {
			require.NoError(t, errs[i])
			if jobs[i].job != "" {
				under += k.holds(t, &jobs[i])
				entries += jobs[i].last.Seq
			}
		}
	}
	k.kill(t)
	t.Logf("%d rounds, %d entries acknowledged, %d on disk before they were acknowledged", rounds, entries, under)
	require.Greater(t, entries, rounds, "there was a load")
	code, out, problems := jobsRun(t, "", "jobs", "verify", "--data", k.data)
	require.Zero(t, code, problems)
	require.Contains(t, out, "problems: 0")
}
