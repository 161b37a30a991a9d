//go:build unix

package main

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/transport"
)

// A service takes up its token file as it changes on disk, all or nothing, and at once when
// it is told SIGHUP.
func TestServeFollowsItsTokens(t *testing.T) {
	data, file := t.TempDir(), filepath.Join(t.TempDir(), "tokens")
	phone, desk := transport.NewToken(), transport.NewToken()
	line := func(name, token string) string { return name + " " + transport.TokenHash(token) + "\n" }
	write := func(text string) { require.NoError(t, os.WriteFile(file, []byte(text), 0o600)) }
	write(line("phone", phone))
	ctx, stop := context.WithCancel(t.Context())
	var stdout, stderr lockedBuffer
	ended := make(chan int)
	go func() {
		ended <- run(ctx, []string{"serve", "--listen", "127.0.0.1:0", "--data", data, "--tokens", file}, strings.NewReader(""), &stdout, &stderr)
	}()
	defer func() { stop(); require.Zero(t, <-ended, "%s", stderr.String()) }()
	require.Eventually(t, func() bool { return strings.HasSuffix(stdout.String(), "\n") }, 30*time.Second, 20*time.Millisecond)
	asked := func(token string) int {
		r, err := http.NewRequest(http.MethodGet, strings.TrimSpace(stdout.String())+"/openrpc.json", nil)
		require.NoError(t, err)
		r.Header.Set("Authorization", "Bearer "+token)
		resp, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		return resp.StatusCode
	}
	comesTo := func(token string, status int) {
		t.Helper()
		require.Eventually(t, func() bool { return asked(token) == status }, 30*time.Second, 50*time.Millisecond, "%s", stderr.String())
	}
	require.Equal(t, 200, asked(phone))
	write(line("phone", phone) + line("desk", desk))
	comesTo(desk, 200)

	write(line("phone", phone) + "desk no hash at all\n")
	require.Eventually(t, func() bool { return strings.Contains(stderr.String(), "tokens:2: ") }, 30*time.Second, 50*time.Millisecond)
	require.Equal(t, 200, asked(desk), "the last good ones stay")
	require.NoError(t, os.Remove(file))
	require.Eventually(t, func() bool { return strings.Contains(stderr.String(), "cannot be read") }, 30*time.Second, 50*time.Millisecond)
	require.Equal(t, 200, asked(desk))
	write(line("desk", desk))
	comesTo(phone, 401)

	info, err := os.Stat(file)
	require.NoError(t, err)
	write(line("desk", phone)) // of the same size, and said to be as old: nobody sees it
	require.NoError(t, os.Chtimes(file, info.ModTime(), info.ModTime()))
	time.Sleep(3 * look)
	require.Equal(t, 200, asked(desk))
	require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGHUP))
	comesTo(phone, 200)
	require.Equal(t, 401, asked(desk))
}
