package session

import (
	"bytes"
	"context"
	"errors"
	"time"

	"coilside/session/journal"
)

// Several instances may serve the jobs of one database. The log there is the truth: each
// call takes up what other instances have written before it looks at a job, and a call that
// comes late to write takes up what was written meanwhile and is done anew. So two clients
// at two instances are served as two clients at one.

// shared reports whether other instances may write to the same jobs.
func (s *Service) shared() bool { return s.o.Journal != nil && s.o.Journal.Shared() }

// find gives the job of that name, nil where there is none. One that another instance may
// have opened is there from now on; lock finds out whether it is.
func (s *Service) find(id string) *job {
	s.mu.Lock()
	defer s.mu.Unlock()
	j := s.jobs[id]
	if j == nil && s.shared() && journal.ValidName(id) {
		j = &job{id: id}
		s.jobs[id] = j
	}
	return j
}

// unseen takes a job that is nowhere out again, and logs what else kept it from being read.
func (s *Service) unseen(j *job, why error) {
	if e, ok := errors.AsType[*Error](why); !ok || e.Kind != NotFound || !s.shared() {
		s.o.Log.Error().Err(why).Str("job", j.id).Msg("job cannot be read")
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.jobs[j.id] == j {
		delete(s.jobs, j.id)
	}
}

// holds reports whether the job is the one of its name.
func (s *Service) holds(j *job) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.jobs[j.id] == j
}

// look makes sure that the job's log in memory is the one that is stored.
func (j *job) look(s *Service) error {
	switch {
	case !j.read:
		return j.load(s)
	case s.shared():
		return j.catchUp(s)
	}
	return nil
}

// catchUp takes up what others have written and tells the job's watchers.
func (j *job) catchUp(s *Service) error {
	before := j.seq()
	news, fresh, err := j.file.News()
	switch {
	case errors.Is(err, journal.ErrMoved): // put back from a copy, or damaged
		j.rest(true)
		err = j.load(s)
	case err != nil:
		err = j.unread(err)
	case fresh:
		err = j.takeUp(news)
	}
	if err == nil && j.seq() != before {
		j.listen.send(j.change())
	}
	return err
}

// takeUp adds records of others to the log and to the case.
func (j *job) takeUp(news [][]byte) error {
	entries, err := j.entries(j.file, news)
	if err != nil {
		j.rest(true)
		return err
	}
	for _, e := range entries {
		if j.c != nil && (e.Moved != nil || apply(j.c, j.log, e) != nil) {
			j.forget() // the replay tells what is wrong
		}
		j.log = append(j.log, e)
	}
	j.found = nil
	j.takeHead()
	return nil
}

// takeHead takes the head that is stored with the log, and the conversation in it.
func (j *job) takeHead() {
	h := readHead(journal.Head{Name: j.id, Head: j.file.Head()})
	if h == nil {
		return
	}
	j.head.Store(h)
	if h.Conversation != nil {
		j.conversation = *h.Conversation
	}
}

// keepConversation stores what a turn without entries has changed.
func (s *Service) keepConversation(j *job) {
	if !s.shared() {
		return
	}
	if h := marshalled(s.makeHead(j)); !bytes.Equal(h, j.file.Head()) {
		j.file.SetHead(h)
	}
}

// refresh learns of the jobs that other instances have opened, and how all of them stand.
func (s *Service) refresh() error {
	if !s.shared() {
		return nil
	}
	heads, err := s.o.Journal.Heads()
	if err != nil {
		return storageError(err, "", "the jobs cannot be listed")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, stored := range heads {
		j := s.jobs[stored.Name]
		if j == nil {
			j = &job{id: stored.Name}
			s.jobs[stored.Name] = j
		}
		h, known := readHead(stored), j.head.Load()
		if h == nil || known == nil || h.Seq > known.Seq {
			j.head.Store(h)
		}
	}
	return nil
}

const (
	firstFollowWait = 50 * time.Millisecond // between two tries to reach the database
	mostFollowWait  = 5 * time.Second
)

// FollowOthers tells the watchers of this instance what others write, until ctx ends.
// Where there can be no others it returns at once.
func (s *Service) FollowOthers(ctx context.Context) {
	if !s.shared() {
		return
	}
	wait := firstFollowWait
	for ctx.Err() == nil {
		err := s.o.Journal.Follow(ctx, func(id string) {
			wait = firstFollowWait
			s.told(ctx, id)
		})
		if ctx.Err() != nil {
			return
		}
		s.o.Log.Warn().Err(err).Msg("not following what other instances write; trying again")
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
		wait = min(2*wait, mostFollowWait)
	}
}

// told has a job that was written to followed, or, where it has no name, all of them.
func (s *Service) told(ctx context.Context, id string) {
	if id == "" {
		s.o.Log.Info().Msg("following what other instances write")
		if err := s.refresh(); err != nil {
			s.o.Log.Warn().Err(err).Msg("jobs not listed")
		}
	}
	if j := s.find(id); j != nil {
		j.follow(ctx, s)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, j := range s.jobs {
		j.follow(ctx, s)
	}
}

// follow catches up with a job that is watched, unless that is under way already.
func (j *job) follow(ctx context.Context, s *Service) {
	if j.following.Swap(true) {
		return
	}
	go func() {
		j.mu.Lock()
		defer j.mu.Unlock()
		j.following.Store(false) // what is told from here on is looked at anew
		if !j.listen.any() {
			return
		}
		err := j.look(s)
		if err == nil {
			s.used(j)
		}
		if e, ok := errors.AsType[*Error](err); ok && e.Kind == Storage && ctx.Err() == nil {
			time.AfterFunc(mostFollowWait, func() { j.follow(ctx, s) })
		}
	}()
}
