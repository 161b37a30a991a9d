package session

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/session/journal"
)

// job is one job. Its mutex guards everything below it; the log is the truth and
// the case is what replaying it gives.
type job struct {
	id   string
	head atomic.Pointer[head] // nil = the log has to be read for it

	following atomic.Bool // what others wrote is about to be looked at

	mu    sync.Mutex
	read  bool // log and file are set
	file  *journal.File
	log   []Entry
	keys  map[string]keyed
	notes []string // about the replay: other rules than it was opened with
	base  *base
	c     *diagnosis.Case // nil until needed
	found *findings       // what c says now; nil = not asked yet
	conversation
	given  map[string]rules.Value // facts of the opening; nil = not computed yet
	listen listeners
}

// keyed is a call that was made with an idempotency key, and its reply.
type keyed struct {
	call  string
	reply Reply
}

// seq is the job's running number: that of its last entry.
func (j *job) seq() int { return len(j.log) }

func (j *job) opening() *OpenRequest { return j.log[0].Opened }

func (j *job) outcome() string {
	for _, e := range standing(j.log) {
		if e.Kind == kindClosed {
			return e.Closed
		}
	}
	return ""
}

// load reads the job's log from disk, once.
func (j *job) load(s *Service) error {
	if j.read {
		return nil
	}
	file, lines, err := s.o.Journal.Open(j.id)
	if err != nil {
		j.head.Store(nil) // what it says may be no truer than the log
		return j.unread(err)
	}
	j.keys = map[string]keyed{}
	if j.warned == nil {
		j.warned = map[string]bool{}
	}
	log, err := j.entries(file, lines)
	if err != nil {
		return err
	}
	if len(log) == 0 || log[0].Opened == nil {
		return j.damaged(file.Path(), 1, "opens no job")
	}
	j.file, j.log, j.read = file, log, true
	j.takeHead()
	if j.head.Load() == nil {
		h := s.makeHead(j)
		j.head.Store(h)
		file.SetHead(marshalled(h))
	}
	return nil
}

// entries reads what the last records of a file say, and keeps the replies to keyed calls
// among them.
func (j *job) entries(file *journal.File, last [][]byte) ([]Entry, error) {
	var log []Entry
	for i, line := range last {
		var r record
		if err := json.Unmarshal(line, &r); err != nil {
			return nil, j.damaged(file.Path(), file.Records()-len(last)+i+1, "is no record of a job")
		}
		log = append(log, r.Entries...)
		if r.Key != "" && r.Reply != nil {
			j.keys[r.Key] = keyed{call: r.Call, reply: *r.Reply}
		}
	}
	return log, nil
}

// unread says why the job's log cannot be read.
func (j *job) unread(err error) error {
	var damaged *journal.Damaged
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return noJob(j.id)
	case errors.As(err, &damaged):
		return j.damaged(damaged.File, damaged.Line, damaged.Problem)
	}
	return storageError(err, j.id, "the job's log cannot be read")
}

// damaged says that the log cannot be relied on, and what to do. Its folder is the
// server's own affair: only the file is named.
func (j *job) damaged(path string, line int, problem string) error {
	return &Error{Kind: Damaged, Job: j.id, File: filepath.Base(path), Line: line,
		Message: fmt.Sprintf("the log of job %s cannot be trusted: in %s, %s. Nothing was changed. Put the file back from a copy, or open a new job",
			j.id, filepath.Base(path), recordWords(j.id, line, problem))}
}

// recordWords says which record of a log has a problem, where it is one of them.
func recordWords(job string, record int, problem string) string {
	if record == 0 {
		return problem
	}
	return fmt.Sprintf("record %d of job %s %s", record, job, problem)
}

// replay computes the case from the log.
func (j *job) replay(s *Service, tell func(Progress)) error {
	if j.c != nil || j.onCourse() && j.base != nil {
		return nil
	}
	j.base, j.notes = s.baseFor(rulesOf(j.log))
	j.given = nil
	if j.onCourse() {
		return nil // what it stands at is worked out from the log when it is asked
	}
	c, err := j.base.open(j.opening())
	if err != nil {
		return j.unreplayable(j.log[0], err)
	}
	for i, e := range j.log[1:] {
		tell(Progress{Job: j.id, What: "entries replayed", Done: i, Of: len(j.log) - 1})
		if err := apply(c, j.log[:i+1], e); err != nil {
			return j.unreplayable(e, err)
		}
	}
	j.c, j.found = c, nil
	return nil
}

func (j *job) unreplayable(e Entry, err error) error {
	return &Error{Kind: Rules, Job: j.id,
		Message: fmt.Sprintf("job %s cannot be replayed on the rules in force: entry %d (%s): %v", j.id, e.Entry, e.Kind, err)}
}

// rulesOf is the content hash of the rules a job stands on: those it was opened
// with, or was moved to last.
func rulesOf(log []Entry) string {
	for _, e := range slices.Backward(log) {
		if e.Moved != nil {
			return e.Moved.To
		}
	}
	return log[0].Rules
}

// forget drops the case, so that the next use replays the log.
func (j *job) forget() { j.c, j.found = nil, nil }

// findings is what a case says at one moment.
type findings struct {
	ranking    []diagnosis.Ranked
	best       []diagnosis.Proposal // up to mostTests, best first
	conclusion *diagnosis.Conclusion
	cautions   []string
	advice     []string
	proof      []proofPart // of the last repair
	proofKnown bool
}

// now asks the case, once between two entries.
func (j *job) now() *findings {
	if j.found == nil {
		j.found = &findings{ranking: j.c.Ranking(), best: j.c.Next(mostTests), conclusion: j.c.Conclusion(),
			cautions: j.c.Cautions(), advice: j.c.Advice()}
		if !j.readAnything() {
			j.found.conclusion = nil // however likely: nothing is proved without a reading
		}
	}
	return j.found
}

// readAnything reports whether anything certain was read or seen.
func (j *job) readAnything() bool {
	return slices.ContainsFunc(standing(j.log), func(e Entry) bool { return e.Kind == kindReading && !e.Reading.Answer.Unsure })
}

// mostTests bounds the tests that are weighed for showing.
const mostTests = 8

// apply gives one entry to a case; log holds the entries before it.
func apply(c *diagnosis.Case, log []Entry, e Entry) error {
	switch e.Kind {
	case kindReading:
		r := e.Reading
		return c.Read(diagnosis.Reading{Entry: e.Entry, Test: r.Test, Measure: r.Measure, Setup: r.Setup, Answer: diagnosis.Answer(r.Answer)})
	case kindFact:
		return c.Tell(e.Entry, e.Fact.Fact, rules.Value(e.Fact.Value))
	case kindSkipped:
		return c.Skip(e.Entry, e.Skipped.Test)
	case kindRepaired:
		return c.Repair(diagnosis.Repair{Entry: e.Entry, Suspect: e.Repaired.Suspect, Result: e.Repaired.Result, Now: e.Repaired.Now})
	case kindRetracted:
		for _, n := range e.Retracted {
			if !inCase[log[n-1].Kind] {
				continue
			}
			if err := c.Retract(n); err != nil {
				return err
			}
		}
	}
	return nil
}

// inCase are the kinds of entry that the case knows of.
var inCase = map[string]bool{kindReading: true, kindFact: true, kindSkipped: true, kindRepaired: true}

// shown is the ranking as it goes into the log.
func (j *job) shown() []Shown {
	if j.onCourse() {
		return nil
	}
	ranking := j.now().ranking
	out := make([]Shown, 0, mostShown)
	for _, r := range ranking[:min(mostShown, len(ranking))] {
		out = append(out, Shown{Suspect: r.Suspect, Probability: r.Probability})
	}
	return out
}

// mostShown bounds the suspects of a reply and of the ranking in the log.
const mostShown = 5
