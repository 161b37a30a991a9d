package transport

import (
	"context"
	"math"
	"net/http"
	"strconv"
	"sync"
	"time"

	"coilside/session"
	"coilside/transport/jsonrpc"

	"golang.org/x/time/rate"
)

// Limits is what the service takes. Every field must be > 0.
type Limits struct {
	Message     jsonrpc.Limits // of one message
	Connections int            // open at once; a sixteenth is kept for others than WebSockets
	Rate        int            // requests a second from one client, each of a batch counted; it may save up ten seconds' worth
	AtOnce      int            // messages served at once; more wait a while
	Outstanding int            // messages of one client, those that wait included
	Watches     int            // jobs that one connection watches

	Header, Body time.Duration // for a request's header, and for all of it, to arrive
	Turn         time.Duration // that a message waits until it is served
	Stop         time.Duration // for what is under way when the service stops
}

// DefaultLimits fits a shop: a few technicians, screens and programs.
var DefaultLimits = Limits{
	Message: jsonrpc.DefaultLimits, Connections: 4096, Rate: 200, AtOnce: 16, Outstanding: 64, Watches: 64,
	Header: 5 * time.Second, Body: 30 * time.Second, Turn: 10 * time.Second, Stop: 10 * time.Second,
}

// saved is how many seconds' worth of requests a quiet client may make at once.
const saved = 10

// rates counts what clients ask for.
type rates struct {
	mu sync.Mutex
	of map[string]*account
}

// account is one client's.
type account struct {
	rate        *rate.Limiter
	outstanding int
}

// mostAccounts is how many clients are kept in mind before quiet ones are forgotten.
const mostAccounts = 4096

// with does something to a client's account.
func (r *rates) with(key string, perSecond int, do func(*account)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	a := r.of[key]
	if a == nil {
		if len(r.of) >= mostAccounts {
			r.forgetQuiet()
		}
		a = &account{rate: rate.NewLimiter(rate.Limit(perSecond), saved*perSecond)}
		r.of[key] = a
	}
	do(a)
}

// forgetQuiet drops the accounts that a new one would equal.
func (r *rates) forgetQuiet() {
	for key, a := range r.of {
		if a.outstanding == 0 && a.rate.Tokens() >= float64(a.rate.Burst()) {
			delete(r.of, key)
		}
	}
}

// allow counts one request of a client; false where it makes too many.
func (s *Server) allow(c client) (ok bool) {
	s.rates.with(c.key, s.limits.Rate, func(a *account) { ok = a.rate.Allow() })
	return ok
}

// hasRoom reports whether a client may make a request now, without counting one.
func (s *Server) hasRoom(c client) (ok bool) {
	s.rates.with(c.key, s.limits.Rate, func(a *account) { ok = a.rate.Tokens() >= 1 })
	return ok
}

// begin counts a message of a client until end does; false where it has too many
// under way.
func (s *Server) begin(c client) (ok bool) {
	s.rates.with(c.key, s.limits.Rate, func(a *account) {
		if ok = a.outstanding < s.limits.Outstanding; ok {
			a.outstanding++
		}
	})
	return ok
}

func (s *Server) end(c client) {
	s.rates.with(c.key, s.limits.Rate, func(a *account) { a.outstanding-- })
}

// retryAfter is how long a client that made too many requests should wait.
const retryAfter = time.Second

func tooMany(why string) *jsonrpc.Error {
	return &jsonrpc.Error{Code: codeLimit, Message: why, Data: errorData{Kind: session.Limit, RetryMS: int(retryAfter.Milliseconds())}}
}

// admit is asked before each request, those of a batch one by one.
func (s *Server) admit(ctx context.Context) *jsonrpc.Error {
	sock, _ := ctx.Value(socketKey{}).(*socket)
	if s.allow(clientOf(ctx)) {
		if sock != nil {
			sock.refused = 0
		}
		return nil
	}
	s.metrics.refused.WithLabelValues("rate").Inc()
	if sock != nil {
		sock.tooFast(s.limits.Rate)
	}
	return tooMany("Too many requests in a short time; wait a second.")
}

// answer serves one message when it is its turn, nil if it wants no answer. A
// message refused as a whole comes back with its HTTP status, 0 for others.
func (s *Server) answer(ctx context.Context, msg []byte) (out []byte, status int) {
	c := clientOf(ctx)
	if !s.begin(c) {
		s.metrics.refused.WithLabelValues("outstanding").Inc()
		return jsonrpc.Refusal(tooMany("Too many calls are under way; wait for their answers.")), http.StatusTooManyRequests
	}
	defer s.end(c)
	patience := time.NewTimer(s.limits.Turn)
	defer patience.Stop()
	select {
	case s.turns <- struct{}{}:
		s.metrics.underWay.Inc()
		defer func() {
			s.metrics.underWay.Dec()
			<-s.turns
		}()
		return s.table.Serve(ctx, msg), 0
	case <-ctx.Done():
	case <-patience.C:
	}
	s.metrics.refused.WithLabelValues("busy").Inc()
	return jsonrpc.Refusal(tooMany("The service is busy; try again.")), http.StatusServiceUnavailable
}

// tooFast refuses a request over HTTP, before it is read.
func (s *Server) tooFast(w http.ResponseWriter) {
	setRetryAfter(w)
	s.turnAway(w, "rate", http.StatusTooManyRequests, "Too many requests in a short time; wait a second.")
}

func setRetryAfter(w http.ResponseWriter) {
	w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(retryAfter.Seconds()))))
}
