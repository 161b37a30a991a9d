package session

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// What one front end opened is not there for another, whatever it asks; it is
// there again after a restart, and for callers that are bound to no front end.
func TestJobsOfAnotherFrontEndAreNotThere(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	phone, desk := For(t.Context(), "phone"), For(t.Context(), "desk")
	o, err := s.Open(phone, van())
	require.NoError(t, err)
	for range 2 {
		for name, try := range triesOn(s, o.Job, o.Reply.Next.ID) {
			require.Equal(t, NotFound, kindOf(t, try(desk)), name)
			require.NoError(t, try(phone), name)
		}
		for ctx, jobs := range map[context.Context]int{phone: 1, desk: 0, t.Context(): 1} {
			list, err := s.List(ctx, JobsRequest{})
			require.NoError(t, err)
			require.Len(t, list.Jobs, jobs)
		}
		s = serviceIn(t, folder)
	}
}

// triesOn are calls on a job; those that write can be repeated.
func triesOn(s *Service, job, test string) map[string]func(context.Context) error {
	write := func(key string) Write { return Write{Job: job, Key: key} }
	return map[string]func(context.Context) error{
		"tell": func(c context.Context) error {
			_, err := s.Tell(c, TellRequest{Write: write(""), Text: "why"})
			return err
		},
		"record": func(c context.Context) error {
			_, err := s.Record(c, RecordRequest{Write: write("r"), Test: test, Answer: Answer{Unsure: true}})
			return err
		},
		"skip": func(c context.Context) error {
			_, err := s.Skip(c, SkipRequest{Write: write("s"), Test: test})
			return err
		},
		"repair": func(c context.Context) error {
			_, err := s.Repair(c, RepairRequest{Write: write("p"), Suspect: "coil.open", Action: "new relay", Result: "still_there"})
			return err
		},
		"next":     func(c context.Context) error { _, err := s.Next(c, ListRequest{Job: job}); return err },
		"suspects": func(c context.Context) error { _, err := s.Suspects(c, ListRequest{Job: job}); return err },
		"explain": func(c context.Context) error {
			_, err := s.Explain(c, ExplainRequest{Job: job, Test: test})
			return err
		},
		"show":   func(c context.Context) error { _, err := s.Show(c, JobRequest{job}); return err },
		"report": func(c context.Context) error { _, err := s.Report(c, ReportRequest{Job: job}); return err },
		"watch": func(c context.Context) error {
			_, _, stop, err := s.Subscribe(c, job, nil)
			if err == nil {
				stop()
			}
			return err
		},
	}
}

func TestTheSameKeyOfTwoFrontEndsOpensTwoJobs(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	r := van()
	r.Key = "first"
	seen := map[string]bool{}
	for _, ctx := range []context.Context{For(t.Context(), "phone"), For(t.Context(), "desk"), t.Context()} {
		o, err := s.Open(ctx, r)
		require.NoError(t, err)
		again, err := s.Open(ctx, r)
		require.NoError(t, err)
		require.Equal(t, o.Job, again.Job)
		seen[o.Job] = true
	}
	require.Len(t, seen, 3)
}

// The bound is on jobs that are open, by front end; a closed one makes room, and
// a repeated call gets its job whether or not there is room.
func TestJobsOpenAtOnceAreBounded(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "jobs")
	for range 2 {
		s := serviceIn(t, folder)
		s.o.MostOpen = 2
		phone := For(t.Context(), "phone")
		list, err := s.List(phone, JobsRequest{State: "open"})
		require.NoError(t, err)
		keyed := van()
		keyed.Key = "k"
		var last Opened
		for range 2 - len(list.Jobs) {
			last, err = s.Open(phone, keyed)
			require.NoError(t, err)
			keyed.Key += "k"
		}
		_, err = s.Open(phone, van())
		require.Equal(t, Limit, kindOf(t, err))
		keyed.Key = "k"
		_, err = s.Open(phone, keyed)
		require.NoError(t, err, "its job is there")
		if last.Job == "" {
			continue
		}
		_, err = s.Open(For(t.Context(), "desk"), van())
		require.NoError(t, err, "another has room of its own")
		_, err = s.Close(phone, CloseRequest{Write: Write{Job: last.Job}, Outcome: "abandoned"})
		require.NoError(t, err)
		_, err = s.Open(phone, van())
		require.NoError(t, err, "a closed one made room")
	}
}
