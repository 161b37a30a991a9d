package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coilside/session"
)

// addressFile, in the data folder, holds the address of the service that runs on
// it, so that a chat on the same jobs talks to that service.
const addressFile = "service.json"

// announcement is what the file holds.
type announcement struct {
	URL         string `json:"url"`
	TokenFile   string `json:"token_file,omitempty"`  // where its token is, if it takes one
	Certificate string `json:"certificate,omitempty"` // what it shows, if it speaks TLS
}

// announce leaves the address of a running service in its data folder; the
// function returned takes it away again.
func (s *setup) announce(a announcement) (func(), error) {
	if s.store != "" { // a chat is an instance of its own
		return func() {}, nil
	}
	folder, err := s.folder()
	if err != nil {
		return nil, err
	}
	path := filepath.Join(folder, addressFile)
	for _, file := range []*string{&a.TokenFile, &a.Certificate} {
		if *file != "" {
			if *file, err = filepath.Abs(*file); err != nil {
				return nil, fmt.Errorf("the service's address cannot be left for a chat: %w", err)
			}
		}
	}
	content, err := json.Marshal(a)
	if err != nil {
		return nil, err
	}
	if err := os.WriteFile(path, append(content, '\n'), 0o600); err != nil {
		return nil, fmt.Errorf("the service's address cannot be left for a chat: %w", err)
	}
	return func() {
		if now, err := os.ReadFile(path); err == nil && bytes.Equal(bytes.TrimSpace(now), content) {
			_ = os.Remove(path) // a file left behind is found to lead nowhere
		}
	}, nil
}

// folder is the data folder.
func (s *setup) folder() (string, error) {
	if s.data != "" {
		return s.data, nil
	}
	return stateFolder()
}

// running finds the service that runs on the data folder; nil where none does.
func (s *setup) running(ctx context.Context) *remote {
	if s.store != "" {
		return nil
	}
	folder, err := s.folder()
	if err != nil {
		return nil
	}
	content, err := os.ReadFile(filepath.Join(folder, addressFile))
	if err != nil {
		return nil
	}
	var a announcement
	if json.Unmarshal(content, &a) != nil {
		return nil
	}
	r, err := a.remote()
	if err != nil {
		return nil
	}
	quick, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	ask, err := http.NewRequestWithContext(quick, http.MethodGet, r.url+"/healthz", nil)
	if err != nil {
		return nil
	}
	answer, err := r.http.Do(ask)
	if err != nil {
		return nil
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return nil
	}
	return r
}

// remote is a service that runs in another program.
type remote struct {
	url   string
	token string
	http  *http.Client
}

// remote is the service announced. It is trusted by the very certificate it was
// started with, whatever name that is for. The token is the one in COILSIDE_TOKEN,
// or else the one the service was started with.
func (a announcement) remote() (*remote, error) {
	where, err := url.Parse(a.URL)
	if err != nil {
		return nil, err
	}
	if _, err := netip.ParseAddr(where.Hostname()); err != nil {
		return nil, err // services leave addresses, not names
	}
	r := &remote{url: a.URL, token: os.Getenv(environmentPrefix + "TOKEN"), http: &http.Client{Timeout: 30 * time.Second}}
	if r.token == "" && a.TokenFile != "" {
		content, err := os.ReadFile(a.TokenFile)
		if err != nil {
			return nil, err
		}
		r.token = strings.TrimSpace(string(content))
	}
	if a.Certificate != "" {
		config, err := pinned(a.Certificate)
		if err != nil {
			return nil, err
		}
		r.http.Transport = &http.Transport{TLSClientConfig: config}
	}
	return r, nil
}

// pinned trusts the one certificate that is in a PEM file.
func pinned(path string) (*tls.Config, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	block, _ := pem.Decode(content)
	if block == nil {
		return nil, fmt.Errorf("%s holds no certificate", path)
	}
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // the check below is stricter
		VerifyConnection: func(state tls.ConnectionState) error {
			if len(state.PeerCertificates) == 0 || !bytes.Equal(state.PeerCertificates[0].Raw, block.Bytes) {
				return errors.New("the service shows another certificate than it was started with")
			}
			return nil
		},
	}, nil
}

// post sends to the service; the caller closes the answer's body.
func (r *remote) post(ctx context.Context, path string, body []byte) (*http.Response, error) {
	ask, err := http.NewRequestWithContext(ctx, http.MethodPost, r.url+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	ask.Header.Set("Content-Type", "application/json")
	if r.token != "" {
		ask.Header.Set("Authorization", "Bearer "+r.token)
	}
	answer, err := r.http.Do(ask)
	if err != nil {
		return nil, fmt.Errorf("the service at %s cannot be reached: %w", r.url, errors.Unwrap(err))
	}
	if answer.StatusCode == http.StatusUnauthorized {
		_ = answer.Body.Close()
		return nil, fmt.Errorf("the service at %s asks for a token: put one it knows into %sTOKEN", r.url, environmentPrefix)
	}
	return answer, nil
}

// link asks for a link that lets a browser in.
func (r *remote) link(ctx context.Context) (string, error) {
	answer, err := r.post(ctx, "/link", nil)
	if err != nil {
		return "", err
	}
	defer answer.Body.Close()
	content, err := io.ReadAll(io.LimitReader(answer.Body, mostAnswer))
	if err != nil {
		return "", err
	}
	var got struct{ Link string }
	if answer.StatusCode != http.StatusOK || json.Unmarshal(content, &got) != nil {
		return "", errors.New(strings.TrimSpace(string(content)))
	}
	return got.Link, nil
}

func (r *remote) Open(ctx context.Context, o session.OpenRequest) (out session.Opened, err error) {
	return out, r.call(ctx, "job.open", o, &out)
}

func (r *remote) Tell(ctx context.Context, o session.TellRequest) (out session.Reply, err error) {
	return out, r.call(ctx, "job.tell", o, &out)
}

func (r *remote) Show(ctx context.Context, o session.JobRequest) (out session.JobView, err error) {
	return out, r.call(ctx, "job.show", o, &out)
}

func (r *remote) Picture(ctx context.Context, o session.PictureRequest) (out session.Picture, err error) {
	return out, r.call(ctx, "job.picture", o, &out)
}

func (r *remote) List(ctx context.Context, o session.JobsRequest) (out session.JobList, err error) {
	return out, r.call(ctx, "job.list", o, &out)
}

// mostAnswer bounds an answer of the service, in bytes.
const mostAnswer = 16 << 20

// call makes one JSON-RPC call. A refusal comes back as the *session.Error it was.
func (r *remote) call(ctx context.Context, method string, params, result any) error {
	body, err := json.Marshal(map[string]any{"jsonrpc": "2.0", "id": 1, "method": method, "params": params})
	if err != nil {
		return err
	}
	answer, err := r.post(ctx, "/rpc", body)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	content, err := io.ReadAll(io.LimitReader(answer.Body, mostAnswer))
	if err != nil {
		return err
	}
	var got struct {
		Result json.RawMessage `json:"result"`
		Error  *struct {
			Message string `json:"message"`
			Data    struct {
				Kind    session.Kind `json:"kind"`
				Field   string       `json:"field"`
				Nearest string       `json:"nearest"`
			} `json:"data"`
		} `json:"error"`
	}
	if err := json.Unmarshal(content, &got); err != nil {
		return fmt.Errorf("the service at %s answered something else than JSON (%s)", r.url, answer.Status)
	}
	if got.Error != nil {
		return &session.Error{Kind: got.Error.Data.Kind, Message: got.Error.Message, Field: got.Error.Data.Field, Nearest: got.Error.Data.Nearest}
	}
	return json.Unmarshal(got.Result, result)
}
