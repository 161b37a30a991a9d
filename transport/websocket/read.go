package websocket

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"time"
	"unicode/utf8"

	"github.com/gorilla/websocket"
)

// Refusal is why a connection was ended from this side.
type Refusal struct {
	Code int // of RFC 6455, section 7.4
	Why  string
}

func (r *Refusal) Error() string { return fmt.Sprintf("connection refused, %d: %s", r.Code, r.Why) }

func (c *Conn) read(ctx context.Context, answer func(context.Context, []byte) []byte) error {
	c.ws.SetReadLimit(c.opt.ReadLimit)
	c.ws.SetPongHandler(func(string) error { return c.stillThere() })
	for !c.stopped() {
		msg, err := c.message()
		if refusal := asRefusal(err, c.within); refusal != nil {
			c.turnAway(refusal)
			return refusal
		}
		if err != nil {
			return c.unlessStopping(unlessOrderly(err))
		}
		c.after, c.refuse = nil, nil
		if out := answer(ctx, msg); out != nil {
			select {
			case c.answers <- out:
			case <-c.done:
				return nil
			}
		}
		for _, f := range c.after {
			f()
		}
		if c.refuse != nil {
			c.turnAway(c.refuse)
			return c.refuse
		}
	}
	return nil
}

// stopped reports whether no more messages are taken, such as one that came before and
// lies in a buffer still.
func (c *Conn) stopped() bool { return closed(c.stopping) }

// message waits for one whole message. A message that has begun has MessageWait to
// end; between messages the other side has PongWait to show that it is there.
func (c *Conn) message() ([]byte, error) {
	// A long answer may have used up the deadline while pongs lay unread.
	c.within = false
	if err := c.stillThere(); err != nil {
		return nil, err
	}
	kind, r, err := c.ws.NextReader()
	if err != nil {
		return nil, err
	}
	if kind != websocket.TextMessage {
		return nil, &Refusal{websocket.CloseUnsupportedData, "messages are text"}
	}
	c.within = true
	if err := c.deadline(c.opt.MessageWait); err != nil {
		return nil, err
	}
	msg, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	c.within = false
	c.raw.renew()
	if !utf8.Valid(msg) {
		return nil, &Refusal{websocket.CloseInvalidFramePayloadData, "messages are UTF-8"}
	}
	return msg, nil
}

// stillThere gives the other side more time, between messages.
func (c *Conn) stillThere() error {
	if c.within {
		return nil
	}
	return c.deadline(c.opt.PongWait)
}

func (c *Conn) deadline(wait time.Duration) error {
	if err := c.ws.SetReadDeadline(time.Now().Add(wait)); err != nil {
		return err
	}
	select {
	case <-c.done: // the writer has given up; do not wait for the other side
	case <-c.stopping:
	default:
		return nil
	}
	return c.ws.SetReadDeadline(time.Now())
}

// asRefusal is what to tell the other side of an error, nil where there is nothing.
func asRefusal(err error, within bool) *Refusal {
	if refusal, ok := errors.AsType[*Refusal](err); ok {
		return refusal
	}
	switch {
	case errors.Is(err, websocket.ErrReadLimit):
		return &Refusal{websocket.CloseMessageTooBig, "the message is too long"}
	case errors.Is(err, errFlood):
		return &Refusal{websocket.ClosePolicyViolation, "too many frames for what they carry"}
	case within && timedOut(err):
		return &Refusal{websocket.ClosePolicyViolation, "the message came too slowly"}
	}
	return nil
}

func timedOut(err error) bool {
	e, ok := errors.AsType[net.Error](err)
	return ok && e.Timeout()
}

// partingWait is how long a connection that is ended is read on.
const partingWait = time.Second / 2

// turnAway has the writer say why the connection ends, and reads on until then.
func (c *Conn) turnAway(why *Refusal) {
	c.parting <- why
	if err := c.raw.SetReadDeadline(time.Now().Add(partingWait)); err == nil {
		_, _ = io.CopyN(io.Discard, c.raw.Conn, 4*c.opt.ReadLimit)
	}
}

// goodbye says why the connection ends; whether it arrives does not matter.
func (c *Conn) goodbye(code int, why string) {
	_ = c.ws.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(code, why), time.Now().Add(time.Second))
}

// unlessStopping drops the error of a wait that was cut short to stop.
func (c *Conn) unlessStopping(err error) error {
	if c.stopped() && timedOut(err) {
		return nil
	}
	return err
}

// unlessOrderly drops the errors that the ends of good connections look like.
func unlessOrderly(err error) error {
	if websocket.IsCloseError(err, websocket.CloseNormalClosure, websocket.CloseGoingAway, websocket.CloseNoStatusReceived) ||
		errors.Is(err, websocket.ErrCloseSent) || errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}
