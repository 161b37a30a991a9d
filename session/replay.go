package session

import (
	"context"
	"encoding/json"
)

// Replayed says how a job that was replayed from its log compares with what its
// last turn showed.
type Replayed struct {
	Job    string
	Engine string   // version that the last turn was made with
	Notes  []string // on the rules it was replayed on
	Was    []Shown
	Now    []Shown
}

// Same reports whether the ranking is the one shown, byte for byte.
func (r Replayed) Same() bool {
	was, problem := json.Marshal(r.Was)
	now, err := json.Marshal(r.Now)
	return problem == nil && err == nil && string(was) == string(now)
}

// Replay computes a job anew from its log. Errors: those of reading the log, and
// Rules where the job cannot be replayed on the rules at hand.
func (s *Service) Replay(ctx context.Context, id string) (Replayed, error) {
	j, unlock, err := s.lock(ctx, id)
	if err != nil {
		return Replayed{}, err
	}
	defer unlock()
	j.forget()
	if err := j.replay(s, telling(ctx)); err != nil {
		return Replayed{}, err
	}
	last := j.log[len(j.log)-1]
	return Replayed{Job: id, Engine: last.Engine, Notes: j.notes, Was: last.Shown, Now: j.shown()}, nil
}
