package session

import (
	"errors"
	"io/fs"

	"coilside/session/rulekeep"
)

// keepRules puts the rules that a job is opened with beside the jobs, so that the
// job can be replayed on them after a restart under other rules.
func (s *Service) keepRules(b *base) error {
	if s.o.Journal == nil {
		return nil
	}
	if err := rulekeep.Keep(s.o.Journal, b.book); err != nil {
		s.o.Log.Error().Err(err).Msg("rules not kept")
		return storageError(err, "", "the job was not opened")
	}
	return nil
}

// baseFor gives the rules of that hash, from memory or from where they were kept;
// failing that those in force, with a note that says why.
func (s *Service) baseFor(hash string) (*base, []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if b := s.bases[hash]; b != nil {
		return b, nil
	}
	b, err := s.keptBase(hash)
	if err == nil {
		return b, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		s.o.Log.Warn().Err(err).Msg("kept rules cannot be used")
	}
	return s.base, []string{"This job was opened with other rules than those in force, and they are not at hand; it is shown as those in force see it."}
}

// keptBase makes kept rules ready; s.mu is held.
func (s *Service) keptBase(hash string) (*base, error) {
	if s.o.Journal == nil {
		return nil, fs.ErrNotExist
	}
	book, err := rulekeep.Load(s.o.Journal, hash)
	if err != nil {
		return nil, err
	}
	return s.prepare(book)
}
