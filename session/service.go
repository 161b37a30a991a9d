// Package session keeps jobs: their log, the conversation about them, and what
// the diagnosis makes of both. It owns its concurrency: a Service is safe for
// concurrent use, and calls about one job are done one after the other.
package session

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/session/journal"
	"coilside/session/rulecase"
	"coilside/session/words"
)

// Options is what a Service stands on.
type Options struct {
	Book    *rules.Book                     // the rulebook in force
	Reload  func() (*rules.Book, error)     // reads the rule folders again; nil = the rules are fixed
	Cases   func() ([]rulecase.Case, error) // reads the cases beside the rules; nil = none
	Journal *journal.Store                  // where logs, and the rules they were made with, are kept; nil = in memory only
	Clock   func() time.Time                // nil = time.Now
	IDs     func() string                   // names of new jobs; nil = the day and random letters
	Engine  string                          // version written into logs; "" = this one
	Log     zerolog.Logger
	// Experience has the proven repairs of closed jobs sharpen the priors, counted when the
	// rules are loaded.
	Experience bool
	// MostOpen bounds the jobs that are open at once, for each front end; 0 = no bound.
	MostOpen int
	// MostResident and MostResidentBytes bound the jobs kept in memory and about how much they take there; others are
	// read back when they are asked for. 0 = 256 jobs and 512 MiB.
	MostResident, MostResidentBytes int
}

// Version is the engine's version that is written into every entry.
const Version = "1"

// Service is the assistant: every job, and every call on them.
type Service struct {
	o Options

	reloading sync.Mutex // one reload at a time

	mu      sync.Mutex
	base    *base            // in force
	counted *ExperienceUsed  // what closed jobs add to the rules in force; nil = nothing
	bad     *RulesRefused    // why the rule folders as they are now are not in force; nil if they are
	bases   map[string]*base // by content hash: jobs keep the rules they were opened with
	jobs    map[string]*job

	residents residents
	lessons   lessons
}

// base is a rulebook made ready: compiled for diagnosis and for plain words.
type base struct {
	book      *rules.Book
	knowledge *diagnosis.Knowledge
	reader    *words.Reader
	wirings   func() ([]*ways, error) // of each circuit, worked out once
}

// New makes a Service. It compiles the rulebook and looks for the jobs on
// disk; a job's log is read back when the job is first asked for.
func New(o Options) (*Service, error) {
	if o.Book == nil {
		return nil, errors.New("a session needs a rulebook")
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Engine == "" {
		o.Engine = Version
	}
	s := &Service{o: o, bases: map[string]*base{}, jobs: map[string]*job{}}
	s.residents.most = cmp.Or(max(o.MostResident, 0), defaultResident)
	s.residents.mostBytes = cmp.Or(max(o.MostResidentBytes, 0), defaultResidentBytes)
	if o.IDs == nil {
		s.o.IDs = s.dayAndLetters
	}
	b, err := s.prepare(o.Book)
	if err != nil {
		return nil, err
	}
	s.base = b
	if o.Journal == nil {
		return s, nil
	}
	heads, err := o.Journal.Heads()
	if err != nil {
		return nil, err
	}
	for _, h := range heads {
		j := &job{id: h.Name}
		j.head.Store(readHead(h))
		s.jobs[h.Name] = j
	}
	if o.Experience {
		if err := s.put(o.Book); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// prepare makes a rulebook ready, once for each content.
func (s *Service) prepare(book *rules.Book) (*base, error) {
	s.mu.Lock()
	b := s.bases[book.Hash]
	s.mu.Unlock()
	if b != nil {
		return b, nil
	}
	b, err := newBase(book)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if other := s.bases[book.Hash]; other != nil {
		return other, nil
	}
	s.bases[book.Hash] = b
	return b, nil
}

func newBase(book *rules.Book) (*base, error) {
	knowledge, err := diagnosis.Compile(book)
	if err != nil {
		return nil, err
	}
	reader, err := words.New(book.Words)
	if err != nil {
		return nil, err
	}
	return &base{book: book, knowledge: knowledge, reader: reader, wirings: wiringsOf(book)}, nil
}

// open starts a case from an opening that was checked before or is checked here.
func (b *base) open(o *OpenRequest) (*diagnosis.Case, error) {
	facts, err := factsOf(b, *o)
	if err != nil {
		return nil, err
	}
	for id := range facts {
		if _, ok := b.book.Fact(id); !ok {
			delete(facts, id)
		}
	}
	return b.knowledge.Open(diagnosis.Opening{Complaint: o.Complaint, Facts: facts, Seed: *o.Seed})
}

// lock finds a job, waits for its turn and makes sure that its log is read. The
// function returned gives the turn back.
func (s *Service) lock(ctx context.Context, id string) (*job, func(), error) {
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	if id == "" {
		return nil, nil, invalid("job", "job is missing: give the id that job.open answered")
	}
	j := s.find(id)
	if j == nil {
		return nil, nil, noJob(id)
	}
	j.mu.Lock()
	if !s.holds(j) { // it was not there, and may be now
		j.mu.Unlock()
		return s.lock(ctx, id)
	}
	if err := j.look(s); err != nil {
		s.unseen(j, err)
		j.mu.Unlock()
		return nil, nil, err
	}
	if j.foreign(ctx) {
		j.mu.Unlock()
		return nil, nil, noJob(id)
	}
	s.used(j)
	return j, func() { s.release(j) }, nil
}

// lockCase is lock with the case replayed as well.
func (s *Service) lockCase(ctx context.Context, id string) (*job, func(), error) {
	j, unlock, err := s.lock(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if err := j.replay(s, telling(ctx)); err != nil {
		unlock()
		return nil, nil, err
	}
	return j, unlock, nil
}

// lockDiagnosis is lockCase for what only a diagnosis can answer.
func (s *Service) lockDiagnosis(ctx context.Context, id string) (*job, func(), error) {
	j, unlock, err := s.lockCase(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if err := j.diagnosing(); err != nil {
		unlock()
		return nil, nil, err
	}
	return j, unlock, nil
}

func noJob(id string) *Error {
	return &Error{Kind: NotFound, Field: "job", Job: short(id), Message: fmt.Sprintf("there is no job %q", short(id))}
}

// dayAndLetters names a job so that it can be read out and found again.
func (s *Service) dayAndLetters() string {
	return s.o.Clock().Format("20060102") + "-" + strings.ToLower(rand.Text()[:6])
}

// idForKey names the job of a keyed opening, so that the same key finds it
// again, also after a restart.
func idForKey(owner, key string) string {
	if owner != "" { // two front ends may use the same key
		key = owner + "\x00" + key
	}
	sum := sha256.Sum256([]byte(key))
	return "k-" + hex.EncodeToString(sum[:8])
}

// commonSeed fixes the draws of a job that asks for no other: jobs that start alike then
// share what their start comes to. It is kept in the log, so that it may change.
const commonSeed = uint64(1)

// freeID picks a name for a new job.
func (s *Service) freeID() (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for range 100 {
		id := s.o.IDs()
		if !journal.ValidName(id) {
			return "", refuse(Internal, "%q cannot name a job", id)
		}
		if s.jobs[id] == nil {
			return id, nil
		}
	}
	return "", refuse(Internal, "no free name for a job was found")
}

// enlist puts a new job, with its first record, on disk and among the jobs. It is
// an error (fs.ErrExist) if there is one of that name already.
func (s *Service) enlist(j *job, first record) error {
	s.mu.Lock()
	if s.jobs[j.id] != nil {
		s.mu.Unlock()
		return fs.ErrExist
	}
	s.jobs[j.id] = j // whoever finds it waits for its turn, which j's maker has
	s.mu.Unlock()
	h := s.makeHead(j)
	if s.o.Journal != nil {
		payload, err := json.Marshal(first)
		if err == nil {
			j.file, err = s.o.Journal.Create(j.id, payload, marshalled(h))
		}
		if err != nil {
			s.mu.Lock()
			delete(s.jobs, j.id)
			s.mu.Unlock()
			return err
		}
	}
	j.read = true
	j.head.Store(h)
	s.used(j)
	return nil
}
