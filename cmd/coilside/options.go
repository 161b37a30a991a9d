package main

import (
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"net"

	"coilside/transport"

	"github.com/rs/zerolog"
)

// serveOptions is what serve can be told.
type serveOptions struct {
	setup
	listen, metrics   string
	tokenFile, tokens string
	cert, key         string
	hosts             []string
	limits            transport.Limits
	printConfig       bool
	watchRules        bool
}

// addFlags has the flags of serve fill it.
func (s *serveOptions) addFlags(flags *flag.FlagSet) {
	s.limits, s.setup.mostOpen, s.setup.mostResident, s.setup.residentMiB = transport.DefaultLimits, 10_000, 256, 512
	s.setup.addFlags(flags)
	flags.StringVar(&s.listen, "listen", "127.0.0.1:7285", "`HOST:PORT` to serve at; port 0 picks a free one. An address that other machines reach needs a token")
	flags.StringVar(&s.metrics, "metrics", "", "`HOST:PORT` to serve figures for Prometheus at, as /metrics (default: nowhere)")
	flags.StringVar(&s.tokenFile, "token-file", "", "`file` with the token that opens the service and all its jobs; made with a random token if it is not there")
	flags.StringVar(&s.tokens, "tokens", "", "`file` of front ends and their tokens' hashes, as made by coilside token; each reaches its own jobs only")
	flags.StringVar(&s.cert, "tls-cert", "", "PEM `file` with the certificate and its chain, to serve HTTPS")
	flags.StringVar(&s.key, "tls-key", "", "PEM `file` with the certificate's key")
	flags.Var(list{&s.hosts, ","}, "host", "`name` that others reach the service by; may be given again")
	flags.Var(number{&s.limits.Connections, 16, 1 << 20}, "max-connections", "connections open at once; a sixteenth is kept from WebSockets (`number`)")
	flags.Var(number{&s.limits.Rate, 1, 1 << 20}, "max-rate", "requests a second from one client; it may save up ten seconds' worth (`number`)")
	flags.Var(number{&s.limits.Message.Message, 1 << 10, 64 << 20}, "max-message", "`bytes` of one message")
	flags.Var(number{&s.limits.Message.Batch, 1, 10_000}, "max-batch", "requests in one batch (`number`)")
	flags.Var(number{&s.setup.mostOpen, 1, 1 << 30}, "max-open-jobs", "jobs open at once, for each front end (`number`)")
	flags.Var(number{&s.setup.mostResident, 1, 1 << 20}, "max-resident-jobs", "jobs in memory at once; others are read back when asked for (`number`)")
	flags.Var(number{&s.setup.residentMiB, 1, 1 << 20}, "max-resident-memory", "about how much all jobs in memory may take; the process takes two to three times that (`MiB`)")
	flags.BoolVar(&s.watchRules, "watch-rules", true, "take up the files of the --rules folders when they change, if they are sound; false = only when rules.reload is called")
	flags.BoolVar(&s.setup.experience, "experience", false, "have the proven repairs of closed jobs sharpen the priors; coilside rules experience shows how")
	flags.BoolVar(&s.printConfig, "print-config", false, "print the settings in force, and where each came from, and end")
}

// usageError is a setting that cannot be meant.
type usageError struct{ message string }

func (e *usageError) Error() string { return e.message }

// readTokens gives the tokens that the service takes; none = it asks for none. The file
// with the one token is read as given.
func (s *serveOptions) readTokens(file func(path string) (transport.Token, error)) (transport.Tokens, error) {
	var tokens transport.Tokens
	if s.tokenFile != "" {
		token, err := file(s.tokenFile)
		if err != nil {
			return nil, err
		}
		tokens = append(tokens, token)
	}
	if s.tokens == "" {
		return tokens, nil
	}
	more, err := transport.ReadTokens(s.tokens)
	return append(tokens, more...), err
}

// readTLS gives what HTTPS needs; nil = plain HTTP.
func (s *serveOptions) readTLS(log zerolog.Logger) (*tls.Config, error) {
	switch {
	case s.cert == "" && s.key == "":
		return nil, nil
	case s.cert == "" || s.key == "":
		return nil, &usageError{"--tls-cert and --tls-key go together"}
	}
	return transport.TLS(s.cert, s.key, log)
}

// options opens the listeners and reads the files that the service stands on.
func (s *serveOptions) options(log zerolog.Logger) (o transport.Options, err error) {
	o = transport.Options{Log: log, Hosts: s.hosts, Limits: s.limits}
	defer func() {
		if err != nil {
			closeAll(o.Listener, o.Metrics)
		}
	}()
	if o.Tokens, err = s.readTokens(transport.EnsureTokenFile); err != nil {
		return o, err
	}
	if o.TLS, err = s.readTLS(log); err != nil {
		return o, err
	}
	if o.Listener, err = transport.Listen(s.listen, len(o.Tokens) > 0); err != nil {
		return o, err
	}
	if s.metrics != "" {
		if o.Metrics, err = transport.Listen(s.metrics, len(o.Tokens) > 0); err != nil {
			return o, err
		}
	}
	if o.TLS == nil && !transport.IsLoopback(o.Listener.Addr()) {
		log.Warn().Msg("other machines reach the service without TLS: whoever listens on the network can read the tokens; give --tls-cert and --tls-key")
	}
	return o, nil
}

func closeAll(listeners ...net.Listener) {
	for _, l := range listeners {
		if l != nil {
			_ = l.Close()
		}
	}
}

// isUsage reports whether an error is one of how the program was called.
func isUsage(err error) bool {
	_, address := errors.AsType[*transport.AddressError](err)
	_, usage := errors.AsType[*usageError](err)
	return address || usage
}

// complain says what went wrong and gives the exit code.
func complain(stderr interface{ Write([]byte) (int, error) }, command string, err error) int {
	fmt.Fprintf(stderr, "coilside %s: %v\n", command, err)
	if isUsage(err) {
		return exitUsage
	}
	return exitWrong
}
