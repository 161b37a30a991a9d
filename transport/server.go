// Package transport puts the session on the wire: HTTP, WebSocket and JSON-RPC
// for programs on the same machine and, behind a token, beyond it. It translates
// and guards; there is no diagnosis here.
package transport

import (
	"context"
	"crypto/tls"
	"errors"
	stdlog "log"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"sync/atomic"
	"time"

	"coilside/session"
	"coilside/transport/jsonrpc"
	"coilside/transport/page"

	"github.com/rs/zerolog"
)

// Options is what a Server stands on.
type Options struct {
	Service  *session.Service
	Listener net.Listener // from Listen
	Metrics  net.Listener // where figures are served for Prometheus; nil = nowhere
	Log      zerolog.Logger
	Tokens   Tokens                      // none = everyone who reaches the listener may use the service
	TLS      *tls.Config                 // from TLS; nil = plain HTTP
	Hosts    []string                    // further names the service is reached by, without port
	Limits   Limits                      // the zero value is DefaultLimits
	Ready    func(context.Context) error // why jobs cannot be stored now; nil = they always can
}

// Server serves one session.Service at one address.
type Server struct {
	service  *session.Service
	listener net.Listener
	figures  net.Listener
	log      zerolog.Logger
	tokens   atomic.Pointer[Tokens]
	tls      *tls.Config
	hosts    []string
	limits   Limits
	ready    func(context.Context) error

	table    *jsonrpc.Table
	document []byte // the OpenRPC document
	metrics  *metrics
	passes   *passes
	rates    rates
	turns    chan struct{}
	stopping atomic.Bool
	sockets  sync.WaitGroup
	open     atomic.Int32 // sockets
	live     live
}

// New prepares a server.
func New(o Options) *Server {
	if o.Limits == (Limits{}) {
		o.Limits = DefaultLimits
	}
	s := &Server{
		service: o.Service, listener: o.Listener, figures: o.Metrics, log: o.Log, tls: o.TLS, hosts: o.Hosts,
		limits: o.Limits, ready: o.Ready, metrics: newMetrics(), passes: newPasses(),
		rates: rates{of: map[string]*account{}}, turns: make(chan struct{}, o.Limits.AtOnce),
	}
	s.tokens.Store(&o.Tokens)
	s.table = &jsonrpc.Table{Limits: o.Limits.Message, Translate: translate, Admit: s.admit, Observe: s.observe}
	s.addMethods()
	s.document = describe(s.table.Methods(), s.URL())
	return s
}

func (s *Server) scheme() string {
	if s.tls != nil {
		return "https"
	}
	return "http"
}

// URL is where the server is reached, such as http://127.0.0.1:7285: by the first of
// its names where it has any and a certificate that may be for that, else by address.
func (s *Server) URL() string {
	if s.tls != nil && len(s.hosts) > 0 {
		_, port, _ := net.SplitHostPort(s.listener.Addr().String())
		return s.scheme() + "://" + net.JoinHostPort(s.hosts[0], port)
	}
	return s.LocalURL()
}

// LocalURL is where this machine reaches the server.
func (s *Server) LocalURL() string {
	to, err := netip.ParseAddrPort(s.listener.Addr().String())
	if err == nil && to.Addr().Unmap().IsUnspecified() {
		local := netip.IPv6Loopback()
		if to.Addr().Is4() || to.Addr().Is4In6() {
			local = netip.AddrFrom4([4]byte{127, 0, 0, 1})
		}
		to = netip.AddrPortFrom(local, to.Port())
	}
	if err != nil {
		return s.scheme() + "://" + s.listener.Addr().String()
	}
	return s.scheme() + "://" + to.String()
}

// Serve answers until ctx ends, then finishes the calls under way, closes the
// connections and returns nil.
func (s *Server) Serve(ctx context.Context) error {
	s.log.Info().Str("url", s.URL()).Bool("tokens", s.asksForToken()).Bool("tls", s.tls != nil).Msg("serving")
	defer func() { s.log.Info().Msg("stopped") }()
	stopper, cancel := context.WithCancel(ctx)
	defer cancel()
	context.AfterFunc(stopper, func() { s.stopping.Store(true) })
	var errs [2]error
	var serving sync.WaitGroup
	serve := func(i int, l net.Listener, tls *tls.Config, h http.Handler) {
		serving.Go(func() {
			defer cancel() // one that fails ends the other
			errs[i] = s.serveOn(stopper, l, tls, h)
		})
	}
	serve(0, s.listener, s.tls, s.handler(stopper))
	if s.figures != nil {
		var secure *tls.Config
		if !IsLoopback(s.figures.Addr()) {
			secure = s.tls
		}
		serve(1, s.figures, secure, s.figuresHandler(secure))
	}
	serving.Wait()
	s.sockets.Wait()
	return errors.Join(errs[:]...)
}

// serveOn answers at one listener until ctx ends.
func (s *Server) serveOn(ctx context.Context, l net.Listener, secure *tls.Config, h http.Handler) error {
	protocols := new(http.Protocols)
	protocols.SetHTTP1(true)
	server := &http.Server{
		Handler:           h,
		TLSConfig:         secure,
		Protocols:         protocols,
		ReadHeaderTimeout: s.limits.Header,
		ReadTimeout:       s.limits.Body,
		WriteTimeout:      s.limits.Body + s.limits.Turn + time.Minute,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          stdlog.New(s.log, "", 0),
	}
	stopped := make(chan error, 1)
	stopper, cancel := context.WithCancel(ctx)
	go func() {
		<-stopper.Done()
		grace, done := context.WithTimeout(context.WithoutCancel(ctx), s.limits.Stop)
		defer done()
		stopped <- server.Shutdown(grace)
	}()
	few := &bounded{Listener: l, most: s.limits.Connections, plain: secure == nil,
		refused: func() { s.metrics.refused.WithLabelValues("connections").Inc() }}
	var err error
	if secure != nil {
		err = server.ServeTLS(few, "", "")
	} else {
		err = server.Serve(few)
	}
	cancel()
	return errors.Join(ignoreClosed(err), <-stopped)
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
	mux.HandleFunc("GET /readyz", s.serveReady)
	mux.HandleFunc("GET /openrpc.json", func(w http.ResponseWriter, _ *http.Request) { writeJSON(w, http.StatusOK, s.document) })
	screen := page.Handler()
	mux.Handle("GET /{$}", screen)
	mux.Handle("GET "+page.Path, screen)
	mux.HandleFunc("POST /link", s.serveLink)
	mux.HandleFunc("GET "+enterPath+"{secret}", s.serveEnter)
	return s.logged(s.guard(namesFor(s.listener.Addr(), s.scheme(), s.hosts), s.known(mux)))
}

// figuresHandler serves the metrics to this machine; at any other address it asks
// for a token as the service does.
func (s *Server) figuresHandler(secure *tls.Config) http.Handler {
	scheme := "http"
	if secure != nil {
		scheme = "https"
	}
	h := s.metricsHandler()
	if !IsLoopback(s.figures.Addr()) {
		h = s.known(h)
	}
	return s.guard(namesFor(s.figures.Addr(), scheme, s.hosts), h)
}

func writeJSON(w http.ResponseWriter, status int, body []byte) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(body, '\n'))
}
