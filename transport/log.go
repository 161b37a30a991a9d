package transport

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"net"
	"net/http"
	"time"

	"coilside/transport/jsonrpc"

	"github.com/rs/zerolog"
)

type requestKey struct{}

// requestID is the id that the log knows a request by, "" outside of one.
func requestID(ctx context.Context) string {
	id, _ := ctx.Value(requestKey{}).(string)
	return id
}

// named gives ctx a request id of its own and a logger that writes it.
func named(ctx context.Context, log zerolog.Logger) context.Context {
	id := rand.Text()[:12]
	log = log.With().Str("request", id).Logger()
	return log.WithContext(context.WithValue(ctx, requestKey{}, id))
}

// logged names every request, and writes a line when it is done.
func logged(log zerolog.Logger, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start := time.Now()
		ctx := named(r.Context(), log)
		w.Header().Set("X-Request-Id", requestID(ctx))
		seen := &statusWriter{ResponseWriter: w}
		next.ServeHTTP(seen, r.WithContext(ctx))
		zerolog.Ctx(ctx).Info().Str("method", r.Method).Str("path", r.URL.Path).
			Int("status", seen.status).Dur("ms", time.Since(start)).Msg("http")
	})
}

// observe writes a line for every JSON-RPC request: what, how long, how it ended.
func observe(ctx context.Context, c jsonrpc.Call) {
	line := zerolog.Ctx(ctx).Info().Str("call", c.Method).Dur("ms", c.Took)
	if c.Code != 0 {
		line = line.Int("code", c.Code)
	}
	if c.Notification {
		line = line.Bool("notification", true)
	}
	line.Msg("rpc")
}

// statusWriter remembers the status for the log.
type statusWriter struct {
	http.ResponseWriter
	status int
}

func (w *statusWriter) WriteHeader(status int) {
	w.status = status
	w.ResponseWriter.WriteHeader(status)
}

func (w *statusWriter) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	return w.ResponseWriter.Write(b)
}

// Hijack lets upgrades through.
func (w *statusWriter) Hijack() (net.Conn, *bufio.ReadWriter, error) {
	h, ok := w.ResponseWriter.(http.Hijacker)
	if !ok {
		return nil, nil, errors.New("this connection cannot be upgraded")
	}
	w.status = http.StatusSwitchingProtocols
	return h.Hijack()
}
