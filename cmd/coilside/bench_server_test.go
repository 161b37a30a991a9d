package main

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/session"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// workbench stands for the technician: a simulated vehicle behind HTTP, told what
// to measure in which setup, and mended on request.
type workbench struct {
	url string

	mu      sync.Mutex
	vehicle *vehicle.Vehicle
	opening session.OpenRequest
	hidden  []string
}

// newWorkbench puts a scenario's vehicle, with a fault picked by seed, on the bench.
func newWorkbench(t *testing.T, name string, seed uint64) *workbench {
	t.Helper()
	book, err := (&setup{}).loadBook()
	require.NoError(t, err)
	knowledge, err := diagnosis.Compile(book)
	require.NoError(t, err)
	all, err := scenarios()
	require.NoError(t, err)
	s, err := choose(all, name, seed)
	require.NoError(t, err)
	b := &workbench{}
	var complaint string
	b.vehicle, complaint, err = s.hide(book, knowledge.Model(), seed)
	require.NoError(t, err)
	b.hidden = b.vehicle.Faults()
	b.opening, err = s.open()
	require.NoError(t, err)
	b.opening.Complaint, b.opening.Seed = complaint, &seed
	server := httptest.NewServer(b.handler(t))
	t.Cleanup(server.Close)
	b.url = server.URL
	return b
}

func (b *workbench) handler(t *testing.T) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /job", func(w http.ResponseWriter, _ *http.Request) { assert.NoError(t, json.NewEncoder(w).Encode(b.opening)) })
	mux.HandleFunc("POST /measure", func(w http.ResponseWriter, r *http.Request) {
		var asked struct {
			Measure rules.Measure
			Setup   rules.Setup
		}
		b.serve(t, w, r, &asked, func() (any, error) {
			a, err := b.vehicle.Answer(asked.Measure, asked.Setup)
			return map[string]session.Answer{"answer": session.Answer(a)}, err
		})
	})
	mux.HandleFunc("POST /repair", func(w http.ResponseWriter, r *http.Request) {
		var asked struct{ Suspect string }
		b.serve(t, w, r, &asked, func() (any, error) {
			_, err := b.vehicle.Repair(asked.Suspect)
			result := "still_there"
			if b.vehicle.Complaint() == "" {
				result = "gone"
			}
			return map[string]string{"result": result}, err
		})
	})
	return mux
}

func (b *workbench) serve(t *testing.T, w http.ResponseWriter, r *http.Request, asked any, do func() (any, error)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	err := json.NewDecoder(r.Body).Decode(asked)
	var answer any
	if err == nil {
		answer, err = do()
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	assert.NoError(t, json.NewEncoder(w).Encode(answer))
}

// serveFor starts the program's own serve on a folder of its own, with more flags
// if given, and returns its address.
func serveFor(t *testing.T, flags ...string) string {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	var log lockedBuffer
	out, in := pipeOfLines()
	code := make(chan int, 1)
	args := append([]string{"serve", "--listen", "127.0.0.1:0", "--data", t.TempDir()}, flags...)
	go func() {
		code <- run(ctx, args, nil, in, &log)
		_ = in.Close()
	}()
	t.Cleanup(func() {
		stop()
		assert.Equal(t, exitDone, <-code, log.String())
	})
	url, ok := <-out
	require.True(t, ok, log.String())
	return url
}
