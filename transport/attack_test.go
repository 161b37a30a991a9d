package transport

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"coilside/session"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// victim is a service under attack, with short patience so that the test is quick.
func victim(t *testing.T) *running {
	return startServer(t, withTokens, func(o *Options) {
		o.Limits.Header, o.Limits.Body = 300*time.Millisecond, 600*time.Millisecond
	})
}

// raw sends by hand what no library would, and reads what comes back until the
// other side closes. send gets the open connection.
func raw(t *testing.T, r *running, send func(net.Conn) error) string {
	t.Helper()
	conn, err := net.Dial("tcp", strings.TrimPrefix(r.url, "http://"))
	require.NoError(t, err)
	defer conn.Close()
	require.NoError(t, conn.SetDeadline(time.Now().Add(10*time.Second)))
	go func() { _ = send(conn) }() // a refusal breaks it off
	answer, err := io.ReadAll(conn)
	if timeout, ok := errors.AsType[net.Error](err); ok && timeout.Timeout() {
		require.Fail(t, "the service holds on to the connection")
	}
	return string(answer)
}

func (r *running) head(method, path string, more ...string) string {
	lines := append([]string{method + " " + path + " HTTP/1.1", "Host: " + strings.TrimPrefix(r.url, "http://"), "Authorization: Bearer " + phoneToken, "Content-Type: application/json"}, more...)
	return strings.Join(lines, "\r\n") + "\r\n"
}

// status is the code of an answer over HTTP, and the code of the JSON-RPC error in
// it where there is one.
func status(t *testing.T, answer string) string {
	t.Helper()
	if answer == "" {
		return "closed"
	}
	resp, err := http.ReadResponse(bufio.NewReader(strings.NewReader(answer)), nil)
	require.NoError(t, err, answer)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return fmt.Sprint(resp.StatusCode) + rpcCode(body)
}

func rpcCode(body []byte) string {
	var a rpcAnswer
	if json.Unmarshal(body, &a) != nil || a.Error == nil {
		return ""
	}
	return fmt.Sprintf(" rpc %d", a.Error.Code)
}

// posted is the status of a message sent over HTTP with a token.
func posted(msg string, change ...string) func(*testing.T, *running) string {
	return func(t *testing.T, r *running) string {
		header := bearer(phoneToken)
		for i := 0; i < len(change); i += 2 {
			header.Set(change[i], change[i+1])
			if change[i+1] == "" {
				header.Del(change[i])
			}
		}
		resp, body := do(t, "POST", r.url+"/rpc", msg, header)
		return fmt.Sprint(resp.StatusCode) + rpcCode([]byte(body))
	}
}

// framed upgrades, sends frames by hand, over and over if again is given, and gives
// the close code.
func framed(first, again []byte) func(*testing.T, *running) string {
	return func(t *testing.T, r *running) string {
		ws, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(r.url, "http")+"/ws", http.Header{"Authorization": {"Bearer " + phoneToken}})
		require.NoError(t, err)
		defer ws.Close()
		require.NoError(t, ws.SetReadDeadline(time.Now().Add(30*time.Second)))
		go func() {
			_, err := ws.NetConn().Write(first)
			for err == nil && again != nil {
				_, err = ws.NetConn().Write(again)
			}
		}()
		_, msg, err := ws.ReadMessage()
		if closed, ok := errors.AsType[*websocket.CloseError](err); ok {
			return fmt.Sprintf("ws %d", closed.Code)
		}
		return fmt.Sprintf("%v%s", err, rpcCode(msg))
	}
}

// masked is a frame of RFC 6455, section 5.2, with a mask of zeros.
func masked(first byte, length uint64, content string) []byte {
	out := binary.BigEndian.AppendUint64([]byte{first, 0x80 | 127}, length)
	return append(append(out, 0, 0, 0, 0), content...)
}

func rpc(params string) string {
	return `{"jsonrpc":"2.0","id":1,"method":"job.open","params":` + params + `}`
}

// slowly sends a piece at a time, for as long as the connection lasts.
func slowly(t *testing.T, r *running, first, piece string) string {
	return status(t, raw(t, r, func(conn net.Conn) error {
		_, err := io.WriteString(conn, first)
		for err == nil {
			time.Sleep(20 * time.Millisecond)
			_, err = io.WriteString(conn, piece)
		}
		return err
	}))
}

// Every attack is refused with the code that a standard, or the table of errors,
// has for it: RFC 9110 for HTTP, RFC 6455 section 7.4.1 for WebSockets, JSON-RPC
// 2.0 section 5.1 for messages. The service serves on, and no job was touched.
func TestAttacks(t *testing.T) {
	r := victim(t)
	var owned session.Opened
	r.as(deskToken).ask(t, "job.open", fan(), &owned)
	const small = `{"complaint":"dead"}`
	attacks := map[string]struct {
		do   func(*testing.T, *running) string
		want string
	}{
		"foreign Host":             {posted(rpc(small), "Host", "evil.example"), "403"},
		"re-pointed name":          {posted(rpc(small), "Host", "evil.example:7285", "Origin", "http://evil.example:7285"), "403"},
		"foreign Origin":           {posted(rpc(small), "Origin", "http://evil.example"), "403"},
		"Origin null":              {posted(rpc(small), "Origin", "null"), "403"},
		"page of another site":     {posted(rpc(small), "Sec-Fetch-Site", "cross-site"), "403"},
		"form of another site":     {posted(rpc(small), "Content-Type", "text/plain"), "415"},
		"missing token":            {posted(rpc(small), "Authorization", ""), "401"},
		"wrong token":              {posted(rpc(small), "Authorization", "Bearer "+phoneToken+"x"), "401"},
		"job of another token":     {posted(`{"jsonrpc":"2.0","id":1,"method":"job.show","params":{"job":"` + owned.Job + `"}}`), "200 rpc 1001"},
		"compressed bomb":          {posted("\x1f\x8b", "Content-Encoding", "gzip"), "415"},
		"10,000-item batch":        {posted("[" + strings.Repeat(`{"jsonrpc":"2.0","id":1,"method":"job.list"},`, 9999) + rpc(small) + "]"), "200 rpc -32600"},
		"deep JSON":                {posted(rpc(`{"complaint":` + strings.Repeat("[", 100_000) + strings.Repeat("]", 100_000) + "}")), "200 rpc -32600"},
		"deep JSON without an end": {posted(strings.Repeat(`{"a":`, 200_000)), "200 rpc -32600"},
		"duplicate keys":           {posted(rpc(`{"complaint":"dead","complaint":"weak"}`)), "200 rpc -32602"},
		"duplicate method":         {posted(`{"jsonrpc":"2.0","id":1,"method":"job.list","method":"job.open"}`), "200 rpc -32600"},
		"keys of another case":     {posted(rpc(`{"Complaint":"dead"}`)), "200 rpc -32602"},
		"invalid UTF-8":            {posted(rpc("{\"complaint\":\"dead\",\"label\":\"\xff\"}")), "200 rpc -32700"},
		"half a surrogate":         {posted(rpc(`{"complaint":"dead","label":"\ud800"}`)), "200 rpc -32700"},
		"number without end":       {posted(rpc(`{"complaint":"dead","seed":` + strings.Repeat("9", 500_000) + "}")), "200 rpc -32602"},
		"path out of the folder":   {posted(`{"jsonrpc":"2.0","id":1,"method":"job.show","params":{"job":"../../../etc/passwd"}}`), "200 rpc 1001"},
		"token in the URL": {func(t *testing.T, r *running) string {
			resp, _ := get(t, r.url+"/ws?token="+phoneToken, nil)
			return fmt.Sprint(resp.StatusCode)
		}, "400"},
		"100 MB body": {func(t *testing.T, r *running) string {
			return status(t, raw(t, r, func(conn net.Conn) error {
				_, err := io.WriteString(conn, r.head("POST", "/rpc", "Content-Length: 104857600")+"\r\n")
				for err == nil {
					_, err = conn.Write(bytes.Repeat([]byte(" "), 1<<20))
				}
				return err
			}))
		}, "413 rpc -32600"},
		"100 MB body in chunks": {func(t *testing.T, r *running) string {
			return status(t, raw(t, r, func(conn net.Conn) error {
				_, err := io.WriteString(conn, r.head("POST", "/rpc", "Transfer-Encoding: chunked")+"\r\n")
				for err == nil {
					_, err = io.WriteString(conn, "8000\r\n"+strings.Repeat(" ", 0x8000)+"\r\n")
				}
				return err
			}))
		}, "413 rpc -32600"},
		"two lengths": {func(t *testing.T, r *running) string {
			return status(t, raw(t, r, func(conn net.Conn) error {
				_, err := io.WriteString(conn, r.head("POST", "/rpc", "Content-Length: 5", "Content-Length: 6")+"\r\n")
				return err
			}))
		}, "400"},
		"long header": {func(t *testing.T, r *running) string {
			return status(t, raw(t, r, func(conn net.Conn) error {
				_, err := io.WriteString(conn, r.head("GET", "/healthz", "X: "+strings.Repeat("x", 40<<10))+"\r\n")
				return err
			}))
		}, "431"},
		"slow header": {func(t *testing.T, r *running) string { return slowly(t, r, "GET /healthz HTTP/1.1\r\nX: ", "x") }, "closed"},
		"slow body": {func(t *testing.T, r *running) string {
			return slowly(t, r, r.head("POST", "/rpc", "Content-Length: 1000")+"\r\n", " ")
		}, "408"},
		"silence": {func(t *testing.T, r *running) string {
			return status(t, raw(t, r, func(net.Conn) error { return nil }))
		}, "closed"},

		"endless frame":          {framed(masked(0x81, 1<<62, "x"), []byte("x")), "ws 1009"},
		"impossible frame":       {framed(masked(0x81, 1<<63, ""), []byte("x")), "ws 1009"},
		"fragmented frame flood": {framed(masked(0x01, 1, " "), masked(0x00, 4096, strings.Repeat(" ", 4096))), "ws 1009"},
		"tiny fragment flood":    {framed(masked(0x01, 1, " "), bytes.Repeat(masked(0x00, 1, " "), 100)), "ws 1008"},
		"empty fragment flood":   {framed(masked(0x01, 1, " "), bytes.Repeat(masked(0x00, 0, ""), 100)), "ws 1008"},
		"ping flood":             {framed(nil, bytes.Repeat([]byte{0x89, 0x80, 0, 0, 0, 0}, 100)), "ws 1008"},
		"slow frame":             {framed(masked(0x81, 1000, ""), nil), "ws 1008"},
		"binary frame":           {framed(masked(0x82, 1, "x"), nil), "ws 1003"},
		"invalid UTF-8 frame":    {framed(masked(0x81, 1, "\xff"), nil), "ws 1007"},
		"unknown frame":          {framed(masked(0x83, 0, ""), nil), "ws 1002"},
		"deep JSON in a frame":   {framed(masked(0x81, 200_000, strings.Repeat("[", 200_000)), nil), "<nil> rpc -32600"},
	}
	t.Run("all", func(t *testing.T) {
		for name, attack := range attacks {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				assert.Equal(t, attack.want, attack.do(t, r))
			})
		}
	})
	var list session.JobList
	r.as(shopToken).ask(t, "job.list", object{}, &list)
	require.Len(t, list.Jobs, 1, "no attack opened a job")
	assert.Equal(t, owned.Reply.Seq, list.Jobs[0].Seq)
	for _, secret := range []string{phoneToken, "goroutine", "panic"} {
		assert.NotContains(t, r.log.String(), secret)
	}
	assert.Eventually(t, func() bool { return r.server.open.Load() == 0 }, 10*time.Second, 10*time.Millisecond, "no connection is left behind")
}
