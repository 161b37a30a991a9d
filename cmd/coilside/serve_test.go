package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCommandLine(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	broken := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(broken, "shop.yaml"), []byte("rulez: []\n"), 0o600))
	data := t.TempDir()
	serve := func(args ...string) []string {
		return append([]string{"serve", "--listen", "127.0.0.1:0", "--data", data}, args...)
	}
	for _, c := range []struct {
		args  []string
		code  int
		words string
	}{
		{nil, 2, "Usage: coilside COMMAND"},
		{[]string{"help"}, 0, "serve"},
		{[]string{"--help"}, 0, "serve"},
		{[]string{"sevre"}, 2, `did you mean "serve"`},
		{serve("--help"), 0, "-listen"},
		{serve("--lisen", "x"), 2, "-lisen"},
		{serve("extra"), 2, `"extra" is too much`},
		{serve("--listen", "0.0.0.0:7285"), 2, "a token is needed there, by --token-file"},
		{serve("--listen", "[::]:7285"), 2, "a token is needed there"},
		{serve("--metrics", "0.0.0.0:7285"), 2, "a token is needed there"},
		{serve("--listen", ":7285"), 2, "no address of this machine"},
		{serve("--tls-cert", file), 2, "go together"},
		{serve("--tls-cert", file, "--tls-key", file), 1, "cannot be used"},
		{serve("--tokens", file), 1, "holds no token"},
		{serve("--token-file", filepath.Join(file, "below")), 1, "token file"},
		{serve("--max-rate", "0"), 2, "it takes a whole number from 1"},
		{serve("--config", filepath.Join(data, "missing.yaml")), 2, "the settings cannot be read"},
		{[]string{"token", "--name", "phone"}, 2, "say for whom and where"},
		{[]string{"token", "--name", "my phone", "--tokens", file}, 2, "letters, digits"},
		{[]string{"link", "--data", data}, 1, "no service runs"},
		{serve("--listen", "7285"), 2, "not HOST:PORT"},
		{serve("--listen", taken.Addr().String()), 1, "cannot listen"},
		{serve("--data", filepath.Join(file, "below")), 1, "folder"},
		{serve("--rules", filepath.Join(data, "missing")), 1, "missing"},
		{serve("--rules", file), 1, "takes a folder"},
		{serve("--rules", broken), 1, "shop.yaml:1:1"},
	} {
		var stdout, stderr bytes.Buffer
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		code := run(ctx, c.args, strings.NewReader(""), &stdout, &stderr)
		cancel()
		assert.Equal(t, c.code, code, "%v: %s", c.args, stderr.String())
		assert.Contains(t, stdout.String()+stderr.String(), c.words, "%v", c.args)
	}
}

func TestStateFolder(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", "/somewhere/state")
	got, err := stateFolder()
	require.NoError(t, err)
	assert.Equal(t, filepath.FromSlash("/somewhere/state/coilside"), got)
	t.Setenv("XDG_STATE_HOME", "not/absolute") // to be ignored, as the XDG specification has it
	got, err = stateFolder()
	require.NoError(t, err)
	assert.True(t, filepath.IsAbs(got), got)
}

// call asks a running service and decodes the result into out.
func call(t *testing.T, url, method, params string, out any) {
	t.Helper()
	resp, err := http.Post(url+"/rpc", "application/json", strings.NewReader(`{"jsonrpc":"2.0","id":1,"method":"`+method+`","params":`+params+`}`))
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	var answer struct{ Result, Error json.RawMessage }
	require.NoError(t, json.Unmarshal(body, &answer), "%s", body)
	require.Nil(t, answer.Error, "%s", body)
	require.NoError(t, json.Unmarshal(answer.Result, out), "%s", body)
}

func TestServeKeepsJobsAcrossRuns(t *testing.T) {
	data := t.TempDir()
	type list struct{ Jobs []struct{ Job, Label string } }
	for start := range 2 {
		ctx, stop := context.WithCancel(t.Context())
		var stderr lockedBuffer
		out, in := io.Pipe()
		var code int
		var running sync.WaitGroup
		running.Go(func() {
			code = run(ctx, []string{"serve", "--listen", "127.0.0.1:0", "--data", data}, nil, in, &stderr)
			_ = in.Close()
		})
		lines := bufio.NewReader(out)
		url, err := lines.ReadString('\n')
		require.NoError(t, err, stderr.String())
		url = strings.TrimSpace(url)
		require.Regexp(t, `^http://127\.0\.0\.1:[1-9]\d*$`, url)
		var jobs list
		call(t, url, "job.list", `{}`, &jobs)
		require.Len(t, jobs.Jobs, start, "a job that was acknowledged is there after a restart")
		if start == 0 {
			var opened struct{ Job string }
			call(t, url, "job.open", `{"complaint":"dead","label":"pump"}`, &opened)
			call(t, url, "job.tell", `{"job":"`+opened.Job+`","text":"no click"}`, new(any))
		} else {
			assert.Equal(t, "pump", jobs.Jobs[0].Label)
			var view struct{ Seq int }
			call(t, url, "job.show", `{"job":"`+jobs.Jobs[0].Job+`"}`, &view)
			assert.Equal(t, 2, view.Seq)
		}
		var second bytes.Buffer
		again := run(t.Context(), []string{"serve", "--listen", "127.0.0.1:0", "--data", data}, nil, &second, &second)
		assert.Equal(t, exitWrong, again)
		assert.Contains(t, second.String(), "already, at "+url)
		stop()
		rest, err := io.ReadAll(lines)
		require.NoError(t, err)
		running.Wait()
		assert.Empty(t, rest, "one line and no more")
		assert.Equal(t, exitDone, code, stderr.String())
		for line := range strings.Lines(stderr.String()) {
			assert.True(t, json.Valid([]byte(line)), line)
		}
	}
}

func TestSignalsStopTheService(t *testing.T) {
	program := filepath.Join(t.TempDir(), "coilside")
	out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput()
	require.NoError(t, err, "%s", out)
	for _, signal := range []os.Signal{syscall.SIGINT, syscall.SIGTERM} {
		cmd := exec.Command(program, "serve", "--listen", "127.0.0.1:0", "--data", t.TempDir())
		stdout, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		url, err := bufio.NewReader(stdout).ReadString('\n')
		require.NoError(t, err)
		resp, err := http.Get(strings.TrimSpace(url) + "/healthz")
		require.NoError(t, err)
		_ = resp.Body.Close()
		require.NoError(t, cmd.Process.Signal(signal))
		assert.NoError(t, cmd.Wait(), "exit code 0 on %v", signal)
	}
}
