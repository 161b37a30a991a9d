package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"

	"coilside/transport"

	"github.com/rs/zerolog"
)

// serve runs the service until ctx ends. Once calls are taken it prints the
// address, one line, on stdout; the log goes to stderr, one JSON object a line.
func serve(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	var with setup
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	listen := flags.String("listen", "127.0.0.1:7285", "`HOST:PORT` to serve at, on this machine only; port 0 picks a free one")
	with.addFlags(flags)
	if code, done := parse(flags, args, stderr); done {
		return code
	}
	listener, err := transport.Listen(*listen, false)
	if err != nil {
		fmt.Fprintf(stderr, "coilside serve: %v\n", err)
		if _, meant := errors.AsType[*transport.AddressError](err); meant {
			return exitUsage
		}
		return exitWrong
	}
	defer listener.Close()
	log := zerolog.New(zerolog.SyncWriter(stderr)).With().Timestamp().Logger()
	if other := with.running(ctx); other != nil {
		fmt.Fprintf(stderr, "coilside serve: a service runs on this data folder already, at %s\n", other.url)
		return exitWrong
	}
	service, err := with.openService(log)
	defer func() {
		if err := with.closeJobs(); err != nil {
			log.Error().Err(err).Msg("the jobs were not closed well; what was acknowledged is on disk")
		}
	}()
	if err != nil {
		fmt.Fprintf(stderr, "coilside serve: %v\n", err)
		return exitWrong
	}
	server := transport.New(transport.Options{Service: service, Listener: listener, Log: log})
	withdraw, err := with.announce(server.URL())
	if err != nil {
		fmt.Fprintf(stderr, "coilside serve: %v\n", err)
		return exitWrong
	}
	defer withdraw()
	fmt.Fprintln(stdout, server.URL()) // the listener queues calls from here on
	if err := server.Serve(ctx); err != nil {
		fmt.Fprintf(stderr, "coilside serve: %v\n", err)
		return exitWrong
	}
	return exitDone
}
