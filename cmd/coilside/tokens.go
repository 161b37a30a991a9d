package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"sync"
	"syscall"

	"coilside/session"
	"coilside/transport"

	"github.com/rs/zerolog"
)

// tokensStamp tells one state of the token files from another.
func (s *serveOptions) tokensStamp() (stamp string) {
	for _, path := range []string{s.tokenFile, s.tokens} {
		if path == "" {
			continue
		}
		info, err := os.Stat(path)
		if err != nil {
			stamp += fmt.Sprintln(err)
			continue
		}
		stamp += fileStamp(path, info)
	}
	return stamp
}

// followTokens has the service take up its token files when they change, and at once when it
// is told SIGHUP, until ctx ends. It is all or nothing: on an error the last good tokens stay.
func (s *serveOptions) followTokens(ctx context.Context, loaded string, server *transport.Server, log zerolog.Logger) {
	var one sync.Mutex
	take := func() {
		one.Lock()
		defer one.Unlock()
		tokens, err := s.readTokens(transport.ReadTokenFile)
		if err == nil {
			err = server.SetTokens(tokens)
		}
		if err != nil {
			log.Warn().Err(err).Msg("tokens not taken up; the last good ones stay in force")
		}
	}
	told := make(chan os.Signal, 1)
	signal.Notify(told, syscall.SIGHUP)
	defer signal.Stop(told)
	var looking sync.WaitGroup
	defer looking.Wait()
	looking.Go(func() { session.WhenChanged(ctx, loaded, s.tokensStamp, look, take) })
	for {
		select {
		case <-told:
			take()
		case <-ctx.Done():
			return
		}
	}
}
