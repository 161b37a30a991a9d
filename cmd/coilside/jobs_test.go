package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"coilside/session"
)

// jobsRun runs the command line and gives its exit code and what it printed.
func jobsRun(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, problems bytes.Buffer
	code = run(t.Context(), args, strings.NewReader(stdin), &out, &problems)
	return code, out.String(), problems.String()
}

// twoJobs is a data folder with two jobs in it, open.
func twoJobs(t *testing.T) (*setup, []string) {
	t.Helper()
	with := &setup{data: t.TempDir()}
	service, err := with.openService(zerolog.Nop())
	require.NoError(t, err)
	var ids []string
	for _, complaint := range []string{"dead", "stays_on"} {
		o, err := service.Open(t.Context(), session.OpenRequest{Complaint: complaint, Label: "pump"})
		require.NoError(t, err)
		_, err = service.Record(t.Context(), session.RecordRequest{Write: session.Write{Job: o.Job, Key: "k"}, Test: o.Reply.Next.ID, Answer: session.Answer{Unsure: true}})
		require.NoError(t, err)
		ids = append(ids, o.Job)
	}
	return with, ids
}

func TestJobsGoOutAndIn(t *testing.T) {
	with, ids := twoJobs(t)
	code, text, problems := jobsRun(t, "", "jobs", "export", "--data", with.data)
	require.Zero(t, code, problems, "also while the service runs")
	code, _, problems = jobsRun(t, text, "jobs", "import", "--data", with.data, "-")
	require.Equal(t, exitWrong, code)
	require.Contains(t, problems, "another program works on the jobs in "+with.data)
	require.NoError(t, with.closeJobs())

	file, elsewhere := filepath.Join(t.TempDir(), "jobs.jsonl"), filepath.Join(t.TempDir(), "new")
	code, _, problems = jobsRun(t, "", "jobs", "export", "--data", with.data, file)
	require.Zero(t, code, problems)
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, text, string(content))
	code, _, problems = jobsRun(t, "", "jobs", "export", "--data", with.data, file)
	require.Equal(t, exitWrong, code)
	require.Contains(t, problems, "is there already")

	for _, want := range []string{"imported: 2 jobs, 4 records; here already: 0 jobs\n", "imported: 0 jobs, 0 records; here already: 2 jobs\n"} {
		code, out, problems := jobsRun(t, "", "jobs", "import", "--data", elsewhere, file)
		require.Zero(t, code, problems)
		require.Equal(t, want, out)
	}
	code, out, problems := jobsRun(t, "", "jobs", "verify", "--data", elsewhere, "--replay")
	require.Zero(t, code, problems)
	require.Equal(t, "sound: 2 jobs, 4 records, 1 rulebooks; problems: 0\n", out)
	code, one, problems := jobsRun(t, "", "jobs", "export", "--data", elsewhere, "--job", ids[0])
	require.Zero(t, code, problems)
	require.Contains(t, one, ids[0])
	require.NotContains(t, one, ids[1])
	moved := &setup{data: elsewhere}
	service, err := moved.openService(zerolog.Nop())
	require.NoError(t, err)
	list, err := service.List(t.Context(), session.JobsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Jobs, 2)
	require.Equal(t, "pump", list.Jobs[0].Label)
	require.NoError(t, moved.closeJobs())
}

func TestVerifyNamesTheJob(t *testing.T) {
	with, ids := twoJobs(t)
	path := with.jobs.Path()
	require.NoError(t, with.closeJobs())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	at := bytes.LastIndex(content, []byte(`"kind":"reading"`)) // in the record written last or the one before
	content[at+8] ^= 4
	require.NoError(t, os.WriteFile(path, content, 0o600))
	code, out, problems := jobsRun(t, "", "jobs", "verify", "--data", with.data)
	require.Equal(t, exitWrong, code, out)
	require.Contains(t, problems, "record 2 is damaged")
	require.Regexp(t, "job ("+strings.Join(ids, "|")+")", problems)
	require.Contains(t, out, "sound: 1 jobs, 2 records, 1 rulebooks; problems: 1")
	code, text, problems := jobsRun(t, "", "jobs", "export", "--data", with.data)
	require.Equal(t, exitWrong, code)
	require.Contains(t, problems, "left out: ")
	code, _, problems = jobsRun(t, text, "jobs", "import", "--data", t.TempDir(), "-")
	require.Zero(t, code, problems, "the rest is whole")
}

func TestJobsRefusals(t *testing.T) {
	empty := t.TempDir()
	for _, c := range []struct {
		args  []string
		stdin string
		code  int
		words string
	}{
		{[]string{"jobs"}, "", exitUsage, "Usage: coilside jobs"},
		{[]string{"jobs", "--help"}, "", exitDone, "SHA-256"},
		{[]string{"jobs", "export", "--help"}, "", exitDone, "-job"},
		{[]string{"jobs", "exprt"}, "", exitUsage, `did you mean "export"?`},
		{[]string{"jobs", "verify", "x"}, "", exitUsage, `"x" is too much`},
		{[]string{"jobs", "import", "--data", empty}, "", exitUsage, "say which file"},
		{[]string{"jobs", "export", "--data", empty}, "", exitWrong, "there are no jobs in " + empty},
		{[]string{"jobs", "verify", "--data", empty}, "", exitWrong, "there are no jobs in " + empty},
		{[]string{"jobs", "import", "--data", empty, "-"}, "{}", exitWrong, "line 1: an export of jobs starts with"},
		{[]string{"jobs", "import", "--data", empty, "-"}, `{"coilside":"jobs","version":1}` + "\n" + `{"rules":"abc","layer":0,"name":"n","file":"a.yaml","content":""}` + "\n" +
			`{"end":{"jobs":0,"records":0,"rule_files":1}}`, exitWrong, "the rules kept as abc cannot be used"},
	} {
		code, out, problems := jobsRun(t, c.stdin, c.args...)
		require.Equal(t, c.code, code, "%v: %s", c.args, problems)
		require.Contains(t, out+problems, c.words, "%v", c.args)
	}
	left, err := os.ReadDir(empty)
	require.NoError(t, err)
	require.Empty(t, left, "nothing was made")
}
