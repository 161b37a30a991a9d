package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/session/journal"
)

const lampOpening = "the lamp never runs\n24\nlamp\nnothing moves\n\n\n"

func chatted(t *testing.T, data string, input io.Reader, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), append([]string{"chat", "--data", data, "--seed", "1"}, args...), input, &out, &errs)
	return code, out.String(), errs.String()
}

func jobOf(t *testing.T, data string) string {
	t.Helper()
	folder, err := journal.OpenFolder(data)
	require.NoError(t, err)
	defer folder.Close()
	heads, err := folder.Heads()
	require.NoError(t, err)
	require.Len(t, heads, 1)
	return heads[0].Name
}

// logOf is everything the job's log holds.
func logOf(t *testing.T, data, job string) string {
	t.Helper()
	folder, err := journal.OpenFolder(data)
	require.NoError(t, err)
	defer folder.Close()
	var out bytes.Buffer
	problems, err := folder.Export(&out, job)
	require.NoError(t, err)
	require.Empty(t, problems)
	return out.String()
}

func TestChatIsKeptAndGoneOnWith(t *testing.T) {
	data := t.TempDir()
	code, out, _ := chatted(t, data, strings.NewReader(lampOpening+"24.4 at 30, relay out, switched on\n"))
	require.Zero(t, code)
	require.Contains(t, out, "24.4 V at 30")
	code, out, _ = chatted(t, data, strings.NewReader("where are we\nquit\n"), "--job", jobOf(t, data))
	require.Zero(t, code)
	require.Contains(t, out, "2. 24.4 V at 30")
	_, _, errs := chatted(t, data, strings.NewReader(""))
	require.Contains(t, errs, jobOf(t, data), "open jobs are named")
	code, _, errs = chatted(t, data, strings.NewReader(""), "--job", "nosuch")
	require.Equal(t, 1, code)
	require.Contains(t, errs, `there is no job "nosuch"`)
}

// Whatever comes in is answered with words, and the job's log stays as it was.
func TestChatBadInput(t *testing.T) {
	data := t.TempDir()
	_, _, _ = chatted(t, data, strings.NewReader(lampOpening+"24.4 at 30, relay out, switched on\n"))
	job := jobOf(t, data)
	before := logOf(t, data, job)
	for _, bad := range []string{
		"", "   ", "asdf", "\x00\x01\x02", "\xff\xfe", strings.Repeat("12.4 ", 1<<18), strings.Repeat("x", 1<<20), "1e309 V", "1e309", "NaN volts", "inf",
		"-5 ohms on the bench, 85 to 86", "12.4 at 88", "84 ohms at 86, relay out", "30 to 87 is 4.7k in the box", "999 volts at 86, relay out, switched on",
		"<script>alert(1)</script>", "'; drop table jobs", "😀😀😀", "٣٤", strings.Repeat("no wait ", 300), "12.4 12.5 12.6",
	} {
		code, out, errs := chatted(t, data, strings.NewReader(bad+"\n"), "--job", job, "--plain")
		name := fmt.Sprintf("%.30q", bad)
		require.Zero(t, code, name)
		require.Empty(t, errs, name)
		require.Equal(t, before, logOf(t, data, job), "%s changed the job:\n%s", name, out)
		if strings.TrimSpace(bad) != "" {
			greeting, answer, _ := strings.Cut(out, "\n")
			require.NotEmpty(t, greeting)
			require.NotEmpty(t, strings.TrimSpace(answer), name)
			require.Less(t, len(out), 4000, name)
		}
	}
}

func TestChatRefusesAirbags(t *testing.T) {
	data := t.TempDir()
	code, _, errs := chatted(t, data, strings.NewReader("lamp never stops\n12\nelectronics\nan airbag fires\n\n\n"))
	require.Equal(t, 1, code)
	require.Contains(t, errs, "qualified")
}

func TestChatUsage(t *testing.T) {
	for _, args := range [][]string{{"--bogus"}, {"extra"}, {"--seed", "-1"}, {"--seed", "x"}} {
		code, _, errs := chatted(t, t.TempDir(), strings.NewReader(""), args...)
		require.Equal(t, 2, code, args)
		require.NotEmpty(t, errs)
	}
}

// endless never ends its first line.
type endless struct{ left int }

func (e *endless) Read(p []byte) (int, error) {
	if e.left <= 0 {
		return 0, io.EOF
	}
	n := min(len(p), e.left)
	for i := range n {
		p[i] = 'a'
	}
	e.left -= n
	return n, nil
}

func TestALineWithoutEndIsNotKeptInMemory(t *testing.T) {
	line := <-newLineReader(&endless{left: 64 << 20}).lines
	require.LessOrEqual(t, len(line), 2*mostLine)
}
