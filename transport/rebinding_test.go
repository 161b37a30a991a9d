package transport

import (
	"bytes"
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"coilside/session"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// needed finds a program that a test runs. Where there is none, the test is passed
// over; .ci/run installs it and has its absence fail.
func needed(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil && os.Getenv("COILSIDE_CI") == "" {
		t.Skipf("%s is not installed", program)
	}
	require.NoError(t, err)
	return path
}

// attackPage asks everything of the service as a page of the same origin would, and
// tells what it got.
const attackPage = `<!doctype html><title>a recipe</title><script>
async function status(path, options) {
  try { return String((await fetch(path, options)).status); } catch (e) { return "failed"; }
}
function socket() {
  return new Promise(done => {
    const ws = new WebSocket("ws://" + location.host + "/ws");
    ws.onopen = () => done("open");
    ws.onerror = () => done("failed");
  });
}
(async () => {
  const call = {jsonrpc: "2.0", id: 1, method: "job.open", params: {complaint: "dead"}};
  const json = {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(call)};
  const told = {
    read: await status("/openrpc.json"),
    write: await status("/rpc", json),
    form: await status("/rpc", {method: "POST", mode: "no-cors", body: JSON.stringify(call)}),
    socket: await socket(),
  };
  await fetch("/told", {method: "POST", body: JSON.stringify(told)});
})();
</script>`

// rebound serves the page at a name, and then has the name lead to the service, as
// DNS rebinding does: for the browser it is one origin all along. It gives what the
// page tells.
func rebound(t *testing.T, service string) (at string, told chan map[string]string) {
	t.Helper()
	to, err := url.Parse(service)
	require.NoError(t, err)
	// The same port, as the browser has it in the origin, at another address.
	l, err := net.Listen("tcp4", "127.0.0.2:"+to.Port())
	require.NoError(t, err)
	told = make(chan map[string]string, 1)
	mux := http.NewServeMux()
	mux.HandleFunc("GET /recipe", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte(attackPage))
	})
	mux.HandleFunc("POST /told", func(_ http.ResponseWriter, r *http.Request) {
		got := map[string]string{}
		assert.NoError(t, json.NewDecoder(r.Body).Decode(&got))
		told <- got
	})
	mux.Handle("/", &httputil.ReverseProxy{Rewrite: func(p *httputil.ProxyRequest) {
		p.Out.URL.Scheme, p.Out.URL.Host = "http", to.Host // what the name now leads to; Host and Origin stay
	}})
	evil := &http.Server{Handler: mux, ReadHeaderTimeout: 10 * time.Second}
	go func() { _ = evil.Serve(l) }()
	t.Cleanup(func() { _ = evil.Close() })
	return "http://evil.example:" + to.Port() + "/recipe", told
}

// browse opens a page in Chromium, for which evil.example is at 127.0.0.2, until
// the test ends.
func browse(t *testing.T, page string) {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	browser := exec.CommandContext(ctx, needed(t, "chromium"), "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run",
		"--disable-background-networking", "--no-proxy-server", "--user-data-dir="+t.TempDir(),
		"--host-resolver-rules=MAP evil.example 127.0.0.2", "--remote-debugging-port=0", page)
	browser.Cancel = func() error { return browser.Process.Signal(os.Interrupt) }
	browser.WaitDelay = 5 * time.Second
	var out bytes.Buffer
	browser.Stdout, browser.Stderr = &out, &out
	require.NoError(t, browser.Start())
	t.Cleanup(func() {
		stop()
		_ = browser.Wait()
		if t.Failed() {
			t.Log(out.String())
		}
	})
}

// A page whose name was re-pointed at this machine is, for the browser, of the same
// origin as the service. In real Chromium it reads nothing, writes nothing and opens
// no socket. Where its name is one of ours, it does: so the page does what it should.
func TestAReboundPageInChromium(t *testing.T) {
	for name, c := range map[string]struct {
		hosts []string
		want  map[string]string
		jobs  int
	}{
		"foreign name": {nil, map[string]string{"read": "403", "write": "403", "form": "403", "socket": "failed"}, 0},
		"our own name": {[]string{"evil.example"}, map[string]string{"read": "200", "write": "200", "form": "415", "socket": "open"}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := startServer(t, func(o *Options) { o.Hosts = c.hosts })
			page, told := rebound(t, r.url)
			browse(t, page)
			select {
			case got := <-told:
				assert.Equal(t, c.want, got)
			case <-time.After(time.Minute):
				require.Fail(t, "the page told nothing")
			}
			var list session.JobList
			overHTTP(r).ask(t, "job.list", object{}, &list)
			assert.Len(t, list.Jobs, c.jobs)
			assert.Equal(t, c.hosts == nil, strings.Contains(r.log.String(), `"status":403`))
		})
	}
}
