package transport

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilside/transport/jsonrpc"
	"coilside/transport/page"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
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

// logOf is the logger of a request.
func logOf(r *http.Request) *zerolog.Logger { return zerolog.Ctx(r.Context()) }

// paths are those that are written to the log and counted by name. Any other may
// hold something that should not be there, such as a token.
var paths = []string{"/rpc", "/ws", "/healthz", "/readyz", "/openrpc.json", "/link", "/"}

func pathName(path string) string {
	switch {
	case slices.Contains(paths, path):
		return path
	case strings.HasPrefix(path, page.Path):
		return page.Path
	case strings.HasPrefix(path, enterPath):
		return enterPath
	}
	return nobody
}

// logged names every request, and counts it and writes a line when it is done.
func (s *Server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start := time.Now()
		ctx := named(r.Context(), s.log)
		w.Header().Set("X-Request-Id", requestID(ctx))
		seen := &statusWriter{ResponseWriter: w}
		next.ServeHTTP(seen, r.WithContext(ctx))
		path := pathName(r.URL.Path)
		s.metrics.requests.WithLabelValues(path, strconv.Itoa(seen.status)).Inc()
		zerolog.Ctx(ctx).Info().Str("method", verb(r.Method)).Str("path", path).Str("from", network(r.RemoteAddr)).
			Int("status", seen.status).Dur("ms", time.Since(start)).Msg("http")
	})
}

// verb is a request's method; clients may send anything of any length there.
func verb(method string) string {
	if len(method) > 20 {
		return nobody
	}
	return method
}

// logCall writes a line for a JSON-RPC request: what, on which job, how long, how
// it ended.
func logCall(ctx context.Context, c jsonrpc.Call) {
	line := zerolog.Ctx(ctx).Info().Str("call", short(c.Method)).Dur("ms", c.Took)
	if job := jobOf(c.Params); job != "" {
		line = line.Str("job", job)
	}
	if c.Code != 0 {
		line = line.Int("code", c.Code)
	}
	if c.Notification {
		line = line.Bool("notification", true)
	}
	line.Msg("rpc")
}

// short keeps what clients made up from filling the log.
func short(text string) string {
	if len(text) > 64 {
		return text[:61] + "..."
	}
	return text
}

// jobOf finds the job that a call is about.
func jobOf(params jsontext.Value) string {
	var about struct {
		Job string `json:"job"`
	}
	if params.Kind() != '{' || json.Unmarshal(params, &about, jsontext.AllowDuplicateNames(true)) != nil {
		return ""
	}
	return short(about.Job)
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
