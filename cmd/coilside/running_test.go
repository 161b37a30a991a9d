package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"coilside/session"
	"coilside/transport"
)

// A chat on the data folder of a running service talks to that service: the job
// is among the service's own at once, and the service's refusals come through.
func TestChatTalksToTheRunningService(t *testing.T) {
	with := setup{data: t.TempDir()}
	service, err := with.openService(zerolog.Nop())
	require.NoError(t, err)
	listener, err := transport.Listen("127.0.0.1:0", false)
	require.NoError(t, err)
	server := transport.New(transport.Options{Service: service, Listener: listener, Log: zerolog.Nop()})
	ctx, stop := context.WithCancel(t.Context())
	stopped := make(chan error, 1)
	go func() { stopped <- server.Serve(ctx) }()
	withdraw, err := with.announce(announcement{URL: server.LocalURL()})
	require.NoError(t, err)
	require.NotNil(t, with.running(ctx))

	var stdout, stderr bytes.Buffer
	input := "the lamp never runs\n24\nlamp\nnothing moves\n\n\n24.4 at 30, relay out, switched on\n" + strings.Repeat("x", 5000) + "\n"
	code := run(ctx, []string{"chat", "--plain", "--data", with.data}, strings.NewReader(input), &stdout, &stderr)
	require.Zero(t, code, stderr.String())
	require.Contains(t, stdout.String(), "24.4 V at 30")
	require.Contains(t, stdout.String(), "text is too long")
	list, err := service.List(ctx, session.JobsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Jobs, 1)
	require.Equal(t, 2, list.Jobs[0].Seq)

	withdraw()
	stop()
	require.NoError(t, <-stopped)
	require.NoFileExists(t, filepath.Join(with.data, addressFile))
}

func TestAnAddressThatLeadsNowhereIsPassedOver(t *testing.T) {
	for _, content := range []string{`{"url":"http://127.0.0.1:1"}`, `{"url":"http://example.org"}`, `{"url":"http://127.0.0.1:1","token_file":"/none"}`, "{}", "", "nonsense"} {
		with := setup{data: t.TempDir()}
		require.NoError(t, os.WriteFile(filepath.Join(with.data, addressFile), []byte(content), 0o600))
		start := time.Now()
		require.Nil(t, with.running(t.Context()), content)
		require.Less(t, time.Since(start), 5*time.Second)
	}
}
