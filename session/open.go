package session

import (
	"context"
	"errors"
	"io/fs"
	"slices"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// Open opens a job. Errors: Invalid with the field and the nearest valid choice;
// Unsafe for a circuit that needs a qualified person; NotFound for a ruleset
// that is not in force.
func (s *Service) Open(ctx context.Context, o OpenRequest) (Opened, error) {
	if err := ctx.Err(); err != nil {
		return Opened{}, err
	}
	b, err := s.rulesFor(o.Ruleset)
	if err != nil {
		return Opened{}, err
	}
	if _, err := factsOf(b, o); err != nil {
		return Opened{}, err
	}
	for {
		opened, err := s.open(ctx, b, o)
		if !errors.Is(err, fs.ErrExist) {
			return opened, err
		}
		if o.Key != "" {
			return s.openedBefore(ctx, o)
		}
	}
}

func (s *Service) open(ctx context.Context, b *base, o OpenRequest) (Opened, error) {
	call := fingerprint(o)
	owner, _ := ownerOf(ctx)
	id := idForKey(owner, o.Key)
	if o.Key == "" {
		var err error
		if id, err = s.freeID(); err != nil {
			return Opened{}, err
		}
	} else if s.has(id) {
		return Opened{}, fs.ErrExist
	}
	if err := s.room(ctx); err != nil {
		return Opened{}, err
	}
	if err := s.keepRules(b); err != nil {
		return Opened{}, err
	}
	if o.Seed == nil {
		seed := commonSeed
		o.Seed = &seed
	}
	var c *diagnosis.Case
	if !slices.Contains(coursePurposes, o.Purpose) {
		var err error
		if c, err = b.open(&o); err != nil {
			return Opened{}, diagnosisError(err)
		}
	}
	j := &job{id: id, keys: map[string]keyed{}, conversation: conversation{warned: map[string]bool{}}, base: b, c: c}
	j.mu.Lock()
	defer s.release(j)
	t := s.newTurn(j)
	key := o.Key
	o.Key = ""
	if _, err := t.add(Entry{Kind: kindOpened, Opened: &o, Owner: owner, Words: openingWords(b.book, o)}); err != nil {
		return Opened{}, err
	}
	reply, err := t.finish(key, call)
	if err != nil {
		return Opened{}, err
	}
	s.o.Log.Info().Str("job", id).Str("complaint", o.Complaint).Msg("job opened")
	return Opened{Job: id, Reply: reply}, nil
}

func (s *Service) has(id string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.jobs[id] != nil
}

// openedBefore answers a keyed opening that was made already.
func (s *Service) openedBefore(ctx context.Context, o OpenRequest) (Opened, error) {
	owner, _ := ownerOf(ctx)
	j, unlock, err := s.lock(ctx, idForKey(owner, o.Key))
	if err != nil {
		return Opened{}, err
	}
	defer unlock()
	before, ok := j.keys[o.Key]
	if !ok || before.call != fingerprint(o) {
		return Opened{}, &Error{Kind: Conflict, Field: "key", Message: "this key opened another job; take a new one"}
	}
	return Opened{Job: j.id, Reply: before.reply}, nil
}

// complaintWords says a complaint in the rulebook's words.
func complaintWords(book *rules.Book, id string) string {
	if i := slices.IndexFunc(book.Complaints, func(c *rules.Complaint) bool { return c.ID == id }); i >= 0 && book.Complaints[i].Words != "" {
		return book.Complaints[i].Words
	}
	return id
}

// openingWords says in one line what a job is about.
func openingWords(book *rules.Book, o OpenRequest) string {
	what := complaintWords(book, o.Complaint)
	if words := courseWords[o.Purpose]; words != "" {
		what = "to " + words
	}
	if o.Label != "" {
		return o.Label + ": " + what
	}
	return what
}
