package websocket

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// side is the service's side of a test connection.
type side struct {
	conn chan *Conn
	end  chan error
	stop context.CancelFunc
}

func start(t *testing.T, opt Options, answer func(*Conn, []byte) []byte) (*side, string) {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	s := &side{make(chan *Conn, 1), make(chan error, 1), stop}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c, err := Accept(w, r, opt)
		if err != nil {
			return
		}
		s.conn <- c
		s.end <- c.Run(ctx, func(_ context.Context, m []byte) []byte { return answer(c, m) })
	}))
	t.Cleanup(server.Close)
	t.Cleanup(stop)
	return s, "ws" + strings.TrimPrefix(server.URL, "http")
}

func dial(t *testing.T, url string) *websocket.Conn {
	t.Helper()
	ws, resp, err := websocket.DefaultDialer.Dial(url, nil)
	require.NoError(t, err)
	_ = resp.Body.Close()
	t.Cleanup(func() { _ = ws.Close() })
	require.NoError(t, ws.SetReadDeadline(time.Now().Add(time.Minute)))
	return ws
}

func echo(_ *Conn, m []byte) []byte {
	if string(m) == "quiet" {
		return nil
	}
	return m
}

func ended(t *testing.T, s *side) error {
	t.Helper()
	select {
	case err := <-s.end:
		return err
	case <-time.After(time.Minute):
		require.Fail(t, "the connection did not end")
		return nil
	}
}

func TestOneMessageOneFrameInOrder(t *testing.T) {
	s, url := start(t, DefaultOptions, echo)
	ws := dial(t, url)
	for i := range 50 {
		require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte("quiet")))
		require.NoError(t, ws.WriteMessage(websocket.TextMessage, fmt.Appendf(nil, "m%d", i)))
	}
	for i := range 50 {
		kind, msg, err := ws.ReadMessage()
		require.NoError(t, err)
		assert.Equal(t, websocket.TextMessage, kind)
		assert.Equal(t, fmt.Sprintf("m%d", i), string(msg))
	}
	require.NoError(t, ws.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseNormalClosure, ""), time.Now().Add(time.Second)))
	assert.NoError(t, ended(t, s))
}

func TestWhatFollowsAnAnswerComesAfterIt(t *testing.T) {
	_, url := start(t, DefaultOptions, func(c *Conn, m []byte) []byte {
		c.AfterAnswer(func() { c.Post("k", []byte("post")) })
		return m
	})
	ws := dial(t, url)
	for range 20 {
		require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte("answer")))
		for _, want := range []string{"answer", "post"} {
			_, msg, err := ws.ReadMessage()
			require.NoError(t, err)
			assert.Equal(t, want, string(msg))
		}
	}
}

func TestPostsNeverWaitAndKeepTheNewest(t *testing.T) {
	s, url := start(t, DefaultOptions, echo)
	ws := dial(t, url)
	c := <-s.conn
	const posts = 40 // of 1 MB: no socket buffer holds that, so waiting posts would end the connection
	big := bytes.Repeat([]byte("."), 1<<20)
	for i := range posts {
		c.Post(fmt.Sprint("job", i%2), append(fmt.Appendf(nil, "%d", i), big...))
	}
	seen := map[string]bool{}
	for !seen["38"] || !seen["39"] {
		_, msg, err := ws.ReadMessage()
		require.NoError(t, err)
		seen[string(bytes.TrimRight(msg, "."))] = true
	}
	assert.Less(t, len(seen), posts/2, "most were replaced while the reader was away")
}

func TestAnOtherSideThatDoesNotReadIsLeft(t *testing.T) {
	opt := DefaultOptions
	opt.WriteWait = 200 * time.Millisecond
	big := []byte(strings.Repeat(".", 1<<20))
	s, url := start(t, opt, func(*Conn, []byte) []byte { return big })
	ws := dial(t, url)
	go func() {
		for range 200 {
			if ws.WriteMessage(websocket.TextMessage, []byte("more")) != nil {
				return
			}
		}
	}()
	assert.Error(t, ended(t, s))
}

func TestAnOtherSideThatIsGoneIsLeft(t *testing.T) {
	opt := DefaultOptions
	opt.PingEvery, opt.PongWait = 20*time.Millisecond, 150*time.Millisecond
	s, url := start(t, opt, echo)
	dial(t, url) // never reads, so never answers a ping
	assert.Error(t, ended(t, s))
}

func TestALiveOtherSideStays(t *testing.T) {
	opt := DefaultOptions
	opt.PingEvery, opt.PongWait = 50*time.Millisecond, time.Second
	s, url := start(t, opt, func(_ *Conn, m []byte) []byte {
		time.Sleep(1500 * time.Millisecond) // longer than PongWait
		return m
	})
	ws := dial(t, url)
	for range 2 {
		require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte("slow")))
	}
	for range 2 {
		_, msg, err := ws.ReadMessage()
		require.NoError(t, err)
		assert.Equal(t, "slow", string(msg))
	}
	assert.Empty(t, s.end)
}

func TestRefusedMessages(t *testing.T) {
	opt := DefaultOptions
	opt.ReadLimit = 1000
	for _, c := range []struct {
		kind, size, code int
	}{
		{websocket.BinaryMessage, 10, websocket.CloseUnsupportedData},
		{websocket.TextMessage, 1001, websocket.CloseMessageTooBig},
	} {
		s, url := start(t, opt, echo)
		ws := dial(t, url)
		require.NoError(t, ws.WriteMessage(c.kind, make([]byte, c.size)))
		_, _, err := ws.ReadMessage()
		assert.True(t, websocket.IsCloseError(err, c.code), "%v", err)
		assert.Error(t, ended(t, s))
	}
}

func TestStopping(t *testing.T) {
	s, url := start(t, DefaultOptions, echo)
	ws := dial(t, url)
	c := <-s.conn
	freed := make(chan bool, 1)
	c.OnEnd(func() { freed <- true })
	s.stop()
	_, _, err := ws.ReadMessage()
	assert.True(t, websocket.IsCloseError(err, websocket.CloseGoingAway), "%v", err)
	assert.NoError(t, ended(t, s))
	assert.True(t, <-freed)
	<-c.Done()
	c.Post("k", []byte("late")) // dropped, not a panic
}

// Whoever stops the service waits for the message being handled, and its sender
// gets the answer: what was done was said to be done.
func TestStoppingAnswersWhatIsBeingHandled(t *testing.T) {
	begun, release := make(chan bool), make(chan bool)
	s, url := start(t, DefaultOptions, func(_ *Conn, m []byte) []byte {
		begun <- true
		<-release
		return m
	})
	ws := dial(t, url)
	require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte("first")))
	require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte("second, too late")))
	<-begun
	s.stop()
	time.Sleep(50 * time.Millisecond)
	close(release)
	_, msg, err := ws.ReadMessage()
	require.NoError(t, err)
	assert.Equal(t, "first", string(msg))
	_, _, err = ws.ReadMessage()
	assert.True(t, websocket.IsCloseError(err, websocket.CloseGoingAway), "%v", err)
	assert.NoError(t, ended(t, s))
}

func TestStoppingDoesNotWaitForEver(t *testing.T) {
	opt := DefaultOptions
	opt.StopWait = 50 * time.Millisecond
	begun, release := make(chan bool), make(chan bool)
	s, url := start(t, opt, func(_ *Conn, m []byte) []byte {
		begun <- true
		<-release
		return m
	})
	ws := dial(t, url)
	require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte("stuck")))
	<-begun
	s.stop()
	_, _, err := ws.ReadMessage()
	assert.True(t, websocket.IsCloseError(err, websocket.CloseGoingAway), "%v", err)
	close(release)
	assert.Error(t, ended(t, s))
}

// frame is one masked frame of RFC 6455, section 5.2, with a mask of zeros. A
// length that does not match the content makes it an endless one.
func frame(final bool, opcode byte, length uint64, content []byte) []byte {
	first := opcode
	if final {
		first |= 0x80
	}
	out := []byte{first, 0x80 | 127}
	out = binary.BigEndian.AppendUint64(out, length)
	out = append(out, 0, 0, 0, 0)
	return append(out, content...)
}

// What is sent by hand, as no library would, ends with the reason the standard
// has for it, and soon.
func TestAttacksByFrames(t *testing.T) {
	opt := DefaultOptions
	opt.ReadLimit, opt.MessageWait, opt.PongWait = 1000, 300*time.Millisecond, 20*time.Second
	begin := frame(false, 1, 1, []byte("x"))
	for _, c := range []struct {
		name   string
		first  []byte
		again  []byte        // sent over and over
		every  time.Duration // between two of again
		code   int
		reason string
	}{
		{"endless frame", frame(true, 1, 1<<62, []byte("xx")), []byte("x"), 0, websocket.CloseMessageTooBig, ""},
		{"frame of impossible length", frame(true, 1, 1<<63, nil), []byte("x"), 0, websocket.CloseMessageTooBig, "the message is too long"},
		{"endless fragments", begin, frame(false, 0, 1, []byte("x")), 0, websocket.CloseMessageTooBig, ""},
		{"empty fragments", begin, frame(false, 0, 0, nil), 0, websocket.ClosePolicyViolation, "too many frames for what they carry"},
		{"slow fragments", begin, frame(false, 0, 1, []byte("x")), 20 * time.Millisecond, websocket.ClosePolicyViolation, "the message came too slowly"},
		{"slow frame", frame(true, 1, 900, nil), []byte("x"), 20 * time.Millisecond, websocket.ClosePolicyViolation, "the message came too slowly"},
		{"text that is not UTF-8", frame(true, 1, 1, []byte("\xff")), nil, 0, websocket.CloseInvalidFramePayloadData, "messages are UTF-8"},
		{"unknown opcode", frame(true, 3, 0, nil), nil, 0, websocket.CloseProtocolError, "bad opcode 3"},
		{"continuation of nothing", frame(true, 0, 0, nil), nil, 0, websocket.CloseProtocolError, "continuation after FIN"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s, url := start(t, opt, echo)
			ws := dial(t, url)
			conn := ws.NetConn()
			go func() {
				_, err := conn.Write(c.first)
				for err == nil && c.again != nil {
					_, err = conn.Write(c.again)
					time.Sleep(c.every)
				}
			}()
			_, _, err := ws.ReadMessage()
			closed, ok := errors.AsType[*websocket.CloseError](err)
			require.True(t, ok, "%v", err)
			assert.Equal(t, c.code, closed.Code)
			assert.Equal(t, c.reason, closed.Text)
			assert.Error(t, ended(t, s))
		})
	}
}

// Pings without end are answered without end only by a service that lets them be.
func TestAPingFloodIsEnded(t *testing.T) {
	s, url := start(t, DefaultOptions, echo)
	ws := dial(t, url)
	flood := bytes.Repeat([]byte{0x89, 0x80, 0, 0, 0, 0}, 1000)
	go func() {
		for {
			if _, err := ws.NetConn().Write(flood); err != nil {
				return
			}
		}
	}()
	_, _, err := ws.ReadMessage()
	assert.True(t, websocket.IsCloseError(err, websocket.ClosePolicyViolation), "%v", err)
	assert.Error(t, ended(t, s))
}

// A screen that only watches sends pongs and no messages, for years.
func TestAPongNowAndThenIsNoFlood(t *testing.T) {
	server, client := net.Pipe()
	defer client.Close()
	r := &rationed{Conn: server, most: 100, left: 100, since: time.Now()}
	go func() {
		for {
			if _, err := client.Write([]byte("pong..")); err != nil {
				return
			}
		}
	}()
	for range 1000 {
		r.since = r.since.Add(-time.Second) // a second goes by
		_, err := r.Read(make([]byte, 6))
		require.NoError(t, err)
	}
	for range 20 {
		if _, err := r.Read(make([]byte, 6)); err != nil {
			assert.ErrorIs(t, err, errFlood)
			return
		}
	}
	assert.Fail(t, "the ration has no end")
}
