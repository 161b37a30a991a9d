// Package websocket carries messages over WebSocket connections: one reader and
// one writer a connection, one message a frame, bounded queues, and an end to
// connections whose other side is gone. It knows nothing of what messages mean.
package websocket

import (
	"context"
	"errors"
	"net/http"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// Options bounds a connection. Every field must be > 0.
type Options struct {
	ReadLimit   int64         // bytes of one message from the other side
	Queue       int           // answers waiting to be written before reading pauses
	MessageWait time.Duration // for one message to arrive whole, once it has begun
	WriteWait   time.Duration // for one frame to leave
	PingEvery   time.Duration // less than PongWait
	PongWait    time.Duration // of silence before the other side counts as gone
	StopWait    time.Duration // for the message being answered when the service stops
}

// DefaultOptions fits clients on the same machine.
var DefaultOptions = Options{ReadLimit: 1 << 20, Queue: 16, MessageWait: 30 * time.Second, WriteWait: 10 * time.Second,
	PingEvery: 20 * time.Second, PongWait: 60 * time.Second, StopWait: 10 * time.Second}

// Conn is one open connection.
type Conn struct {
	ws       *websocket.Conn
	raw      *rationed // what ws reads from
	opt      Options
	answers  chan []byte
	done     chan struct{} // closed when either side of Run ends
	finish   func()
	stopping chan struct{} // closed when no more messages are taken
	parting  chan *Refusal // why the reader wants the connection to end
	ending   chan struct{} // closed when somebody else does, for the reason in why
	endOnce  sync.Once
	why      *Refusal

	within bool // the reader is inside a message: pongs do not give it more time
	refuse *Refusal

	mu      sync.Mutex
	pending map[string][]byte // newest state message by key, not yet written
	order   []string          // keys of pending, oldest first
	wake    chan struct{}
	after   []func()
	release []func()
}

// Accept upgrades a request. On failure it has answered the request already.
// Whether the request's Host and Origin are ours is for the caller to check.
func Accept(w http.ResponseWriter, r *http.Request, opt Options) (*Conn, error) {
	// With a buffer of its own it reads from the connection it is handed.
	up := websocket.Upgrader{HandshakeTimeout: opt.WriteWait, ReadBufferSize: 4 << 10,
		// The caller knows under which names and schemes it is reached.
		CheckOrigin: func(r *http.Request) bool { return true }}
	hijack := &hijacker{ResponseWriter: w, limit: opt.ReadLimit}
	ws, err := up.Upgrade(hijack, r, nil)
	if err != nil {
		return nil, err
	}
	c := &Conn{ws: ws, raw: hijack.conn, opt: opt, answers: make(chan []byte, opt.Queue), done: make(chan struct{}),
		stopping: make(chan struct{}), parting: make(chan *Refusal, 1), ending: make(chan struct{}), pending: map[string][]byte{}, wake: make(chan struct{}, 1)}
	c.finish = sync.OnceFunc(func() { close(c.done) })
	return c, nil
}

// Run reads messages and writes what answer makes of them, one after the other,
// until the other side leaves or ctx ends. A nil answer is not sent. The error
// is nil for an orderly end.
func (c *Conn) Run(ctx context.Context, answer func(context.Context, []byte) []byte) error {
	var writing sync.WaitGroup
	var writeErr error
	writing.Go(func() { writeErr = c.write(ctx) })
	readErr := c.read(ctx, answer)
	c.finish()
	writing.Wait()
	c.mu.Lock()
	release := c.release
	c.mu.Unlock()
	for _, f := range release {
		f()
	}
	return errors.Join(readErr, writeErr)
}

// Done is closed when the connection ends.
func (c *Conn) Done() <-chan struct{} { return c.done }

// Post sends a message that tells the newest state of key. It never waits: one
// that is still unsent is replaced by the next of the same key. Posts after the
// end are dropped. The caller bounds the number of keys.
func (c *Conn) Post(key string, msg []byte) {
	c.mu.Lock()
	if _, waiting := c.pending[key]; !waiting {
		c.order = append(c.order, key)
	}
	c.pending[key] = msg
	c.mu.Unlock()
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// AfterAnswer has f called once the answer to the message being handled is
// queued, so that what f posts follows it. To be called by answer only.
func (c *Conn) AfterAnswer(f func()) { c.after = append(c.after, f) }

// OnEnd has f called when the connection has ended.
func (c *Conn) OnEnd(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.release = append(c.release, f)
}

// Refuse ends the connection once the message being handled is, for a reason of
// RFC 6455, section 7.4. To be called by answer only.
func (c *Conn) Refuse(code int, why string) { c.refuse = &Refusal{code, why} }

// End ends the connection from outside: the message being handled is answered, no other is
// taken, and the other side is told why, by a reason of RFC 6455, section 7.4. It does not wait.
func (c *Conn) End(code int, why string) {
	c.endOnce.Do(func() {
		c.why = &Refusal{code, why}
		close(c.ending)
	})
}

// write is the only one to write data frames. It closes the connection when it
// ends, which ends the reader too.
func (c *Conn) write(ctx context.Context) error {
	defer c.ws.Close()
	defer c.finish()
	ping := time.NewTicker(c.opt.PingEvery)
	defer ping.Stop()
	for {
		kind, msg := c.next(ctx, ping.C)
		if kind == 0 {
			break
		}
		if err := c.send(kind, msg); err != nil {
			return unlessOrderly(err)
		}
	}
	switch {
	case closed(c.ending):
		return c.farewell(c.why)
	case ctx.Err() != nil:
		return c.farewell(&Refusal{websocket.CloseGoingAway, "the service is stopping"})
	}
	return nil
}

func closed(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

func (c *Conn) send(kind int, msg []byte) error {
	if err := c.ws.SetWriteDeadline(time.Now().Add(c.opt.WriteWait)); err != nil {
		return err
	}
	return c.ws.WriteMessage(kind, msg)
}

// farewell takes no more messages, sends the answer to the one being handled and
// says goodbye.
func (c *Conn) farewell(why *Refusal) error {
	close(c.stopping)
	if err := c.ws.SetReadDeadline(time.Now()); err != nil {
		return unlessOrderly(err)
	}
	defer c.goodbye(why.Code, why.Why)
	patience := time.NewTimer(c.opt.StopWait)
	defer patience.Stop()
	for {
		select {
		case msg := <-c.answers:
			if err := c.send(websocket.TextMessage, msg); err != nil {
				return unlessOrderly(err)
			}
		case <-c.done: // the reader has ended; what it left is in answers
			if err := c.sendRest(); err != nil {
				return unlessOrderly(err)
			}
			return nil
		case <-patience.C:
			return errors.New("a message took too long to answer when the connection was to end")
		}
	}
}

// part says why the connection ends, after all answers, and lets the reader read on
// for a moment: a connection closed over unread data is reset, and the reason would
// be lost with it.
func (c *Conn) part(why *Refusal) {
	if c.sendRest() == nil {
		c.goodbye(why.Code, why.Why)
		<-c.done
	}
}

func (c *Conn) sendRest() error {
	for len(c.answers) > 0 {
		if err := c.send(websocket.TextMessage, <-c.answers); err != nil {
			return err
		}
	}
	return nil
}

// next waits for what to write: a due ping first, so that a busy connection is
// still watched over, then answers, then posts. Kind 0 is the end.
func (c *Conn) next(ctx context.Context, ping <-chan time.Time) (kind int, msg []byte) {
	for ctx.Err() == nil && !closed(c.ending) {
		select {
		case <-ping:
			return websocket.PingMessage, nil
		default:
		}
		select {
		case msg := <-c.answers:
			return websocket.TextMessage, msg
		default:
		}
		if msg := c.takePost(); msg != nil {
			return websocket.TextMessage, msg
		}
		select {
		case <-ping:
			return websocket.PingMessage, nil
		case msg := <-c.answers:
			return websocket.TextMessage, msg
		case <-c.wake:
		case why := <-c.parting:
			c.part(why)
			return 0, nil
		case <-c.done:
			return 0, nil
		case <-c.ending:
		case <-ctx.Done():
		}
	}
	return 0, nil
}

func (c *Conn) takePost() []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.order) == 0 {
		return nil
	}
	key := c.order[0]
	c.order = c.order[1:]
	msg := c.pending[key]
	delete(c.pending, key)
	return msg
}
