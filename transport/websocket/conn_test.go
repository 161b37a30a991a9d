package websocket

import (
	"bytes"
	"context"
	"fmt"
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
	const posts = 300 // of 1 MB: no socket buffer holds that, so waiting posts would end the connection
	big := bytes.Repeat([]byte("."), 1<<20)
	for i := range posts {
		c.Post(fmt.Sprint("job", i%2), append(fmt.Appendf(nil, "%d", i), big...))
	}
	seen := map[string]bool{}
	for !seen["298"] || !seen["299"] {
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

func TestForeignOriginIsRefused(t *testing.T) {
	_, url := start(t, DefaultOptions, echo)
	_, resp, err := websocket.DefaultDialer.Dial(url, http.Header{"Origin": {"http://example.org"}})
	require.Error(t, err)
	assert.Equal(t, http.StatusForbidden, resp.StatusCode)
	_ = resp.Body.Close()
}
