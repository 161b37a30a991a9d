package transport

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/rs/zerolog"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReady(t *testing.T) {
	var trouble error
	r := startServer(t, func(o *Options) { o.Ready = func(context.Context) error { return trouble } })
	resp, body := get(t, r.url+"/readyz", nil)
	assert.Equal(t, 200, resp.StatusCode)
	assert.JSONEq(t, `{"status":"ready"}`, body)
	trouble = errors.New("/home/someone/jobs: disk full")
	resp, body = get(t, r.url+"/readyz", nil)
	assert.Equal(t, 503, resp.StatusCode)
	assert.JSONEq(t, `{"status":"not ready"}`, body, "nothing from inside")
	assert.Contains(t, r.log.String(), "disk full")
	resp, _ = get(t, r.url+"/healthz", nil)
	assert.Equal(t, 200, resp.StatusCode, "it lives")
	r.server.stopping.Store(true)
	_, body = get(t, r.url+"/readyz", nil)
	assert.JSONEq(t, `{"status":"stopping"}`, body)
}

// metricsOf fetches the figures and reads them as Prometheus does.
func metricsOf(t *testing.T, url string) map[string]float64 {
	t.Helper()
	resp, body := get(t, url, nil)
	require.Equal(t, 200, resp.StatusCode, body)
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(body))
	require.NoError(t, err)
	out := map[string]float64{}
	for name, f := range families {
		for _, m := range f.Metric {
			key := name
			for _, l := range m.Label {
				key += " " + l.GetValue()
			}
			out[key] = m.GetCounter().GetValue() + m.GetGauge().GetValue() + float64(m.GetHistogram().GetSampleCount())
		}
	}
	return out
}

func TestMetrics(t *testing.T) {
	figures, err := Listen("127.0.0.1:0", false)
	require.NoError(t, err)
	r := startServer(t, withTokens, func(o *Options) { o.Metrics = figures })
	url := "http://" + figures.Addr().String() + "/metrics"
	call := r.as(phoneToken)
	call.ask(t, "job.list", object{}, nil)
	call.raw(t, "job.show", object{"job": "nowhere"})
	call.raw(t, "made.up", object{})
	get(t, r.url+"/made/up", bearer(phoneToken))
	get(t, r.url+"/openrpc.json", bearer("wrong"))
	ws, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(r.url, "http")+"/ws", bearer(phoneToken))
	require.NoError(t, err)
	overSocket(ws).ask(t, "job.open", fan(), nil)
	m := metricsOf(t, url)
	for key, want := range map[string]float64{
		"coilside_calls_total 0 job.list": 1, "coilside_calls_total 1001 job.show": 1, "coilside_calls_total 0 job.open": 1,
		"coilside_call_seconds job.list": 1, "coilside_refused_total token": 1, "coilside_websockets": 1, "coilside_watches": 0,
		"coilside_http_requests_total /rpc 200": 3, "coilside_http_requests_total other 404": 1,
	} {
		assert.Equal(t, want, m[key], key)
	}
	assert.GreaterOrEqual(t, m["coilside_calls_total -32601 other"], 1.0)
	assert.Contains(t, m, "go_goroutines")
	require.NoError(t, ws.Close())
	assert.Eventually(t, func() bool { return metricsOf(t, url)["coilside_websockets"] == 0 }, time.Minute, 10*time.Millisecond)

	resp, _ := get(t, r.url+"/metrics", bearer(phoneToken))
	assert.Equal(t, 404, resp.StatusCode, "on an address of their own")
	resp, _ = get(t, url, http.Header{"Host": {"evil.example"}})
	assert.Equal(t, 403, resp.StatusCode)
}

func TestMetricsBeyondThisMachineAskForAToken(t *testing.T) {
	figures, err := Listen("0.0.0.0:0", true)
	require.NoError(t, err)
	startServer(t, withTokens, func(o *Options) { o.Metrics = figures })
	_, port, err := net.SplitHostPort(figures.Addr().String())
	require.NoError(t, err)
	resp, _ := get(t, "http://127.0.0.1:"+port+"/metrics", nil)
	assert.Equal(t, 401, resp.StatusCode)
	resp, _ = get(t, "http://127.0.0.1:"+port+"/metrics", bearer(shopToken))
	assert.Equal(t, 200, resp.StatusCode)
}

// writeCertificate makes a certificate for this machine and its key, as files.
func writeCertificate(t *testing.T, folder string, serial int64) (certFile, keyFile string, roots *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	about := &x509.Certificate{SerialNumber: big.NewInt(serial), DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, about, about, &key.PublicKey, key)
	require.NoError(t, err)
	pkcs8, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	certFile, keyFile = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	require.NoError(t, os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: pkcs8}), 0o600))
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	roots = x509.NewCertPool()
	roots.AddCert(cert)
	return certFile, keyFile, roots
}

func TestTLS(t *testing.T) {
	cert, key, roots := writeCertificate(t, t.TempDir(), 1)
	r := startServer(t, withTokens, func(o *Options) {
		var err error
		o.TLS, err = TLS(cert, key, zerolog.Nop())
		require.NoError(t, err)
	})
	require.True(t, strings.HasPrefix(r.url, "https://127.0.0.1:"), r.url)
	trusting := &tls.Config{RootCAs: roots}
	web := &http.Client{Transport: &http.Transport{TLSClientConfig: trusting, ForceAttemptHTTP2: true}}
	for origin, want := range map[string]int{"": 200, r.url: 200, "http" + strings.TrimPrefix(r.url, "https"): 403} {
		req, err := http.NewRequest("GET", r.url+"/openrpc.json", nil)
		require.NoError(t, err)
		req.Header = bearer(phoneToken)
		if origin != "" {
			req.Header.Set("Origin", origin)
		}
		resp, err := web.Do(req)
		require.NoError(t, err)
		_ = resp.Body.Close()
		assert.Equal(t, want, resp.StatusCode, origin)
		assert.Equal(t, "HTTP/1.1", resp.Proto, "an upgrade needs it")
	}
	dialer := websocket.Dialer{TLSClientConfig: trusting}
	ws, _, err := dialer.Dial("wss"+strings.TrimPrefix(r.url, "https")+"/ws", bearer(phoneToken))
	require.NoError(t, err)
	overSocket(ws).ask(t, "job.list", object{}, nil)
	require.NoError(t, ws.Close())

	resp, err := web.Get(r.url + "/enter/" + r.server.passes.link((*r.server.tokens.Load())[1]))
	require.NoError(t, err)
	_ = resp.Body.Close()
	require.Len(t, resp.Cookies(), 1)
	cookie := resp.Cookies()[0]
	assert.True(t, cookie.Secure && strings.HasPrefix(cookie.Name, "__Host-"), "%v", cookie)

	old := trusting.Clone()
	old.MaxVersion = tls.VersionTLS11
	_, err = tls.Dial("tcp", strings.TrimPrefix(r.url, "https://"), old)
	assert.Error(t, err)
	plain, _ := get(t, "http"+strings.TrimPrefix(r.url, "https")+"/healthz", nil)
	assert.Equal(t, 400, plain.StatusCode)
}

// Certificates that renew themselves do so while the service runs; one that can't
// be used does not end it.
func TestANewCertificateIsUsed(t *testing.T) {
	folder := t.TempDir()
	certFile, keyFile, _ := writeCertificate(t, folder, 1)
	c := &certificate{certFile: certFile, keyFile: keyFile, log: zerolog.Nop()}
	require.NoError(t, c.read())
	serial := func() int64 {
		c.looked = time.Now().Add(-2 * certificateEvery)
		c.changed = c.changed.Add(-time.Hour) // file systems count coarsely
		pair, err := c.get(nil)
		require.NoError(t, err)
		leaf, err := x509.ParseCertificate(pair.Certificate[0])
		require.NoError(t, err)
		return leaf.SerialNumber.Int64()
	}
	assert.EqualValues(t, 1, serial())
	writeCertificate(t, folder, 2)
	assert.EqualValues(t, 2, serial())
	require.NoError(t, os.WriteFile(keyFile, []byte("half a ke"), 0o600))
	assert.EqualValues(t, 2, serial())
	require.NoError(t, os.Remove(certFile))
	assert.EqualValues(t, 2, serial())
	_, err := TLS(certFile, keyFile, zerolog.Nop())
	assert.ErrorContains(t, err, "cannot be read")
	writeCertificate(t, folder, 3)
	assert.EqualValues(t, 3, serial())
	require.NoError(t, os.WriteFile(keyFile, []byte("half a ke"), 0o600))
	_, err = TLS(certFile, keyFile, zerolog.Nop())
	assert.ErrorContains(t, err, "cannot be used")
}
