//go:build unix

package main

import (
	"bufio"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The service under a bound on the size of its files, which stands for a full
// disk: what it acknowledged is there, the refusal says why, and with room again the jobs
// go on.
func TestAFullDiskIsSaid(t *testing.T) {
	k := &killed{program: buildProgram(t), data: t.TempDir()}
	k.start(t)
	var a acked
	var opened struct {
		Job   string
		Reply shownReply
	}
	ok, err := k.ask("job.open", map[string]any{"complaint": "dead"}, &opened)
	require.NoError(t, err)
	require.True(t, ok)
	a.job, a.last = opened.Job, opened.Reply
	k.kill(t)

	k.under = []string{"sh", "-c", `ulimit -f "$1"; shift; exec "$@"`, "sh", blocks(t, k.data, 64)}
	k.start(t)
	reason := strings.Repeat("no access ", 19)
	for range 200 {
		var reply shownReply
		if ok, err = k.ask("job.skip", map[string]any{"job": a.job, "test": "coil_drop", "reason": reason}, &reply); !ok {
			break
		}
		a.last, a.said = reply, append(a.said, reason)
	}
	require.Error(t, err, "the disk has room for all of it")
	var refusal struct {
		Error struct {
			Code    int
			Message string
			Data    struct{ Kind, Job, File string }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(err.Error()[strings.IndexByte(err.Error(), '{'):]), &refusal))
	require.Equal(t, 1009, refusal.Error.Code, "%v", err)
	require.Equal(t, "storage", refusal.Error.Data.Kind)
	require.Equal(t, a.job, refusal.Error.Data.Job)
	require.Equal(t, "jobs.db", refusal.Error.Data.File)
	require.NotContains(t, err.Error(), k.data)
	require.Zero(t, k.holds(t, &a))
	k.kill(t)

	k.under = nil
	k.start(t)
	require.Zero(t, k.holds(t, &a), "no half entry")
	var reply shownReply
	ok, err = k.ask("job.skip", map[string]any{"job": a.job, "test": "coil_drop", "reason": "again"}, &reply)
	require.NoError(t, err)
	require.True(t, ok)
	k.kill(t)
}

// blocks is a bound for files, in the units of 512 bytes that ulimit -f takes, that leaves
// a database room for some KB more.
func blocks(t *testing.T, folder string, more int64) string {
	t.Helper()
	largest := int64(0)
	files, err := filepath.Glob(filepath.Join(folder, "jobs.db*"))
	require.NoError(t, err)
	for _, f := range files {
		info, err := os.Stat(f)
		require.NoError(t, err)
		largest = max(largest, info.Size())
	}
	text, err := json.Marshal((largest + more<<10) / 512)
	require.NoError(t, err)
	return string(text)
}

// A folder that cannot be written is named, and nothing in it is changed. What is
// there can still be exported.
func TestAReadOnlyFolderIsSaid(t *testing.T) {
	with, ids := twoJobs(t)
	require.NoError(t, with.closeJobs())
	program := buildProgram(t)
	require.NoError(t, os.Chmod(filepath.Dir(program), 0o755))
	for path, mode := range map[string]os.FileMode{with.data: 0o555, with.jobs.Path(): 0o444, filepath.Join(with.data, "jobs.lock"): 0o444, filepath.Join(with.data, "jobs.acknowledged"): 0o444} {
		require.NoError(t, os.Chmod(path, mode))
	}
	defer func() { require.NoError(t, os.Chmod(with.data, 0o755)) }()
	anybody := func(args ...string) (string, error) {
		cmd := exec.CommandContext(t.Context(), program, append(args, "--data", with.data)...)
		if os.Geteuid() == 0 { // whom modes don't bind
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
			require.NoError(t, os.Chmod(filepath.Dir(with.data), 0o755))
		}
		cmd.WaitDelay = 10 * time.Second
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := anybody("serve", "--listen", "127.0.0.1:0")
	require.Error(t, err, out)
	require.Contains(t, out, with.data+"/jobs.db: the file or its folder cannot be written")
	out, err = anybody("jobs", "export")
	require.NoError(t, err, out)
	for _, id := range ids {
		require.Contains(t, out, id)
	}
}

// mostMemory waits for a process to end and gives the most memory that it held, bytes; 0
// where the system does not tell. (What wait4 tells counts the parent's memory too, from
// before the program was started.)
func mostMemory(t *testing.T, pid int, ended <-chan error) (most int64) {
	t.Helper()
	for {
		status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid)) // gone once it has ended
		if _, after, ok := strings.Cut(string(status), "VmHWM:"); ok {
			kB, err := strconv.ParseInt(strings.Fields(after)[0], 10, 64)
			require.NoError(t, err)
			most = kB << 10
		}
		select {
		case err := <-ended:
			require.NoError(t, err)
			return most
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// A long export is imported in little memory: a file of many times the bound goes through.
func TestALongExportIsImportedInLittleMemory(t *testing.T) {
	const record, bound = 20 << 10, 72 << 20 // bytes; the program alone takes about 35 MB
	size := 96 << 20
	if os.Getenv("COILSIDE_FULL") != "" {
		size = 1 << 30
	}
	file := filepath.Join(t.TempDir(), "all.jsonl")
	jobs, records := longExport(t, file, size, record)
	program, folder := buildProgram(t), t.TempDir()
	for _, want := range []string{
		fmt.Sprintf("imported: %d jobs, %d records; here already: 0 jobs\n", jobs, records),
		fmt.Sprintf("imported: 0 jobs, 0 records; here already: %d jobs\n", jobs),
	} {
		var out strings.Builder
		cmd := exec.CommandContext(t.Context(), program, "jobs", "import", "--data", folder, file)
		cmd.Stdout = &out
		start := time.Now()
		require.NoError(t, cmd.Start())
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		most := mostMemory(t, cmd.Process.Pid, ended)
		require.Equal(t, want, out.String())
		t.Logf("%d MB in %v and %d MB of memory", size>>20, time.Since(start), most>>20)
		require.Less(t, most, int64(bound))
	}
}

// longExport writes an export of about size bytes, of jobs of 100 records.
func longExport(t *testing.T, path string, size, record int) (jobs, records int) {
	t.Helper()
	file, err := os.Create(path)
	require.NoError(t, err)
	defer file.Close()
	out := bufio.NewWriter(file)
	fmt.Fprintln(out, `{"coilside":"jobs","version":1}`)
	data := `"` + strings.Repeat("x", record) + `"`
	for ; records*record < size; jobs++ {
		name := fmt.Sprintf("job-%d", jobs)
		sum := name
		for n := 1; n <= 100; n, records = n+1, records+1 {
			sum = fmt.Sprintf("%x", sha256.Sum256(fmt.Appendf(nil, "%s %d %s", sum, n, data)))
			fmt.Fprintf(out, `{"job":"%s","n":%d,"sum":"%s","data":%s}`+"\n", name, n, sum, data)
		}
	}
	fmt.Fprintf(out, `{"end":{"jobs":%d,"records":%d,"rule_files":0}}`+"\n", jobs, records)
	require.NoError(t, out.Flush())
	return jobs, records
}
