package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coilside/session"
)

// addressFile, in the data folder, holds the address of the service that runs on
// it, so that a chat on the same jobs talks to that service.
const addressFile = "service.url"

// announce leaves the address of a running service in its data folder; the
// function returned takes it away again.
func (s *setup) announce(url string) (func(), error) {
	folder, err := s.folder()
	if err != nil {
		return nil, err
	}
	path := filepath.Join(folder, addressFile)
	if err := os.WriteFile(path, []byte(url+"\n"), 0o600); err != nil {
		return nil, fmt.Errorf("the service's address cannot be left for a chat: %w", err)
	}
	return func() {
		if now, err := os.ReadFile(path); err == nil && strings.TrimSpace(string(now)) == url {
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
	folder, err := s.folder()
	if err != nil {
		return nil
	}
	content, err := os.ReadFile(filepath.Join(folder, addressFile))
	if err != nil {
		return nil
	}
	r := &remote{url: strings.TrimSpace(string(content)), http: &http.Client{Timeout: 30 * time.Second}}
	if !strings.HasPrefix(r.url, "http://127.0.0.1:") && !strings.HasPrefix(r.url, "http://[::1]:") {
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
	url  string
	http *http.Client
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
	ask, err := http.NewRequestWithContext(ctx, http.MethodPost, r.url+"/rpc", bytes.NewReader(body))
	if err != nil {
		return err
	}
	ask.Header.Set("Content-Type", "application/json")
	answer, err := r.http.Do(ask)
	if err != nil {
		return fmt.Errorf("the service at %s cannot be reached: %w", r.url, errors.Unwrap(err))
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
