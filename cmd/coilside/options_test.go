package main

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"io"
	"math/big"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ran runs a command of the program to its end.
func ran(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), args, strings.NewReader(stdin), &out, &errs)
	return code, strings.TrimSpace(out.String()), errs.String()
}

func statusOf(t *testing.T, url, token string) int {
	t.Helper()
	ask, err := http.NewRequest("POST", url+"/rpc", strings.NewReader(`{"jsonrpc":"2.0","id":1,"method":"job.list"}`))
	require.NoError(t, err)
	ask.Header.Set("Content-Type", "application/json")
	if token != "" {
		ask.Header.Set("Authorization", "Bearer "+token)
	}
	answer, err := http.DefaultClient.Do(ask)
	require.NoError(t, err)
	_, err = io.Copy(io.Discard, answer.Body)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	return answer.StatusCode
}

// With a token file and tokens of front ends the service opens to those only; chat
// and link on the same data folder find the token by themselves.
func TestServeWithTokens(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	tokenFile, tokens := filepath.Join(folder, "token"), filepath.Join(folder, "tokens")
	code, phone, errs := ran(t, "", "token", "--name", "phone", "--tokens", tokens)
	require.Zero(t, code, errs)
	require.Len(t, phone, 52)
	kept, err := os.ReadFile(tokens)
	require.NoError(t, err)
	assert.NotContains(t, string(kept), phone)
	url := serveFor(t, "--data", data, "--token-file", tokenFile, "--tokens", tokens, "--listen", "0.0.0.0:0")
	require.Regexp(t, `^http://127\.0\.0\.1:\d+$`, url, "where this machine reaches it")
	content, err := os.ReadFile(tokenFile)
	require.NoError(t, err)
	shop := strings.TrimSpace(string(content))
	for token, status := range map[string]int{"": 401, "wrong": 401, phone: 200, shop: 200} {
		assert.Equal(t, status, statusOf(t, url, token), token)
	}
	code, out, errs := ran(t, "the lamp never runs\n24\nlamp\nnothing moves\n\n\n", "chat", "--plain", "--data", data)
	require.Zero(t, code, errs)
	require.NotEmpty(t, out)
	code, link, errs := ran(t, "", "link", "--data", data)
	require.Zero(t, code, errs)
	require.True(t, strings.HasPrefix(link, url+"/enter/"), link)
	answer, err := http.Get(link)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.NotEmpty(t, answer.Cookies())

	t.Setenv("COILSIDE_TOKEN", "wrong")
	code, _, errs = ran(t, "", "link", "--data", data)
	assert.Equal(t, exitWrong, code)
	assert.Contains(t, errs, "asks for a token")
}

func TestServeWithTLSAndMetrics(t *testing.T) {
	folder, data := t.TempDir(), t.TempDir()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	about := &x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{"shop.example"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, about, about, &key.PublicKey, key)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	cert, keyFile := filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	require.NoError(t, os.WriteFile(cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), 0o600))
	url := serveFor(t, "--data", data, "--tls-cert", cert, "--tls-key", keyFile, "--host", "shop.example", "--token-file", filepath.Join(folder, "token"))
	assert.Regexp(t, `^https://shop\.example:\d+$`, url)
	code, link, errs := ran(t, "", "link", "--data", data)
	require.Zero(t, code, errs)
	assert.Regexp(t, `^https://127\.0\.0\.1:\d+/enter/`, link)

	// Whoever shows another certificate than the service was started with gets no token.
	content, err := os.ReadFile(filepath.Join(data, addressFile))
	require.NoError(t, err)
	var a announcement
	require.NoError(t, json.Unmarshal(content, &a))
	about.SerialNumber = big.NewInt(2)
	other, err := x509.CreateCertificate(rand.Reader, about, about, &key.PublicKey, key)
	require.NoError(t, err)
	a.Certificate = filepath.Join(folder, "other.pem")
	require.NoError(t, os.WriteFile(a.Certificate, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: other}), 0o600))
	service, err := a.remote()
	require.NoError(t, err)
	_, err = service.link(t.Context())
	assert.ErrorContains(t, err, "another certificate")
}

func TestPrintConfig(t *testing.T) {
	t.Setenv("COILSIDE_MAX_RATE", "11")
	token := filepath.Join(t.TempDir(), "token")
	code, out, errs := ran(t, "", "serve", "--print-config", "--token-file", token)
	require.Zero(t, code, errs)
	assert.Contains(t, out, "max_rate: 11 # COILSIDE_MAX_RATE")
	folder, err := stateFolder()
	require.NoError(t, err)
	assert.Contains(t, out, "data: "+folder+" # default")
	assert.NoFileExists(t, token, "nothing is done")
}
