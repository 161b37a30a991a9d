package transport

import (
	"context"
	"net/http"

	"coilside/session"
	"coilside/transport/jsonrpc"
	"coilside/transport/websocket"

	"github.com/rs/zerolog"
)

// socket is one WebSocket connection and the jobs it watches. Its methods are
// called by the connection's reader only.
type socket struct {
	*websocket.Conn
	watches map[string]func() // how to stop each, by job
}

type socketKey struct{}

// serveSocket serves one connection until it ends or stop does. Calls under way
// when the service stops are finished.
func (s *Server) serveSocket(stop context.Context, w http.ResponseWriter, r *http.Request) {
	defer s.open.Add(-1)
	if s.open.Add(1) > maxSockets {
		refuse(w, http.StatusServiceUnavailable, "Too many connections are open.")
		return
	}
	s.sockets.Add(1)
	defer s.sockets.Done()
	options := websocket.DefaultOptions
	options.ReadLimit = 4 * int64(s.table.Limits.Message) // a little too long gets an answer that says so
	conn, err := websocket.Accept(w, r, options)
	if err != nil {
		return
	}
	sock := &socket{conn, map[string]func(){}}
	conn.OnEnd(sock.stopWatching)
	log := zerolog.Ctx(r.Context()).With().Str("connection", requestID(r.Context())).Logger()
	err = conn.Run(stop, func(ctx context.Context, msg []byte) []byte {
		ctx = context.WithValue(context.WithoutCancel(ctx), socketKey{}, sock)
		return s.answer(named(ctx, log), msg)
	})
	if err != nil {
		log.Warn().Err(err).Msg("connection broke")
	}
}

func (k *socket) stopWatching() {
	for _, stop := range k.watches {
		stop()
	}
}

// WatchRequest asks to be told of a job's changes.
type WatchRequest struct {
	Job  string `json:"job"`
	From *int   `json:"from,omitempty"` // the seq the caller has; told at once if the job is past it
}

// Watching is the answer to WatchRequest.
type Watching struct {
	Job string `json:"job"`
	Seq int    `json:"seq"` // the job's running number now
}

// watch starts a watch on the connection that asks. Watching a job again
// replaces the watch; it ends with the connection.
func (s *Server) watch(ctx context.Context, req WatchRequest) (Watching, error) {
	sock, ok := ctx.Value(socketKey{}).(*socket)
	if !ok {
		return Watching{}, &session.Error{Kind: kindWebSocketOnly, Message: "job.watch works over the WebSocket at /ws only."}
	}
	if sock.watches[req.Job] == nil && len(sock.watches) >= maxWatches {
		return Watching{}, &session.Error{Kind: session.Limit, Job: req.Job, Message: "One connection can watch up to 64 jobs."}
	}
	seq, changes, stop, err := s.service.Subscribe(ctx, req.Job, req.From)
	if err != nil {
		return Watching{}, err
	}
	if old := sock.watches[req.Job]; old != nil {
		old()
	}
	sock.watches[req.Job] = stop
	sock.AfterAnswer(func() { go pass(changes, sock.Conn) })
	return Watching{req.Job, seq}, nil
}

// pass tells a connection of a job's changes until the watch is stopped. The
// connection keeps the newest only, so a slow reader holds up nobody.
func pass(changes <-chan session.Change, conn *websocket.Conn) {
	for change := range changes {
		if msg, err := jsonrpc.Notification("job.changed", change); err == nil {
			conn.Post(change.Job, msg)
		}
	}
}
