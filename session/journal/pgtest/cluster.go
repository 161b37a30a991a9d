//go:build unix

// Package pgtest starts throw-away PostgreSQL clusters for tests, each in a folder of its
// own and reached by a socket in it only.
package pgtest

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// Cluster is a PostgreSQL server that runs until its test ends.
type Cluster struct {
	programs, folder string
	as               *syscall.SysProcAttr // PostgreSQL refuses to be run by root
	schemas          int
}

// Start makes a cluster and starts it. Where PostgreSQL is not installed the test is passed
// over; under COILSIDE_CI it fails.
func Start(t testing.TB) *Cluster {
	t.Helper()
	c := &Cluster{programs: programs(t)}
	var err error
	c.folder, err = os.MkdirTemp("", "pg") // t.TempDir is for this user alone, and may be too long for a socket
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(c.folder)) })
	if os.Geteuid() == 0 {
		c.as = &syscall.SysProcAttr{Credential: somebody(t)}
		require.NoError(t, os.Chown(c.folder, int(c.as.Credential.Uid), int(c.as.Credential.Gid)))
	}
	c.run(t, "initdb", "--no-sync", "-A", "trust", "-U", "coilside", "-E", "UTF8", "-D", c.data())
	c.Run(t)
	t.Cleanup(func() { c.Stop(t) })
	return c
}

// programs finds the folder of the server's programs, which Debian keeps off the path.
func programs(t testing.TB) string {
	t.Helper()
	if path, err := exec.LookPath("initdb"); err == nil {
		path, err = filepath.EvalSymlinks(path)
		require.NoError(t, err)
		return filepath.Dir(path)
	}
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	require.NoError(t, err)
	if len(found) == 0 && os.Getenv("COILSIDE_CI") == "" {
		t.Skip("PostgreSQL is not installed")
	}
	require.NotEmpty(t, found, "PostgreSQL is not installed")
	return filepath.Dir(slices.Max(found))
}

// somebody is the user that PostgreSQL runs as where the tests are run by root.
func somebody(t testing.TB) *syscall.Credential {
	t.Helper()
	u, err := user.Lookup("postgres")
	if err != nil {
		u, err = user.Lookup("nobody")
	}
	require.NoError(t, err)
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	require.NoError(t, err)
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	require.NoError(t, err)
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
}

func (c *Cluster) data() string { return filepath.Join(c.folder, "data") }

// Run starts the server, which was stopped.
func (c *Cluster) Run(t testing.TB) {
	t.Helper()
	c.run(t, "pg_ctl", "start", "-w", "-D", c.data(), "-l", filepath.Join(c.folder, "log"),
		"-o", fmt.Sprintf("-c listen_addresses='' -c unix_socket_directories='%s'", c.folder))
}

// Stop ends the server at once, as a loss of power does: what it has not on disk is lost.
func (c *Cluster) Stop(t testing.TB) {
	t.Helper()
	c.run(t, "pg_ctl", "stop", "-w", "-m", "immediate", "-D", c.data())
}

// Address gives the address of a part of the cluster's one database that is empty still: a
// schema, which is made sooner than a database.
func (c *Cluster) Address(t testing.TB) string {
	t.Helper()
	c.schemas++
	schema := fmt.Sprintf("jobs_%d", c.schemas)
	address := url.URL{Scheme: "postgres", Path: "/postgres", RawQuery: url.Values{"host": {c.folder}, "user": {"coilside"}, "search_path": {schema}}.Encode()}
	SQL(t, address.String(), "CREATE SCHEMA "+schema)
	return address.String()
}

// SQL runs statements at an address, behind the back of whoever has it open.
func SQL(t testing.TB, address, statements string) {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), address)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(context.Background(), statements)
	require.NoError(t, err)
}

func (c *Cluster) run(t testing.TB, program string, args ...string) {
	t.Helper()
	cmd := exec.Command(filepath.Join(c.programs, program), args...)
	cmd.Dir, cmd.SysProcAttr = c.folder, c.as
	log, err := os.Create(filepath.Join(c.folder, program+".out")) // the server inherits it: a pipe would stay open
	require.NoError(t, err)
	defer log.Close()
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Run(); err != nil {
		said, _ := os.ReadFile(log.Name())
		require.NoError(t, err, "%s %v: %s", program, args, said)
	}
}
