package transport

import (
	"context"
	"time"

	"coilside/session"
	"coilside/transport/jsonrpc"
)

// Progress tells how far a long call is.
type Progress struct {
	Method string `json:"method"`
	What   string `json:"what"` // what is counted: jobs, cases
	Done   int    `json:"done"`
	Of     int    `json:"of"`
}

// progressEvery is how often a connection is told how far a call is, the first time after as long.
var progressEvery = 500 * time.Millisecond

// impact is rules.impact; it takes long where many jobs are closed, so a WebSocket is told
// how far it is.
func (s *Server) impact(ctx context.Context, r session.ImpactRequest) (session.Impact, error) {
	return s.service.RulesImpact(ctx, r, progressTo(ctx, "rules.impact"))
}

// progressTo tells the connection that a call came over; nil where it was no WebSocket.
func progressTo(ctx context.Context, method string) func(what string, done, most int) {
	sock, ok := ctx.Value(socketKey{}).(*socket)
	if !ok {
		return nil
	}
	last := time.Now()
	return func(what string, done, most int) {
		if time.Since(last) < progressEvery || done == most {
			return
		}
		last = time.Now()
		if msg, err := jsonrpc.Notification("rules.progress", Progress{method, what, done, most}); err == nil {
			sock.Post("progress "+method, msg)
		}
	}
}
