package session

import (
	"context"
	"fmt"
)

type ownerKey struct{}

// For returns a context whose calls are made for the front end of that name: they
// see and change the jobs it opened and no others. Calls without it reach all
// jobs.
func For(ctx context.Context, name string) context.Context {
	return context.WithValue(ctx, ownerKey{}, name)
}

// ownerOf is the front end that a call is made for; false for one that reaches
// all jobs.
func ownerOf(ctx context.Context) (string, bool) {
	name, restricted := ctx.Value(ownerKey{}).(string)
	return name, restricted
}

// foreign reports whether a job whose log was read is out of the caller's reach.
func (j *job) foreign(ctx context.Context) bool {
	name, restricted := ownerOf(ctx)
	return restricted && j.log[0].Owner != name
}

// room refuses another job where the caller has Options.MostOpen open already.
func (s *Service) room(ctx context.Context) error {
	s.mu.Lock()
	few := s.o.MostOpen <= 0 || len(s.jobs) < s.o.MostOpen
	s.mu.Unlock()
	if few {
		return nil
	}
	open, err := s.listed(ctx, "open")
	if err == nil && len(open) >= s.o.MostOpen {
		err = &Error{Kind: Limit, Message: fmt.Sprintf("%d jobs are open, which is as many as may be; close some first", len(open))}
	}
	return err
}
