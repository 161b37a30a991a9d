// Package transport puts the session on the wire: HTTP, WebSocket and JSON-RPC
// for programs on the same machine. It translates and guards; there is no
// diagnosis here.
package transport

import (
	"context"
	"errors"
	stdlog "log"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"coilside/session"
	"coilside/transport/jsonrpc"

	"github.com/rs/zerolog"
)

// What the service takes at once. Beyond callsAtOnce calls wait a while, beyond
// maxSockets and maxWatches new ones are refused.
const (
	callsAtOnce = 16
	waitForTurn = 10 * time.Second
	maxSockets  = 64
	maxWatches  = 64 // a connection
)

// Server serves one session.Service at one address.
type Server struct {
	service  *session.Service
	listener net.Listener
	log      zerolog.Logger
	table    *jsonrpc.Table
	document []byte // the OpenRPC document
	turns    chan struct{}
	sockets  sync.WaitGroup
	open     atomic.Int32 // sockets
}

// New prepares a server; the listener comes from Listen.
func New(service *session.Service, listener net.Listener, log zerolog.Logger) *Server {
	s := &Server{service: service, listener: listener, log: log, turns: make(chan struct{}, callsAtOnce)}
	s.table = &jsonrpc.Table{Limits: jsonrpc.DefaultLimits, Translate: translate, Observe: observe}
	s.addMethods()
	s.document = describe(s.table.Methods(), s.URL())
	return s
}

// URL is where the server is reached: http://127.0.0.1:7285.
func (s *Server) URL() string { return "http://" + s.listener.Addr().String() }

// Serve answers until ctx ends, then finishes the calls under way, closes the
// connections and returns nil.
func (s *Server) Serve(ctx context.Context) error {
	server := &http.Server{
		Handler:           s.handler(ctx),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      90 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          stdlog.New(s.log, "", 0),
	}
	s.log.Info().Str("url", s.URL()).Msg("serving")
	defer func() { s.log.Info().Msg("stopped") }()
	stopped := make(chan error, 1)
	stopper, cancel := context.WithCancel(ctx)
	go func() {
		<-stopper.Done()
		grace, done := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
		defer done()
		stopped <- server.Shutdown(grace)
	}()
	err := server.Serve(s.listener)
	cancel()
	err = errors.Join(ignoreClosed(err), <-stopped)
	s.sockets.Wait()
	return err
}

func ignoreClosed(err error) error {
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// handler routes; stop ends the WebSocket connections, which a server's own
// shutdown leaves alone.
func (s *Server) handler(stop context.Context) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /rpc", s.serveRPC)
	mux.HandleFunc("GET /ws", func(w http.ResponseWriter, r *http.Request) { s.serveSocket(stop, w, r) })
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { writeJSON(w, http.StatusOK, []byte(`{"status":"ok"}`)) })
	mux.HandleFunc("GET /openrpc.json", func(w http.ResponseWriter, _ *http.Request) { writeJSON(w, http.StatusOK, s.document) })
	return logged(s.log, guard(hostsFor(s.listener.Addr()), mux))
}

func writeJSON(w http.ResponseWriter, status int, body []byte) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(body, '\n'))
}

// answer serves one message when it is its turn, nil if it wants no answer.
func (s *Server) answer(ctx context.Context, msg []byte) []byte {
	patience := time.NewTimer(waitForTurn)
	defer patience.Stop()
	select {
	case s.turns <- struct{}{}:
		defer func() { <-s.turns }()
		return s.table.Serve(ctx, msg)
	case <-ctx.Done():
	case <-patience.C:
	}
	return jsonrpc.Refusal(&jsonrpc.Error{Code: codeLimit, Message: "The service is busy; try again.", Data: errorData{Kind: "limit"}})
}
