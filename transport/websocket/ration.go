package websocket

import (
	"bufio"
	"errors"
	"net"
	"net/http"
	"time"
)

// Frames may be empty: a message of a million of them stays under any limit on its
// length, and pings cost an answer each. So what a connection may send beside the
// content of its messages is rationed.
const (
	spareBytes  = 64 << 10 // a message, for the headers of its frames and for pings
	spareRefill = 256      // a second
)

var errFlood = errors.New("more frames than content")

// rationed is a connection whose reader has a ration of bytes a message. Reading
// is for one goroutine.
type rationed struct {
	net.Conn
	most, left int64
	since      time.Time
}

func (r *rationed) Read(p []byte) (int, error) {
	now := time.Now()
	if more := int64(now.Sub(r.since).Seconds() * spareRefill); more > 0 {
		r.left, r.since = min(r.most, r.left+more), now
	}
	if r.left <= 0 {
		return 0, errFlood
	}
	n, err := r.Conn.Read(p[:min(int64(len(p)), r.left)])
	r.left -= int64(n)
	return n, err
}

// renew gives a full ration, for the next message.
func (r *rationed) renew() { r.left = r.most }

// hijacker hands an upgrade a rationed connection.
type hijacker struct {
	http.ResponseWriter
	limit int64
	conn  *rationed
}

func (h *hijacker) Hijack() (net.Conn, *bufio.ReadWriter, error) {
	conn, rw, err := http.NewResponseController(h.ResponseWriter).Hijack()
	if err != nil {
		return nil, nil, err
	}
	most := h.limit + spareBytes
	h.conn = &rationed{Conn: conn, most: most, left: most, since: time.Now()}
	return h.conn, rw, nil
}
