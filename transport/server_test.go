package transport

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/rs/zerolog"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// running is a server under test.
type running struct {
	url    string
	server *Server
	stop   context.CancelFunc
	done   chan error
	log    *lockedBuffer
}

type lockedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

// startServer serves on this machine; with changes its options first.
func startServer(t *testing.T, with ...func(*Options)) *running {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	r := &running{stop: stop, done: make(chan error, 1), log: &lockedBuffer{}}
	o := Options{Service: newService(t), Log: zerolog.New(r.log), Limits: DefaultLimits}
	for _, change := range with {
		change(&o)
	}
	if o.Listener == nil {
		var err error
		o.Listener, err = Listen("127.0.0.1:0", false)
		require.NoError(t, err)
	}
	r.server = New(o)
	r.url = r.server.URL()
	go func() { r.done <- r.server.Serve(ctx) }()
	t.Cleanup(func() {
		stop()
		select {
		case err := <-r.done:
			assert.NoError(t, err)
			r.done <- nil
		case <-time.After(time.Minute):
			assert.Fail(t, "the server did not stop")
		}
	})
	return r
}

// caller sends one message and gives the answer, nil if there is none.
type caller func(t *testing.T, msg string) []byte

func overHTTP(r *running) caller {
	return func(t *testing.T, msg string) []byte {
		t.Helper()
		resp, err := http.Post(r.url+"/rpc", "application/json", strings.NewReader(msg))
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		if resp.StatusCode == http.StatusNoContent {
			require.Empty(t, body)
			return nil
		}
		require.Equal(t, http.StatusOK, resp.StatusCode, "%s", body)
		require.Equal(t, "application/json", resp.Header.Get("Content-Type"))
		return bytes.TrimSpace(body)
	}
}

func dial(t *testing.T, r *running) *websocket.Conn {
	t.Helper()
	ws, resp, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(r.url, "http")+"/ws", nil)
	require.NoError(t, err)
	_ = resp.Body.Close()
	t.Cleanup(func() { _ = ws.Close() })
	require.NoError(t, ws.SetReadDeadline(time.Now().Add(5*time.Minute)))
	return ws
}

// overSocket follows each message by one whose answer is known, so that no
// answer can be told from a late one.
func overSocket(ws *websocket.Conn) caller {
	return func(t *testing.T, msg string) []byte {
		t.Helper()
		const fence = `{"jsonrpc":"2.0","method":"fence","id":"fence"}`
		require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte(msg)))
		require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte(fence)))
		var answer []byte
		for {
			_, got, err := ws.ReadMessage()
			require.NoError(t, err)
			if bytes.Contains(got, []byte(`"id":"fence"`)) {
				return answer
			}
			require.Nil(t, answer, "two answers to one message")
			answer = got
		}
	}
}

// both runs a test over each transport.
func both(t *testing.T, test func(*testing.T, caller)) {
	t.Run("http", func(t *testing.T) { test(t, overHTTP(startServer(t))) })
	t.Run("websocket", func(t *testing.T) { test(t, overSocket(dial(t, startServer(t)))) })
}

// rpcAnswer is an answer taken apart.
type rpcAnswer struct {
	ID     json.RawMessage
	Result json.RawMessage
	Error  *struct {
		Code    int
		Message string
		Data    errorData
	}
}

// ask calls a method that should succeed and decodes its result into out.
func (c caller) ask(t *testing.T, method string, params, out any) {
	t.Helper()
	a := c.raw(t, method, params)
	require.Nil(t, a.Error, "%s: %+v", method, a.Error)
	if out != nil {
		require.NoError(t, json.Unmarshal(a.Result, out), "%s", a.Result)
	}
}

func (c caller) raw(t *testing.T, method string, params any) rpcAnswer {
	t.Helper()
	p, err := json.Marshal(params)
	require.NoError(t, err)
	var a rpcAnswer
	out := c(t, fmt.Sprintf(`{"jsonrpc":"2.0","id":1,"method":%q,"params":%s}`, method, p))
	require.NoError(t, json.Unmarshal(out, &a), "%s", out)
	return a
}

type object = map[string]any

func get(t *testing.T, url string, header http.Header) (*http.Response, string) {
	t.Helper()
	return do(t, http.MethodGet, url, "", header)
}

func do(t *testing.T, method, url, body string, header http.Header) (*http.Response, string) {
	t.Helper()
	req, err := http.NewRequest(method, url, strings.NewReader(body))
	require.NoError(t, err)
	for k, v := range header {
		req.Header[k] = v
	}
	if host := header.Get("Host"); host != "" {
		req.Host = host
	}
	resp, err := http.DefaultTransport.RoundTrip(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp, string(out)
}

func TestPlainHTTP(t *testing.T) {
	r := startServer(t)
	json := http.Header{"Content-Type": {"application/json"}}
	call := `{"jsonrpc":"2.0","id":1,"method":"job.list"}`
	for _, c := range []struct {
		method, path, body string
		header             http.Header
		status             int
	}{
		{"GET", "/healthz", "", nil, 200},
		{"GET", "/readyz", "", nil, 200},
		{"POST", "/link", "", nil, 404},
		{"GET", "/enter/guess", "", nil, 403},
		{"GET", "/healthz?x=1", "", nil, 400},
		{"POST", "/rpc", call, http.Header{"Content-Type": {"application/json"}, "Content-Encoding": {"gzip"}}, 415},
		{"GET", "/openrpc.json", "", nil, 200},
		{"GET", "/nothing", "", nil, 404},
		{"GET", "/", "", nil, 200},
		{"GET", "/page/none.js", "", nil, 404},
		{"GET", "/debug/pprof/", "", nil, 404},
		{"GET", "/rpc", "", nil, 405},
		{"PUT", "/rpc", call, json, 405},
		{"OPTIONS", "/rpc", "", nil, 405},
		{"POST", "/rpc", call, json, 200},
		{"POST", "/rpc", call, http.Header{"Content-Type": {"application/json; charset=UTF-8"}}, 200},
		{"POST", "/rpc", call, nil, 415},
		{"POST", "/rpc", call, http.Header{"Content-Type": {"text/plain"}}, 415},
		{"POST", "/rpc", call, http.Header{"Content-Type": {"application/jsonp"}}, 415},
		{"POST", "/rpc", call, http.Header{"Content-Type": {"application/json; charset=latin1"}}, 415},
		{"POST", "/rpc", call, http.Header{"Content-Type": {"application/x-www-form-urlencoded"}}, 415},
		{"POST", "/rpc", `{"jsonrpc":"2.0","method":"job.list"}`, json, 204},
		{"POST", "/rpc", "", json, 200},
		{"POST", "/rpc", `"` + strings.Repeat("x", 1<<20) + `"`, json, 413},
		{"GET", "/ws", "", nil, 400},
		{"POST", "/healthz", "", nil, 405},
	} {
		resp, body := do(t, c.method, r.url+c.path, c.body, c.header)
		assert.Equal(t, c.status, resp.StatusCode, "%s %s %v: %s", c.method, c.path, c.header, body)
		assert.Empty(t, resp.Header.Get("Access-Control-Allow-Origin"))
		assert.NotEmpty(t, resp.Header.Get("X-Request-Id"))
	}
	resp, body := do(t, "POST", r.url+"/rpc", strings.Repeat("[", 1<<20+1), json)
	assert.Equal(t, 413, resp.StatusCode)
	assert.JSONEq(t, `{"jsonrpc":"2.0","id":null,"error":{"code":-32600,"message":"The message is longer than 1048576 bytes.","data":{"kind":"limit"}}}`, body)
}

// A page whose name was re-pointed at this machine (DNS rebinding) sends its own
// name as Host and, being same-origin to itself, a matching Origin or none.
func TestForeignRequestsAreRefusedBeforeRouting(t *testing.T) {
	r := startServer(t)
	host := strings.TrimPrefix(r.url, "http://")
	_, port, err := net.SplitHostPort(host)
	require.NoError(t, err)
	upgrade := http.Header{"Connection": {"Upgrade"}, "Upgrade": {"websocket"}, "Sec-Websocket-Version": {"13"}, "Sec-Websocket-Key": {"AAAAAAAAAAAAAAAAAAAAAA=="}}
	for _, c := range []struct {
		host, origin, site string
		fine               bool
	}{
		{host, "", "", true},
		{"localhost:" + port, "", "", true},
		{"LOCALHOST:" + port, "", "", true},
		{"[::1]:" + port, "", "", true},
		{host, "http://" + host, "same-origin", true},
		{host, "", "none", true},
		{"127.0.0.1", "", "", false},
		{"127.0.0.1:1", "", "", false},
		{"localhost", "", "", false},
		{"localhost." + ":" + port, "", "", false},
		{"evil.example:" + port, "", "", false},
		{"evil.example:" + port, "http://evil.example:" + port, "same-origin", false},
		{"127.0.0.1.evil.example:" + port, "", "", false},
		{"evil-localhost:" + port, "", "", false},
		{"0.0.0.0:" + port, "", "", false},
		{":" + port, "", "", false},
		{"127.0.0.2:" + port, "", "", false},
		{host, "http://evil.example", "", false},
		{host, "https://" + host, "", false},
		{host, "http://localhost:" + port, "", false},
		{host, "http://" + host + ".evil.example", "", false},
		{host, "null", "", false},
		{host, "", "cross-site", false},
		{host, "", "same-site", false},
	} {
		header := http.Header{"Host": {c.host}}
		if c.origin != "" {
			header.Set("Origin", c.origin)
		}
		if c.site != "" {
			header.Set("Sec-Fetch-Site", c.site)
		}
		for _, path := range []string{"/healthz", "/nothing", "/openrpc.json"} {
			resp, body := get(t, r.url+path, header)
			assert.Equal(t, c.fine, resp.StatusCode != 403, "%+v %s: %s", c, path, body)
		}
		for k, v := range upgrade {
			header[k] = v
		}
		assert.Equal(t, map[bool]int{true: 101, false: 403}[c.fine], upgradeStatus(t, host, header), "%+v /ws", c)
	}
}

// A client of the first HTTP sends no Host. No refusal before makes that a name of ours.
func TestNoHostIsNoNameOfOurs(t *testing.T) {
	r := startServer(t)
	for range 3 {
		conn, err := net.Dial("tcp", strings.TrimPrefix(r.url, "http://"))
		require.NoError(t, err)
		_, err = fmt.Fprint(conn, "GET /healthz HTTP/1.0\r\n\r\n")
		require.NoError(t, err)
		answer, err := io.ReadAll(conn)
		require.NoError(t, err)
		require.NoError(t, conn.Close())
		assert.Contains(t, string(answer), "403 Forbidden")
	}
}

// upgradeStatus sends an upgrade by hand, as clients of the library would not
// send a foreign Host.
func upgradeStatus(t *testing.T, address string, header http.Header) int {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	require.NoError(t, err)
	defer conn.Close()
	require.NoError(t, conn.SetDeadline(time.Now().Add(time.Minute)))
	var b strings.Builder
	b.WriteString("GET /ws HTTP/1.1\r\n")
	require.NoError(t, header.Write(&b))
	_, err = io.WriteString(conn, b.String()+"\r\n")
	require.NoError(t, err)
	head := make([]byte, len("HTTP/1.1 101"))
	_, err = io.ReadFull(conn, head)
	require.NoError(t, err)
	var status int
	_, err = fmt.Sscanf(string(head), "HTTP/1.1 %d", &status)
	require.NoError(t, err)
	return status
}

func TestListen(t *testing.T) {
	for _, address := range []string{":0", "example.org:80", "127.0.0.1", "127.0.0.1:http", "127.0.0.1:70000", "127.0.0.1:-1", "", "127.1:0", "[::1%lo]:0"} {
		for _, tokens := range []bool{false, true} {
			_, err := Listen(address, tokens)
			assert.IsType(t, &AddressError{}, err, address)
		}
	}
	for _, address := range []string{"0.0.0.0:0", "[::]:0", "192.0.2.1:80", "[::ffff:192.0.2.1]:0"} {
		_, err := Listen(address, false)
		require.IsType(t, &AddressError{}, err, address)
		assert.Contains(t, err.Error(), "a token is needed")
	}
	everywhere, err := Listen("0.0.0.0:0", true)
	require.NoError(t, err)
	assert.NoError(t, everywhere.Close())
	l, err := Listen("localhost:0", false)
	require.NoError(t, err)
	defer l.Close()
	assert.True(t, l.Addr().(*net.TCPAddr).IP.IsLoopback())
	_, err = Listen(l.Addr().String(), false)
	require.Error(t, err)
	assert.NotErrorAs(t, err, new(*AddressError), "a port in use is no fault of the address")
}

func TestHostsForTheDefaultPort(t *testing.T) {
	n := namesFor(&net.TCPAddr{IP: net.IPv6loopback, Port: 80}, "http", nil)
	assert.Subset(t, n.hosts, []string{"127.0.0.1", "127.0.0.1:80", "[::1]", "[::1]:80", "localhost"})
}

func TestStoppingEndsConnections(t *testing.T) {
	r := startServer(t)
	ws := dial(t, r)
	overSocket(ws).ask(t, "job.list", object{}, nil)
	r.stop()
	_, _, err := ws.ReadMessage()
	assert.True(t, websocket.IsCloseError(err, websocket.CloseGoingAway), "%v", err)
	select {
	case err := <-r.done:
		assert.NoError(t, err)
		r.done <- nil
	case <-time.After(time.Minute):
		require.Fail(t, "the server did not stop")
	}
	_, err = http.Get(r.url + "/healthz")
	assert.Error(t, err)
}

func TestEveryRequestHasALineInTheLog(t *testing.T) {
	r := startServer(t)
	resp, _ := do(t, "POST", r.url+"/rpc", `[{"jsonrpc":"2.0","id":1,"method":"job.list"},{"jsonrpc":"2.0","method":"nope"}]`, http.Header{"Content-Type": {"application/json"}})
	id := resp.Header.Get("X-Request-Id")
	require.NotEmpty(t, id)
	require.Eventually(t, func() bool { return strings.Count(r.log.String(), id) == 3 }, time.Minute, 5*time.Millisecond)
	var lines []object
	for line := range strings.Lines(r.log.String()) {
		var o object
		require.NoError(t, json.Unmarshal([]byte(line), &o), line)
		delete(o, "ms")
		delete(o, "request")
		delete(o, "from")
		lines = append(lines, o)
	}
	assert.Contains(t, lines, object{"level": "info", "message": "rpc", "call": "job.list"})
	assert.Contains(t, lines, object{"level": "info", "message": "rpc", "call": "nope", "code": -32601.0, "notification": true})
	assert.Contains(t, lines, object{"level": "info", "message": "http", "method": "POST", "path": "/rpc", "status": 200.0})
}
