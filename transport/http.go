package transport

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"os"
	"strings"

	"coilside/transport/jsonrpc"
)

// serveRPC answers one message over HTTP. Errors of JSON-RPC are answers like
// any other, so they come with status 200; nothing to answer is 204. A message
// refused for what it costs, and not for what it says, has a status of its own.
func (s *Server) serveRPC(w http.ResponseWriter, r *http.Request) {
	// Other types can be sent by a foreign page without asking first.
	if !isJSON(r.Header.Get("Content-Type")) || r.Header.Get("Content-Encoding") != "" {
		s.turnAway(w, "type", http.StatusUnsupportedMediaType, "Send the request as application/json, as it is.")
		return
	}
	if !s.hasRoom(clientOf(r.Context())) {
		s.tooFast(w)
		return
	}
	body, ok := s.body(w, r)
	if !ok {
		return
	}
	out, status := s.answer(r.Context(), body)
	switch {
	case status != 0:
		setRetryAfter(w)
		writeJSON(w, status, out)
	case out == nil:
		w.WriteHeader(http.StatusNoContent)
	default:
		writeJSON(w, http.StatusOK, out)
	}
}

// body reads a message; where that can't be done it has refused the request.
func (s *Server) body(w http.ResponseWriter, r *http.Request) ([]byte, bool) {
	most := s.limits.Message.Message
	long := r.ContentLength > int64(most) // said to be: not a byte is read
	var body []byte
	var err error
	if !long {
		body, err = io.ReadAll(http.MaxBytesReader(w, r.Body, int64(most)))
		_, long = errors.AsType[*http.MaxBytesError](err)
	}
	switch {
	case long:
		s.metrics.refused.WithLabelValues("length").Inc()
		w.Header().Set("Connection", "close")
		writeJSON(w, http.StatusRequestEntityTooLarge, jsonrpc.Refusal(jsonrpc.TooLong(most)))
	case errors.Is(err, os.ErrDeadlineExceeded):
		w.Header().Set("Connection", "close")
		s.turnAway(w, "slow", http.StatusRequestTimeout, "The request came too slowly.")
	case err != nil:
		s.turnAway(w, "broken", http.StatusBadRequest, "The request broke off before its end.")
	default:
		return body, true
	}
	return nil, false
}

func isJSON(contentType string) bool {
	kind, params, err := mime.ParseMediaType(contentType)
	charset, given := params["charset"]
	return err == nil && kind == "application/json" && (!given || strings.EqualFold(charset, "utf-8"))
}

// serveReady says whether calls can be served: whoever routes them asks here.
func (s *Server) serveReady(w http.ResponseWriter, r *http.Request) {
	if s.stopping.Load() {
		writeJSON(w, http.StatusServiceUnavailable, []byte(`{"status":"stopping"}`))
		return
	}
	if s.ready != nil {
		if err := s.ready(r.Context()); err != nil {
			logOf(r).Error().Err(err).Msg("not ready")
			writeJSON(w, http.StatusServiceUnavailable, []byte(`{"status":"not ready"}`))
			return
		}
	}
	writeJSON(w, http.StatusOK, []byte(`{"status":"ready"}`))
}
