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
	"sync"
	"time"

	"github.com/rs/zerolog"

	"coilside/session"
	"coilside/session/journal"
	"coilside/transport"
)

// service is a whole service on this machine, with its jobs on disk.
type service struct {
	folder string
	url    string
	client http.Client
}

// withService does something with a service of its own.
func withService(do func(*service) error) error {
	k, err := shipped()
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "growth")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	store, err := journal.OpenFolder(folder)
	if err != nil {
		return err
	}
	jobs, err := session.New(session.Options{Book: k.Book(), Journal: store})
	if err != nil {
		return err
	}
	listener, err := transport.Listen("127.0.0.1:0", false)
	if err != nil {
		return err
	}
	limits := transport.DefaultLimits
	limits.Rate, limits.Outstanding = 1e6, 10_000 // what is measured is the service, not its brake
	server := transport.New(transport.Options{Service: jobs, Listener: listener, Log: zerolog.Nop(), Limits: limits})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx) }()
	s := &service{folder: folder, url: server.URL() + "/rpc"}
	s.client.Transport = &http.Transport{MaxIdleConnsPerHost: 1_000}
	err = do(s)
	cancel()
	return errors.Join(err, <-done, store.Close())
}

// call makes one call and reads its result.
func (s *service) call(method string, params map[string]any, into any) error {
	text, err := json.Marshal(map[string]any{"jsonrpc": "2.0", "id": 1, "method": method, "params": params})
	if err != nil {
		return err
	}
	resp, err := s.client.Post(s.url, "application/json", bytes.NewReader(text))
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		return err
	}
	var reply struct {
		Result json.RawMessage
		Error  json.RawMessage
	}
	if err := json.Unmarshal(body, &reply); err != nil {
		return fmt.Errorf("%s: %w: %s", method, err, body)
	}
	if reply.Error != nil {
		return fmt.Errorf("%s: %s", method, reply.Error)
	}
	if into == nil {
		return nil
	}
	return json.Unmarshal(reply.Result, into)
}

// open opens a job of a fan that is dead, and gives its name and the test proposed.
func (s *service) open() (job, test string, err error) {
	var opened struct {
		Job   string
		Reply struct{ Next struct{ ID string } }
	}
	err = s.call("job.open", map[string]any{"complaint": "dead", "circuit": map[string]any{
		"system_volts": 12, "contact": "make", "load": map[string]any{"kind": "motor", "moves": true, "hazard": "none"}}}, &opened)
	return opened.Job, opened.Reply.Next.ID, err
}

// record stores an answer that tells nothing; the next test is chosen anew all the same.
func (s *service) record(job, test string) error {
	return s.call("job.record", map[string]any{"job": job, "test": test, "answer": "unsure"}, nil)
}

// jobs records in one of ever more open jobs.
func jobs(repeat int) (*curve, error) {
	c := &curve{title: "record in one job", across: "open jobs", unit: "ms",
		note: "A whole call over HTTP, on disk when it is answered. The answer tells nothing; the next test is chosen anew all the same."}
	return c, withService(func(s *service) error {
		open := 0
		for _, n := range []int{1, 10, 50, 100, 200} {
			for ; open < n-1; open++ {
				if _, _, err := s.open(); err != nil {
					return err
				}
			}
			open++
			job, test, err := s.open()
			if err != nil {
				return err
			}
			took, err := byClock(3*repeat, func() error { return s.record(job, test) })
			if err != nil {
				return err
			}
			c.add(float64(n), ms(took))
		}
		return nil
	})
}

// clients has ever more clients, each on a job of its own, ask for it again and again.
func clients(repeat int) (*curve, error) {
	c := &curve{title: "job.show, with all asking at once", across: "clients", unit: "ms",
		note: "The median by the clock; clients and service share the processors, so that it grows in step once they are all busy."}
	return c, withService(func(s *service) error {
		var names []string
		for _, n := range []int{1, 2, 4, 8, 16, 32} {
			for len(names) < n {
				job, _, err := s.open()
				if err != nil {
					return err
				}
				names = append(names, job)
			}
			took, err := s.atOnce(names, repeat)
			if err != nil {
				return err
			}
			c.add(float64(n), ms(took))
		}
		return nil
	})
}

func (s *service) atOnce(names []string, repeat int) (time.Duration, error) {
	took, failed := make([]time.Duration, len(names)), make([]error, len(names))
	var asking sync.WaitGroup
	for i, job := range names {
		asking.Go(func() {
			took[i], failed[i] = byClock(3*repeat, func() error { return s.call("job.show", map[string]any{"job": job}, nil) })
		})
	}
	asking.Wait()
	for _, err := range failed {
		if err != nil {
			return 0, err
		}
	}
	return median(took), nil
}
