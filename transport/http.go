package transport

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"

	"coilside/transport/jsonrpc"
)

// serveRPC answers one message over HTTP. Errors of JSON-RPC are answers like
// any other, so they come with status 200; nothing to answer is 204.
func (s *Server) serveRPC(w http.ResponseWriter, r *http.Request) {
	// Other types can be sent by a foreign page without asking first.
	if !isJSON(r.Header.Get("Content-Type")) {
		refuse(w, http.StatusUnsupportedMediaType, "Send the request as application/json.")
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, int64(s.table.Limits.Message)))
	if _, long := errors.AsType[*http.MaxBytesError](err); long {
		writeJSON(w, http.StatusRequestEntityTooLarge, jsonrpc.Refusal(jsonrpc.TooLong(s.table.Limits.Message)))
		return
	}
	if err != nil {
		refuse(w, http.StatusBadRequest, "The request broke off before its end.")
		return
	}
	out := s.answer(r.Context(), body)
	if out == nil {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	writeJSON(w, http.StatusOK, out)
}

func isJSON(contentType string) bool {
	kind, params, err := mime.ParseMediaType(contentType)
	charset, given := params["charset"]
	return err == nil && kind == "application/json" && (!given || strings.EqualFold(charset, "utf-8"))
}
