package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type lockedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

// pipeOfLines gives what is written, line by line; closing ends the lines.
func pipeOfLines() (<-chan string, io.WriteCloser) {
	out, in := io.Pipe()
	lines := make(chan string, 16)
	go func() {
		defer close(lines)
		for scan := bufio.NewScanner(out); scan.Scan(); {
			lines <- scan.Text()
		}
	}()
	return lines, in
}

// jayson is a general-purpose JSON-RPC library; the version is pinned so that a
// new one cannot break the build.
const jayson = "jayson@5.0.0"

func clientFolder(t *testing.T) string {
	t.Helper()
	folder, err := filepath.Abs("../../testdata/clients")
	require.NoError(t, err)
	return folder
}

// Programs written outside of this one, each with what its language brings, play
// a whole job by acting on measure and setup alone, and find the hidden fault.
func TestClientsPlayAWholeJob(t *testing.T) {
	clients := clientFolder(t)
	for _, c := range []struct {
		name, scenario string
		seed           uint64
		command        []string
		install        []string // packages from the npm registry
		programs       []string // beside the command itself
	}{
		{"python", "van_fan", 2, []string{"python3", filepath.Join(clients, "play.py")}, nil, nil},
		{"node", "plough_lights", 4, []string{"node", filepath.Join(clients, "play.mjs")}, nil, nil},
		{"curl", "minibus_blower", 2, []string{"bash", filepath.Join(clients, "play.sh")}, nil, []string{"curl", "jq"}},
		{"npm library", "van_fan", 4, []string{"node", filepath.Join(clients, "library.mjs")}, []string{jayson}, []string{"npm"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			needed(t, append(c.programs, c.command[0])...)
			folder := t.TempDir()
			if c.install != nil {
				playClient(t, folder, nil, append([]string{"npm", "install", "--no-audit", "--no-fund", "--ignore-scripts", "--silent"}, c.install...)...)
			}
			service := serveFor(t)
			bench := newWorkbench(t, c.scenario, c.seed)
			out := playClient(t, folder, nil, append(c.command, service, bench.url)...)
			job, proven, _ := strings.Cut(strings.TrimSpace(out), " ")
			assert.Contains(t, strings.Fields(proven), bench.hidden[0], "the fault that was hidden")
			assert.Empty(t, bench.vehicle.Complaint(), "it was mended")
			var view struct{ State, Outcome string }
			call(t, service, "job.show", `{"job":"`+job+`"}`, &view)
			assert.Equal(t, "closed fixed", view.State+" "+view.Outcome)
		})
	}
}

// needed looks for programs that a test runs. Where one is not there, the test is
// passed over; .ci/run installs them and has their absence fail.
func needed(t *testing.T, programs ...string) {
	t.Helper()
	for _, program := range programs {
		_, err := exec.LookPath(program)
		if err != nil && os.Getenv("COILSIDE_CI") == "" {
			t.Skipf("%s is not installed", program)
		}
		require.NoError(t, err)
	}
}

// playClient runs a program in a folder and gives what it printed.
func playClient(t *testing.T, folder string, env []string, command ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, command[0], command[1:]...)
	cmd.Dir, cmd.Env = folder, append(os.Environ(), env...)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	require.NoError(t, cmd.Run(), "%v: %s%s", command, stdout.String(), stderr.String())
	return stdout.String()
}
