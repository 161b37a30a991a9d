package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"sync"
	"time"

	"coilside/transport"

	"github.com/rs/zerolog"
)

// serve runs the service until ctx ends. Once calls are taken it prints the
// address, one line, on stdout; the log goes to stderr, one JSON object a line.
func serve(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	var with serveOptions
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	with.addFlags(flags)
	from, code, done := parseSettings(flags, args, stderr)
	if done {
		return code
	}
	if with.printConfig {
		if err := from.print(stdout); err != nil {
			return complain(stderr, "serve", err)
		}
		return exitDone
	}
	log := zerolog.New(zerolog.SyncWriter(stderr)).With().Timestamp().Logger()
	options, err := with.options(log)
	if err != nil {
		return complain(stderr, "serve", err)
	}
	defer closeAll(options.Listener, options.Metrics)
	if err := with.run(ctx, options, stdout); err != nil {
		return complain(stderr, "serve", err)
	}
	return exitDone
}

// look is how often the rule folders and the token files are looked at for changes.
const look = time.Second

// run serves the jobs of the data folder until ctx ends.
func (s *serveOptions) run(ctx context.Context, o transport.Options, stdout io.Writer) error {
	if other := s.running(ctx); other != nil {
		return fmt.Errorf("a service runs on this data folder already, at %s", other.url)
	}
	stamp, tokens := s.rulesStamp(), s.tokensStamp()
	jobs, err := s.openService(o.Log)
	defer func() {
		if err := s.closeJobs(); err != nil {
			o.Log.Error().Err(err).Msg("the jobs were not closed well; what was acknowledged is on disk")
		}
	}()
	if err != nil {
		return err
	}
	o.Service, o.Ready = jobs, s.jobs.Ready
	beside, stop := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer func() { stop(); running.Wait() }()
	running.Go(func() { jobs.FollowOthers(beside) })
	if s.watchRules && len(s.folders) > 0 {
		running.Go(func() { jobs.WatchRules(beside, stamp, s.rulesStamp, look) })
	}
	server := transport.New(o)
	if s.tokenFile != "" || s.tokens != "" {
		running.Go(func() { s.followTokens(beside, tokens, server, o.Log) })
	}
	withdraw, err := s.announce(announcement{URL: server.LocalURL(), TokenFile: s.tokenFile, Certificate: s.cert})
	if err != nil {
		return err
	}
	defer withdraw()
	fmt.Fprintln(stdout, server.URL()) // the listener queues calls from here on
	return server.Serve(ctx)
}
