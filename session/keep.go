package session

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"

	"coilside/rules"
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
	b, err := s.keptBase(hash)
	if err == nil {
		return b, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		s.o.Log.Warn().Err(err).Msg("kept rules cannot be used")
	}
	return s.inForce(), []string{"This job was opened with other rules than those in force, and they are not at hand; it is shown as those in force see it."}
}

// keptBase gives the rules of that hash, from memory or made ready from where they
// were kept. It is an error (fs.ErrNotExist) if they are in neither.
func (s *Service) keptBase(hash string) (*base, error) {
	s.mu.Lock()
	b := s.bases[hash]
	s.mu.Unlock()
	if b != nil {
		return b, nil
	}
	if s.o.Journal == nil {
		return nil, fs.ErrNotExist
	}
	book, err := rulekeep.Load(s.o.Journal, hash)
	if err != nil {
		return nil, err
	}
	return s.prepare(book)
}

// rulesFor gives the rules of that name or content hash; "" is those in force.
// Rules that jobs were made with stay at hand by their hash.
func (s *Service) rulesFor(name string) (*base, error) {
	now := s.inForce()
	if name == "" || name == now.book.Name || name == now.book.Hash {
		return now, nil
	}
	if isHash(name) {
		if b, err := s.keptBase(name); err == nil {
			return b, nil
		}
	}
	return nil, &Error{Kind: NotFound, Field: "ruleset", Nearest: rules.Nearest(name, []string{now.book.Name}),
		Message: "there is no ruleset " + short(name) + "; in force is " + now.book.Name}
}

// isHash reports whether a name is a content hash: SHA-256 in hex.
func isHash(name string) bool {
	sum, err := hex.DecodeString(name)
	return err == nil && len(sum) == sha256.Size
}
