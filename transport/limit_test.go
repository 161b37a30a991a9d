package transport

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"coilside/session"
	"coilside/transport/jsonrpc"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const listJobs = `{"jsonrpc":"2.0","id":1,"method":"job.list"}`

// A client has what it saved up and no more, however it asks; another has its own.
func TestRequestsOfAClientAreLimited(t *testing.T) {
	r := startServer(t, withTokens, func(o *Options) { o.Limits.Rate = 2 }) // 20 saved up
	batch := "[" + strings.TrimSuffix(strings.Repeat(listJobs+",", 30), ",") + "]"
	resp, body := do(t, "POST", r.url+"/rpc", batch, bearer(phoneToken))
	require.Equal(t, 200, resp.StatusCode)
	var answers []rpcAnswer
	require.NoError(t, json.Unmarshal([]byte(body), &answers))
	require.Len(t, answers, 30)
	refused := 0
	for _, a := range answers {
		if a.Error != nil {
			refused++
			assert.Equal(t, codeLimit, a.Error.Code)
			assert.Equal(t, errorData{Kind: session.Limit, RetryMS: 1000}, a.Error.Data)
		}
	}
	assert.InDelta(t, 10, refused, 2, "a batch does not get round the limit")
	resp, _ = do(t, "POST", r.url+"/rpc", listJobs, bearer(phoneToken))
	assert.Equal(t, 429, resp.StatusCode, "RFC 6585, section 4")
	assert.NotEmpty(t, resp.Header.Get("Retry-After"))
	resp, _ = do(t, "POST", r.url+"/rpc", listJobs, bearer(deskToken))
	assert.Equal(t, 200, resp.StatusCode)
}

func TestGuessingTokensIsSlow(t *testing.T) {
	r := startServer(t, withTokens, func(o *Options) { o.Limits.Rate = 1 })
	seen := map[int]int{}
	for i := range 30 {
		resp, _ := get(t, r.url+"/openrpc.json", bearer(fmt.Sprint("guess", i)))
		seen[resp.StatusCode]++
	}
	assert.InDelta(t, 10, seen[401], 2)
	assert.Equal(t, 30, seen[401]+seen[429])
}

// A connection that asks too fast is told so, and ended if it does not heed.
func TestASocketThatFloodsIsEnded(t *testing.T) {
	r := startServer(t, func(o *Options) { o.Limits.Rate = 3 })
	ws := dial(t, r)
	codes := map[int]int{}
	go func() {
		for ws.WriteMessage(websocket.TextMessage, []byte(listJobs)) == nil {
		}
	}()
	for {
		_, msg, err := ws.ReadMessage()
		if err != nil {
			assert.True(t, websocket.IsCloseError(err, websocket.ClosePolicyViolation), "%v", err)
			break
		}
		var a rpcAnswer
		require.NoError(t, json.Unmarshal(msg, &a))
		if a.Error != nil {
			codes[a.Error.Code]++
		} else {
			codes[0]++
		}
	}
	assert.GreaterOrEqual(t, codes[0], 30)
	assert.GreaterOrEqual(t, codes[codeLimit], 3)
}

// held adds a method that takes as long as the test likes.
func held(r *running) (begun, release chan bool) {
	begun, release = make(chan bool, 100), make(chan bool)
	jsonrpc.Handle(r.server.table, "test.hold", "Waits.", func(context.Context, struct{}) (bool, error) {
		begun <- true
		<-release
		return true, nil
	})
	return begun, release
}

const hold = `{"jsonrpc":"2.0","id":1,"method":"test.hold"}`

func TestMessagesUnderWayAreBounded(t *testing.T) {
	r := startServer(t, withTokens, func(o *Options) { o.Limits.AtOnce, o.Limits.Outstanding, o.Limits.Turn = 2, 3, 200*time.Millisecond })
	begun, release := held(r)
	done := make(chan string, 10)
	post := func(token string) {
		resp, body := do(t, "POST", r.url+"/rpc", hold, bearer(token))
		done <- fmt.Sprint(resp.StatusCode, rpcCode([]byte(body)), resp.Header.Get("Retry-After"))
	}
	for range 2 {
		go post(phoneToken)
		<-begun
	}
	go post(phoneToken) // waits for its turn
	assert.Eventually(t, func() bool { return r.server.outstanding(phoneToken) == 3 }, time.Minute, time.Millisecond)
	post(phoneToken) // one too many of this client's
	assert.Equal(t, "429 rpc 10051", <-done)
	post(deskToken) // another's waits too, and gives up
	assert.Contains(t, []string{<-done, <-done}, "503 rpc 10051")
	close(release)
	for range 2 {
		assert.Equal(t, "200", <-done)
	}
	assert.Eventually(t, func() bool { return r.server.outstanding(phoneToken) == 0 }, time.Minute, time.Millisecond)
}

func (s *Server) outstanding(token string) (n int) {
	found, _ := s.tokens.Load().find(token)
	s.rates.with("token "+found.Name, 1, func(a *account) { n = a.outstanding })
	return n
}

// Connections beyond the bound are told and closed; those that close make room, and
// WebSockets leave some for others.
func TestConnectionsAreBounded(t *testing.T) {
	r := startServer(t, func(o *Options) { o.Limits.Connections = 16 })
	sockets := make([]*websocket.Conn, 15)
	for i := range sockets {
		sockets[i] = dial(t, r)
	}
	address := "ws" + strings.TrimPrefix(r.url, "http") + "/ws"
	_, resp, err := websocket.DefaultDialer.Dial(address, nil)
	require.Error(t, err)
	assert.Equal(t, 503, resp.StatusCode)

	host := strings.TrimPrefix(r.url, "http://")
	var last net.Conn
	require.Eventually(t, func() bool { // the refused one is closed in its own time
		last, err = net.Dial("tcp", host)
		require.NoError(t, err)
		_, err = fmt.Fprintf(last, "GET /healthz HTTP/1.1\r\nHost: %s\r\n\r\n", host)
		require.NoError(t, err)
		answer := make([]byte, 12)
		_, err = io.ReadFull(last, answer)
		return err == nil && string(answer) == "HTTP/1.1 200"
	}, time.Minute, 5*time.Millisecond)
	over, err := net.Dial("tcp", host)
	require.NoError(t, err)
	answer, err := io.ReadAll(over)
	require.NoError(t, err)
	assert.Equal(t, "503", status(t, string(answer)))
	assert.Equal(t, fullHouse, string(answer))
	require.NoError(t, last.Close())
	require.NoError(t, sockets[0].Close())
	require.Eventually(t, func() bool {
		_, resp, err := websocket.DefaultDialer.Dial(address, nil)
		return err == nil && resp.StatusCode == 101
	}, time.Minute, 5*time.Millisecond)
}

func TestAccountsOfQuietClientsAreForgotten(t *testing.T) {
	r := rates{of: map[string]*account{}}
	r.with("busy", 10, func(a *account) { a.outstanding++ })
	for i := range mostAccounts + 10 {
		r.with(fmt.Sprint("address ", i), 10, func(*account) {})
	}
	assert.Less(t, len(r.of), 20)
	assert.Contains(t, r.of, "busy")
}

func TestOneNetworkIsOneClient(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.7:99": "192.0.2.7", "[::ffff:192.0.2.7]:99": "192.0.2.7", "[2001:db8:1:2:3::4]:99": "2001:db8:1:2::/64",
		"[2001:db8:1:2:5::6]:1": "2001:db8:1:2::/64", "[::1]:99": "::1", "nonsense": "nonsense",
	} {
		assert.Equal(t, want, network(remote), remote)
	}
}

// A service that stops gives the answers it owes, over HTTP as well.
func TestStoppingAnswersWhatIsUnderWay(t *testing.T) {
	r := startServer(t)
	begun, release := held(r)
	done := make(chan int, 1)
	go func() {
		resp, _ := do(t, "POST", r.url+"/rpc", hold, http.Header{"Content-Type": {"application/json"}})
		done <- resp.StatusCode
	}()
	<-begun
	r.stop()
	require.Eventually(t, func() bool { return r.server.stopping.Load() }, time.Minute, time.Millisecond)
	time.Sleep(50 * time.Millisecond)
	close(release)
	assert.Equal(t, 200, <-done)
}
