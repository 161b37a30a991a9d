package session

import (
	"context"
	"time"

	"coilside/rules"
)

// RulesReload puts the rule folders as they are now in force. Where they cannot
// be used the rules in force stay, the error names the first problem, and
// RulesList tells of all of them from then on. Open jobs keep the rules they stand on until MoveRules.
func (s *Service) RulesReload(ctx context.Context, _ struct{}) (RulesList, error) {
	if err := ctx.Err(); err != nil {
		return RulesList{}, err
	}
	if err := s.reload(); err != nil {
		return RulesList{}, rulesError(err)
	}
	return s.rulesList(), nil
}

// reload reads the rules and puts them in force, all or nothing.
func (s *Service) reload() error {
	s.reloading.Lock()
	defer s.reloading.Unlock()
	book, err := s.readRules()
	if err == nil {
		err = s.put(book)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil {
		s.bad = &RulesRefused{Time: s.o.Clock().UTC().Truncate(time.Millisecond), Problems: problemsOf(err)}
		s.o.Log.Warn().Err(err).Str("in_force", s.base.book.Hash).Msg("rules not reloaded; the last good ones stay in force")
		return err
	}
	s.bad = nil
	return nil
}

// put has a rulebook in force, with what closed jobs say where that is switched on.
func (s *Service) put(book *rules.Book) error {
	book, counted, err := s.withExperience(context.Background(), book)
	if err != nil {
		return err
	}
	b, err := s.prepare(book)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.counted = counted
	if b == s.base {
		return nil
	}
	s.base = b
	if s.o.Journal != nil { // older ones are read back for the jobs that stand on them
		s.bases = map[string]*base{book.Hash: b}
	}
	s.o.Log.Info().Str("hash", book.Hash).Any("experience", counted).Msg("rules put in force")
	return nil
}

// WatchRules reloads the rules when the stamp of their files is no longer the one
// they were loaded with, until ctx ends.
func (s *Service) WatchRules(ctx context.Context, loaded string, stamp func() string, every time.Duration) {
	WhenChanged(ctx, loaded, stamp, every, func() { _ = s.reload() }) // logged, and told to whoever asks
}

// WhenChanged calls do when the stamp of some files is no longer the one they were loaded
// with, again and again until ctx ends. The stamp is looked at every so often, and has to stand
// still from one look to the next, so that files in the middle of being saved are left
// alone. Looking works on every file system, shared folders included, where notifications
// do not.
func WhenChanged(ctx context.Context, loaded string, stamp func() string, every time.Duration, do func()) {
	done, last := loaded, loaded
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		now := stamp()
		if now == last && now != done {
			done = now
			do()
		}
		last = now
	}
}
