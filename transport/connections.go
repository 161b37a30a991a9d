package transport

import (
	"errors"
	"net"
	"sync"
	"time"
)

// bounded is a listener with a bound on the connections open at once. Those beyond
// it are told so, where that can be said, and closed.
type bounded struct {
	net.Listener
	most    int
	plain   bool // no TLS: words can be sent
	refused func()

	mu   sync.Mutex
	open int
}

const fullHouse = "HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nRetry-After: 1\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Length: 35\r\n\r\nToo many connections are open now.\n"

func (b *bounded) Accept() (net.Conn, error) {
	for {
		conn, err := b.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if b.enter() {
			return &counted{Conn: conn, leave: sync.OnceFunc(b.leave)}, nil
		}
		b.refused()
		if b.plain && conn.SetWriteDeadline(time.Now().Add(100*time.Millisecond)) == nil {
			_, _ = conn.Write([]byte(fullHouse))
		}
		_ = conn.Close()
	}
}

func (b *bounded) enter() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.open >= b.most {
		return false
	}
	b.open++
	return true
}

func (b *bounded) leave() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.open--
}

// counted is a connection that is counted until it is closed.
type counted struct {
	net.Conn
	leave func()
}

func (c *counted) Close() error {
	c.leave()
	return c.Conn.Close()
}

// CloseWrite lets the server end its side first, so that an answer to a request
// that is not read to its end still arrives.
func (c *counted) CloseWrite() error {
	half, ok := c.Conn.(interface{ CloseWrite() error })
	if !ok {
		return errors.ErrUnsupported
	}
	return half.CloseWrite()
}
