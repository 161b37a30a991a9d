package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// terminal is the program at a terminal of its own, 80 by 24.
type terminal struct {
	t    *testing.T
	tty  *os.File
	cmd  *exec.Cmd
	mu   sync.Mutex
	seen bytes.Buffer
}

func atTerminal(t *testing.T, data string, env []string, args ...string) *terminal {
	t.Helper()
	program, err := os.Executable()
	require.NoError(t, err)
	link := filepath.Join(t.TempDir(), "coilside") // the test program is coilside under that name
	require.NoError(t, os.Symlink(program, link))
	cmd := exec.Command(link, append([]string{"chat", "--data", data, "--seed", "1"}, args...)...)
	cmd.Env = append(append(os.Environ(), "TERM=xterm", "NO_COLOR="), env...)
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 80})
	require.NoError(t, err)
	c := &terminal{t: t, tty: tty, cmd: cmd}
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := tty.Read(buf)
			c.mu.Lock()
			c.seen.Write(buf[:n])
			c.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { _ = tty.Close(); _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return c
}

func (c *terminal) text() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.seen.String()
}

// waitFor waits until something new shows the words.
func (c *terminal) waitFor(words string) string {
	c.t.Helper()
	require.Eventually(c.t, func() bool { return strings.Contains(c.text(), words) }, 20*time.Second, 20*time.Millisecond, "%q does not come:\n%s", words, c.text())
	return c.text()
}

// send types keys and forgets what was seen before.
func (c *terminal) send(keys string) {
	c.t.Helper()
	c.mu.Lock()
	c.seen.Reset()
	c.mu.Unlock()
	_, err := io.WriteString(c.tty, keys)
	require.NoError(c.t, err)
}

func (c *terminal) ends() {
	c.t.Helper()
	done := make(chan error, 1)
	go func() { done <- c.cmd.Wait() }()
	select {
	case err := <-done:
		require.NoError(c.t, err, c.text())
	case <-time.After(20 * time.Second):
		c.t.Fatal("the chat does not end: " + c.text())
	}
}

const (
	arrowUp   = "\x1b[A"
	arrowLeft = "\x1b[D"
	ctrlD     = "\x04"
)

// A conversation at a terminal: lines are edited and recalled, also in the next
// conversation; open jobs are offered by number; the socket is drawn; warnings are
// coloured.
func TestChatAtATerminal(t *testing.T) {
	data := t.TempDir()
	_, _, _ = chatted(t, data, strings.NewReader(lampOpening+"24.4 at 30, relay out, switched on\n"))
	job := jobOf(t, data)
	c := atTerminal(t, data, nil)
	c.waitFor("Number to go on with")
	assert.Contains(t, c.text(), "1  "+job)
	c.send("7\r")
	c.waitFor("none of these")
	c.send("1\r")
	assert.Contains(t, c.waitFor("Why:"), "\x1b[2mWhy:", "colour where a terminal wants it")
	c.send("draw the socket\r")
	drawn := c.waitFor("Go by the marks")
	assert.Contains(t, drawn, "[ 87 ]")
	assert.Contains(t, drawn, "2: 24.4 V")
	c.send("whare are we" + strings.Repeat(arrowLeft, 9) + "\x7fe\r") // the a becomes an e
	c.waitFor("24.4 V at 30")
	c.send(arrowUp + "\r")
	c.waitFor("24.4 V at 30")
	c.send(ctrlD)
	c.ends()
	info, err := os.Stat(filepath.Join(data, "chat_history"))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	c = atTerminal(t, data, []string{"NO_COLOR=1"}, "--job", "last")
	assert.NotContains(t, c.waitFor("Next:"), "\x1b[1m", "NO_COLOR is honoured")
	c.waitFor("> ")
	c.send(arrowUp + "\r")
	c.waitFor("24.4 V at 30")
	require.Eventually(t, func() bool { // before the prompt Ctrl-C is a signal
		said := c.text()
		return strings.LastIndex(said, "> ") > strings.Index(said, "24.4 V at 30")
	}, 20*time.Second, 20*time.Millisecond)
	c.send("\x03")
	c.ends()
}

// With --plain a terminal gets what a pipe gets: no prompt, no colour, no drawing, and
// the socket in words.
func TestPlainChatAtATerminal(t *testing.T) {
	data := t.TempDir()
	_, _, _ = chatted(t, data, strings.NewReader(lampOpening))
	c := atTerminal(t, data, nil, "--job", "last", "--plain")
	c.waitFor("Next:")
	c.send("socket\n")
	c.waitFor("Socket seen from the side")
	assert.NotContains(t, c.text(), "\x1b[")
	assert.NotContains(t, c.text(), "+---")
	c.send("quit\n")
	c.ends()
}

func TestJobLastWithoutAnOpenJob(t *testing.T) {
	code, _, errs := chatted(t, t.TempDir(), strings.NewReader(""), "--job", "last")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "no job is open")
}

func TestColours(t *testing.T) {
	require.Equal(t, "Good.\n\x1b[1;33mCareful: hot.\x1b[0m\n\x1b[1mNext: measure.\x1b[0m", painted("Good.\nCareful: hot.\nNext: measure."))
	require.False(t, wantsColour(&bytes.Buffer{}))
}
