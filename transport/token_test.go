package transport

import (
	"crypto/sha256"
	"encoding/json"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilside/session"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	shopToken  = "SHOPSHOPSHOPSHOPSHOPSHOPSHOP"
	phoneToken = "PHONEPHONEPHONEPHONEPHONEPHONE"
	deskToken  = "DESKDESKDESKDESKDESKDESKDESK"
)

func hashed(name, token string) Token { return Token{Name: name, Hash: sha256.Sum256([]byte(token))} }

// withTokens has the service take three tokens: one of the shop, two of front ends.
func withTokens(o *Options) {
	o.Tokens = Tokens{hashed("", shopToken), hashed("phone", phoneToken), hashed("desk", deskToken)}
}

func bearer(token string) http.Header {
	return http.Header{"Content-Type": {"application/json"}, "Authorization": {"Bearer " + token}}
}

// as sends messages over HTTP with a token.
func (r *running) as(token string) caller {
	return func(t *testing.T, msg string) []byte {
		t.Helper()
		resp, body := do(t, "POST", r.url+"/rpc", msg, bearer(token))
		require.Equal(t, 200, resp.StatusCode, body)
		return []byte(body)
	}
}

func TestOnlyAKnownTokenOpensTheService(t *testing.T) {
	r := startServer(t, withTokens)
	for _, c := range []struct {
		path   string
		header http.Header
		status int
	}{
		{"/openrpc.json", bearer(shopToken), 200},
		{"/openrpc.json", bearer(phoneToken), 200},
		{"/openrpc.json", http.Header{"Authorization": {"bearer " + deskToken}}, 200}, // RFC 9110, 11.1: the scheme's case does not matter
		{"/openrpc.json", nil, 401},
		{"/openrpc.json", bearer(""), 401},
		{"/openrpc.json", bearer("wrong"), 401},
		{"/openrpc.json", bearer(shopToken + "x"), 401},
		{"/openrpc.json", bearer(shopToken[1:]), 401},
		{"/openrpc.json", bearer(strings.ToLower(shopToken)), 401},
		{"/openrpc.json", bearer(TokenHash(shopToken)), 401},
		{"/openrpc.json", http.Header{"Authorization": {shopToken}}, 401},
		{"/openrpc.json", http.Header{"Authorization": {"Basic " + shopToken}}, 401},
		{"/openrpc.json", http.Header{"Authorization": {"Bearer " + shopToken, "Bearer wrong"}}, 401},
		{"/openrpc.json", http.Header{"X-Token": {shopToken}}, 401},
		{"/openrpc.json", http.Header{"Cookie": {r.server.cookieName() + "=" + shopToken}}, 401},
		{"/openrpc.json?token=" + shopToken, nil, 400},
		{"/openrpc.json?access_token=" + shopToken, bearer(shopToken), 400},
		{"/openrpc.json?", bearer(shopToken), 400},
		{"/" + shopToken, nil, 401},
		{"/nothing", nil, 401},
		{"/nothing", bearer(shopToken), 404},
		{"/ws", nil, 401},
		{"/rpc", nil, 401},
		{"/link", nil, 401},
		{"/healthz", nil, 200},
		{"/readyz", nil, 200},
		{"/healthz/../openrpc.json", nil, 401},
		{"/enter/../openrpc.json", nil, 307}, // to /openrpc.json, which asks
	} {
		resp, body := get(t, r.url+c.path, c.header)
		assert.Equal(t, c.status, resp.StatusCode, "%s %v: %s", c.path, c.header, body)
		assert.Equal(t, c.status == 401, resp.Header.Get("WWW-Authenticate") != "", "RFC 9110, 15.5.2")
	}
	for _, secret := range []string{shopToken, phoneToken, TokenHash(shopToken)} {
		assert.NotContains(t, r.log.String(), secret, "no token in the log, wherever it was sent")
	}
}

func TestSocketsShowAToken(t *testing.T) {
	r := startServer(t, withTokens)
	address := "ws" + strings.TrimPrefix(r.url, "http") + "/ws"
	_, resp, err := websocket.DefaultDialer.Dial(address, nil)
	require.Error(t, err)
	assert.Equal(t, 401, resp.StatusCode)
	ws, _, err := websocket.DefaultDialer.Dial(address, http.Header{"Authorization": {"Bearer " + phoneToken}})
	require.NoError(t, err)
	defer ws.Close()
	var opened session.Opened
	overSocket(ws).ask(t, "job.open", fan(), &opened)
	r.as(phoneToken).ask(t, "job.show", object{"job": opened.Job}, nil)
}

// A front end reaches the jobs it opened; the shop's own token reaches all.
func TestJobsOfAnotherTokenAreNotThere(t *testing.T) {
	r := startServer(t, withTokens)
	phone, desk, shop := r.as(phoneToken), r.as(deskToken), r.as(shopToken)
	var opened session.Opened
	phone.ask(t, "job.open", fan(), &opened)
	job := object{"job": opened.Job}
	calls := map[string]object{
		"job.tell": {"text": "no click"}, "job.record": {"test": opened.Reply.Next.ID, "answer": "unsure"},
		"job.retract": {"entry": 1}, "job.skip": {"test": opened.Reply.Next.ID},
		"job.repair": {"suspect": "coil.open", "action": "new", "result": "gone"}, "job.close": {"outcome": "abandoned"},
		"job.next": {}, "job.suspects": {}, "job.explain": {"suspect": "coil.open"}, "job.show": {}, "job.report": {}, "job.ask": {"text": "what does 87a do?"}, "job.move_rules": {}, "job.picture": {"kind": "circuit"}, "job.watch": {},
	}
	ws, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(r.url, "http")+"/ws", http.Header{"Authorization": {"Bearer " + deskToken}})
	require.NoError(t, err)
	defer ws.Close()
	for _, m := range r.server.table.Methods() {
		params, about := calls[m.Name]
		if !strings.HasPrefix(m.Name, "job.") || m.Name == "job.open" || m.Name == "job.list" {
			continue
		}
		require.True(t, about, "%s is not tried here", m.Name)
		params["job"] = opened.Job
		for _, call := range []caller{desk, overSocket(ws)} {
			a := call.raw(t, m.Name, params)
			require.NotNil(t, a.Error, m.Name)
			if a.Error.Code != codeWebSocketOnly {
				assert.Equal(t, codeNotFound, a.Error.Code, m.Name)
				nowhere := object{}
				for k, v := range params {
					nowhere[k] = v
				}
				nowhere["job"] = "20260101-nobody"
				b := call.raw(t, m.Name, nowhere)
				assert.Equal(t, strings.ReplaceAll(b.Error.Message, "20260101-nobody", opened.Job), a.Error.Message, "it looks like a job that never was")
			}
		}
	}
	var view session.JobView
	phone.ask(t, "job.show", job, &view)
	assert.Equal(t, opened.Reply.Seq, view.Seq, "nothing was written")
	for i, call := range []caller{phone, shop, desk} {
		var list session.JobList
		call.ask(t, "job.list", object{}, &list)
		assert.Len(t, list.Jobs, []int{1, 1, 0}[i])
	}
	shop.ask(t, "job.tell", object{"job": opened.Job, "text": "where are we"}, nil)
}

// A link works once and soon; the cookie it leaves can't be read by a page's
// scripts, is sent to no other site, and opens what the token opens.
func TestALinkBecomesACookie(t *testing.T) {
	r := startServer(t, withTokens)
	var link struct {
		Link    string
		Minutes int
	}
	resp, body := do(t, "POST", r.url+"/link", "", bearer(phoneToken))
	require.Equal(t, 200, resp.StatusCode, body)
	require.NoError(t, json.Unmarshal([]byte(body), &link))
	assert.True(t, strings.HasPrefix(link.Link, r.url+"/enter/"), link.Link)
	assert.NotContains(t, link.Link, phoneToken)

	resp, _ = get(t, link.Link, nil)
	require.Equal(t, 200, resp.StatusCode)
	require.Len(t, resp.Cookies(), 1)
	cookie := resp.Cookies()[0]
	assert.True(t, cookie.HttpOnly && cookie.SameSite == http.SameSiteStrictMode && cookie.Path == "/" && cookie.Domain == "", "%v", cookie)
	assert.NotContains(t, cookie.Value, phoneToken)
	again, _ := get(t, link.Link, nil)
	assert.Equal(t, 403, again.StatusCode, "once only")

	header := http.Header{"Cookie": {cookie.Name + "=" + cookie.Value}, "Content-Type": {"application/json"}}
	resp, body = do(t, "POST", r.url+"/rpc", `{"jsonrpc":"2.0","id":1,"method":"job.open","params":{"complaint":"dead"}}`, header)
	require.Equal(t, 200, resp.StatusCode, body)
	for i, call := range []caller{r.as(phoneToken), r.as(deskToken)} {
		var list session.JobList
		call.ask(t, "job.list", object{}, &list)
		assert.Len(t, list.Jobs, []int{1, 0}[i], "the cookie stands for the phone's token")
	}
	for _, foreign := range []http.Header{
		{"Origin": {"http://evil.example"}},
		{"Sec-Fetch-Site": {"cross-site"}},
		{"Sec-Fetch-Site": {"same-site"}},
		{"Host": {"evil.example"}},
	} {
		for k, v := range header {
			foreign[k] = v
		}
		resp, _ = do(t, "POST", r.url+"/rpc", `{"jsonrpc":"2.0","id":1,"method":"job.list"}`, foreign)
		assert.Equal(t, 403, resp.StatusCode, "%v", foreign)
	}
	secret := strings.TrimPrefix(link.Link, r.url+"/enter/")
	assert.NotContains(t, r.log.String(), secret)
	assert.NotContains(t, r.log.String(), cookie.Value)
}

func TestLinksAndCookiesEnd(t *testing.T) {
	p := newPasses()
	now := time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)
	p.now = func() time.Time { return now }
	late := p.link(Token{Name: "phone"})
	now = now.Add(linkFor + time.Second)
	_, ok := p.enter(late)
	assert.False(t, ok)
	cookie, ok := p.enter(p.link(Token{Name: "phone"}))
	require.True(t, ok)
	token, ok := p.holder(cookie)
	assert.True(t, ok && token.Name == "phone")
	now = now.Add(cookieFor + time.Second)
	_, ok = p.holder(cookie)
	assert.False(t, ok)
	for range mostPasses + 10 {
		now = now.Add(time.Millisecond)
		cookie = p.link(Token{})
	}
	assert.Len(t, p.links, mostPasses)
	_, ok = p.enter(cookie)
	assert.True(t, ok, "the newest is there")
}

// http.Client's own cookie jar does what a browser does with the cookie.
func TestABrowsersWay(t *testing.T) {
	r := startServer(t, withTokens)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	browser := &http.Client{Jar: jar}
	link := r.url + "/enter/" + r.server.passes.link(hashed("desk", deskToken))
	for _, c := range []struct {
		url    string
		status int
	}{{r.url + "/openrpc.json", 401}, {link, 200}, {r.url + "/openrpc.json", 200}} {
		resp, err := browser.Get(c.url)
		require.NoError(t, err)
		_ = resp.Body.Close()
		assert.Equal(t, c.status, resp.StatusCode, c.url)
	}
}

// Tokens are changed while the service runs: whoever has one that was withdrawn is out, the
// others notice nothing.
func TestTokensAreChanged(t *testing.T) {
	r := startServer(t, withTokens)
	address := "ws" + strings.TrimPrefix(r.url, "http") + "/ws"
	connect := func(header http.Header) *websocket.Conn {
		ws, _, err := websocket.DefaultDialer.Dial(address, header)
		require.NoError(t, err)
		t.Cleanup(func() { _ = ws.Close() })
		return ws
	}
	phone, desk := connect(http.Header{"Authorization": {"Bearer " + phoneToken}}), connect(http.Header{"Authorization": {"Bearer " + deskToken}})
	var opened session.Opened
	overSocket(desk).ask(t, "job.open", fan(), &opened)
	cookie := r.server.cookieName() + "=" + r.server.passes.give(r.server.passes.cookies, hashed("phone", phoneToken), time.Hour)
	browser := connect(http.Header{"Cookie": {cookie}})
	resp, _ := get(t, r.url+"/openrpc.json", http.Header{"Cookie": {cookie}})
	require.Equal(t, 200, resp.StatusCode)

	const newToken = "NEWPHONENEWPHONENEWPHONENEWPHONE"
	require.NoError(t, r.server.SetTokens(Tokens{hashed("phone", newToken), hashed("desk", deskToken)}))
	for _, ws := range []*websocket.Conn{phone, browser} {
		require.NoError(t, ws.SetReadDeadline(time.Now().Add(5*time.Second)))
		_, _, err := ws.ReadMessage()
		var end *websocket.CloseError
		require.ErrorAs(t, err, &end)
		require.Equal(t, websocket.ClosePolicyViolation, end.Code)
		require.Equal(t, "this token was withdrawn", end.Text)
	}
	overSocket(desk).ask(t, "job.show", object{"job": opened.Job}, nil)
	for header, status := range map[string]int{"Bearer " + phoneToken: 401, "Bearer " + shopToken: 401, "Bearer " + newToken: 200, "Bearer " + deskToken: 200} {
		resp, _ := get(t, r.url+"/openrpc.json", http.Header{"Authorization": {header}})
		assert.Equal(t, status, resp.StatusCode, header)
	}
	resp, _ = get(t, r.url+"/openrpc.json", http.Header{"Cookie": {cookie}})
	assert.Equal(t, 401, resp.StatusCode)
	require.Error(t, r.server.SetTokens(nil), "nobody opens it to everyone by a slip")
	resp, _ = get(t, r.url+"/openrpc.json", nil)
	assert.Equal(t, 401, resp.StatusCode)
	require.Eventually(t, func() bool {
		r.server.live.mu.Lock()
		defer r.server.live.mu.Unlock()
		return len(r.server.live.of) == 1
	}, 5*time.Second, time.Millisecond)
}

func TestTokenFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "token")
	made, err := EnsureTokenFile(path)
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Len(t, strings.TrimSpace(string(content)), 52)
	again, err := ReadTokenFile(path)
	require.NoError(t, err)
	assert.Equal(t, made, again)
	_, ok := Tokens{made}.find(strings.TrimSpace(string(content)))
	assert.True(t, ok)
	other, err := EnsureTokenFile(filepath.Join(t.TempDir(), "token"))
	require.NoError(t, err)
	assert.NotEqual(t, made, other)

	require.NoError(t, os.Chmod(path, 0o640))
	_, err = ReadTokenFile(path)
	assert.ErrorContains(t, err, "others can read")
	require.NoError(t, os.Chmod(path, 0o600))
	for content, words := range map[string]string{"": "holds no token", "short": "holds no token", strings.Repeat("two words ", 9): "holds no token"} {
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
		_, err = ReadTokenFile(path)
		assert.ErrorContains(t, err, words, "%q", content)
	}
	_, err = EnsureTokenFile(filepath.Join(t.TempDir(), "no", "folder"))
	assert.ErrorContains(t, err, "cannot be made")
	_, err = ReadTokenFile(filepath.Join(t.TempDir(), "token"))
	assert.ErrorContains(t, err, "cannot be read")
}

func TestTokensFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "tokens")
	write := func(content string) {
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
	}
	write("# front ends\n\nphone " + TokenHash(phoneToken) + "\n  desk\t" + strings.ToUpper(TokenHash(deskToken)) + "\nphone " + TokenHash(shopToken) + "\n")
	tokens, err := ReadTokens(path)
	require.NoError(t, err)
	for token, name := range map[string]string{phoneToken: "phone", deskToken: "desk", shopToken: "phone"} {
		found, ok := tokens.find(token)
		assert.True(t, ok)
		assert.Equal(t, name, found.Name)
	}
	write("phone\n" + strings.Repeat("x", 41) + " " + TokenHash("a") + "\nde/sk " + TokenHash("a") + "\ndesk abc\n")
	_, err = ReadTokens(path)
	for _, words := range []string{"tokens:1: ", "tokens:2: ", "tokens:3: ", "tokens:4: what follows desk"} {
		assert.ErrorContains(t, err, words)
	}
	write("# none\n")
	_, err = ReadTokens(path)
	assert.ErrorContains(t, err, "holds no token")
	_, err = ReadTokens(path + "x")
	assert.ErrorContains(t, err, "cannot be read")
}

// Behind an address that takes all of the machine's, the address a connection came
// to is a name of ours, and so are those given; a page's own name never is.
func TestNamesBeyondThisMachine(t *testing.T) {
	r := startServer(t, withTokens, func(o *Options) {
		l, err := Listen("0.0.0.0:0", true)
		require.NoError(t, err)
		o.Listener, o.Hosts = l, []string{"Shop.example"}
	})
	_, port, err := net.SplitHostPort(r.server.listener.Addr().String())
	require.NoError(t, err)
	for host, status := range map[string]int{
		"127.0.0.1:" + port: 200, "127.0.0.2:" + port: 403, "localhost:" + port: 200, "shop.example:" + port: 200, "SHOP.example:" + port: 200,
		"shop.example": 403, "evil.example:" + port: 403, "0.0.0.0:" + port: 403, "192.0.2.1:" + port: 403, "127.0.0.1": 403,
	} {
		resp, body := get(t, "http://127.0.0.1:"+port+"/healthz", http.Header{"Host": {host}})
		assert.Equal(t, status, resp.StatusCode, "%s: %s", host, body)
	}
	resp, _ := get(t, "http://127.0.0.2:"+port+"/healthz", http.Header{"Host": {"127.0.0.2:" + port}})
	assert.Equal(t, 200, resp.StatusCode)
}
