package transport

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"coilside/session"
	"coilside/transport/jsonrpc"
	"coilside/transport/websocket"
)

// socket is one WebSocket connection and the jobs it watches. Its methods are
// called by the connection's reader only.
type socket struct {
	*websocket.Conn
	watches map[string]func() // how to stop each, by job
	refused int               // requests refused since one was taken, as they came too fast
	server  *Server
}

// tooFast counts a refused request. A connection that pays no heed is ended.
func (k *socket) tooFast(most int) {
	if k.refused++; k.refused > most {
		k.Refuse(policyViolation, "too many requests")
	}
}

// policyViolation is the close code of RFC 6455, section 7.4.1.
const policyViolation = 1008

type socketKey struct{}

// serveSocket serves one connection until it ends or stop does. Calls under way
// when the service stops are finished.
func (s *Server) serveSocket(stop context.Context, w http.ResponseWriter, r *http.Request) {
	defer s.open.Add(-1)
	if int(s.open.Add(1)) > s.limits.Connections-s.limits.Connections/16 {
		setRetryAfter(w)
		s.turnAway(w, "connections", http.StatusServiceUnavailable, "Too many connections are open.")
		return
	}
	s.metrics.sockets.Inc()
	defer s.metrics.sockets.Dec()
	s.sockets.Add(1)
	defer s.sockets.Done()
	options := websocket.DefaultOptions
	options.ReadLimit = 4 * int64(s.limits.Message.Message) // a little too long gets an answer that says so
	options.MessageWait, options.StopWait = s.limits.Body, s.limits.Stop
	conn, err := websocket.Accept(w, r, options)
	if err != nil {
		return
	}
	sock := &socket{Conn: conn, watches: map[string]func(){}, server: s}
	conn.OnEnd(sock.stopWatching)
	log := s.log.With().Str("connection", requestID(r.Context())).Logger()
	who := clientOf(r.Context())
	if who.token != nil {
		s.live.add(sock, *who.token)
		defer s.live.drop(sock)
		if !s.tokens.Load().has(*who.token) { // it was withdrawn since the request came
			sock.withdraw()
		}
	}
	err = conn.Run(stop, func(ctx context.Context, msg []byte) []byte {
		ctx = named(context.WithValue(context.WithoutCancel(ctx), socketKey{}, sock), log)
		ctx = session.WithProgress(ctx, sock.progress(time.Now()))
		out, _ := s.answer(withClient(ctx, who), msg)
		return out
	})
	if err != nil {
		log.Warn().Err(err).Msg("connection broke")
	}
}

// progress tells how far a call that began at start is, by call.progress notifications,
// once it takes long; what was not sent yet is replaced by what is newer.
func (k *socket) progress(start time.Time) func(session.Progress) {
	next := start.Add(progressEvery)
	return func(p session.Progress) {
		now := time.Now()
		if now.Before(next) {
			return
		}
		next = now.Add(progressEvery)
		if msg, err := jsonrpc.Notification("call.progress", p); err == nil {
			k.Post("progress of "+p.Job, msg)
		}
	}
}

func (k *socket) stopWatching() {
	for _, stop := range k.watches {
		stop()
		k.server.metrics.watches.Dec()
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
	if sock.watches[req.Job] == nil && len(sock.watches) >= s.limits.Watches {
		return Watching{}, &session.Error{Kind: session.Limit, Job: req.Job, Message: fmt.Sprintf("One connection can watch up to %d jobs.", s.limits.Watches)}
	}
	seq, changes, stop, err := s.service.Subscribe(ctx, req.Job, req.From)
	if err != nil {
		return Watching{}, err
	}
	if old := sock.watches[req.Job]; old != nil {
		old()
	} else {
		s.metrics.watches.Inc()
	}
	sock.watches[req.Job] = stop
	sock.AfterAnswer(func() { go tell(changes, sock.Conn) })
	return Watching{req.Job, seq}, nil
}

// tell tells a connection of a job's changes until the watch is stopped. The
// connection keeps the newest only, so a slow reader holds up nobody.
func tell(changes <-chan session.Change, conn *websocket.Conn) {
	for change := range changes {
		if msg, err := jsonrpc.Notification("job.changed", change); err == nil {
			conn.Post(change.Job, msg)
		}
	}
}
