package session

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"sync"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/session/journal"
	"coilside/session/words"
)

// job is one job. Its mutex guards everything below it; the log is the truth and
// the case is what replaying it gives.
type job struct {
	id string

	mu          sync.Mutex
	read        bool // log and file are set
	file        *journal.File
	log         []Entry
	keys        map[string]keyed
	notes       []string // about the replay: other rules than it was opened with
	base        *base
	c           *diagnosis.Case        // nil until needed
	found       *findings              // what c says now; nil = not asked yet
	warned      map[string]bool        // cautions and advice said already
	cautionedAt int                    // number at which the caution of a moving load was last said in full
	asked       []words.Question       // asked back, first one pending; no truth, so not in the log
	given       map[string]rules.Value // facts of the opening; nil = not computed yet
	listen      listeners
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
	var damaged *journal.Damaged
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return noJob(j.id)
	case errors.As(err, &damaged):
		return &Error{Kind: Internal, Job: j.id, File: damaged.File, Line: damaged.Line,
			Message: fmt.Sprintf("the log of job %s cannot be used: %v. Nothing was changed", j.id, damaged)}
	case err != nil:
		return &Error{Kind: Internal, Job: j.id, Message: fmt.Sprintf("the log of job %s cannot be read: %v", j.id, err)}
	}
	j.keys, j.warned = map[string]keyed{}, map[string]bool{}
	var log []Entry
	for i, line := range lines {
		var r record
		if err := json.Unmarshal(line, &r); err != nil {
			return &Error{Kind: Internal, Job: j.id, File: file.Path(), Line: i + 1,
				Message: fmt.Sprintf("the log of job %s cannot be used: line %d: %v", j.id, i+1, err)}
		}
		log = append(log, r.Entries...)
		if r.Key != "" && r.Reply != nil {
			j.keys[r.Key] = keyed{call: r.Call, reply: *r.Reply}
		}
	}
	if len(log) == 0 || log[0].Opened == nil {
		return &Error{Kind: Internal, Job: j.id, File: file.Path(), Message: fmt.Sprintf("the log of job %s is empty", j.id)}
	}
	j.file, j.log, j.read = file, log, true
	return nil
}

// replay computes the case from the log.
func (j *job) replay(s *Service) error {
	if j.c != nil {
		return nil
	}
	j.base, j.notes = s.baseFor(j.log[0].Rules)
	c, err := j.base.open(j.opening())
	if err != nil {
		return j.unreplayable(j.log[0], err)
	}
	for i, e := range j.log[1:] {
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

// forget drops the case, so that the next use replays the log.
func (j *job) forget() { j.c, j.found = nil, nil }

// findings is what a case says at one moment.
type findings struct {
	ranking    []diagnosis.Ranked
	best       []diagnosis.Proposal // up to mostTests, best first
	conclusion *diagnosis.Conclusion
	cautions   []string
	advice     []string
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
		return c.Repair(diagnosis.Repair{Entry: e.Entry, Suspect: e.Repaired.Suspect, Result: e.Repaired.Result})
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
	ranking := j.now().ranking
	out := make([]Shown, 0, mostShown)
	for _, r := range ranking[:min(mostShown, len(ranking))] {
		out = append(out, Shown{Suspect: r.Suspect, Probability: r.Probability})
	}
	return out
}

// mostShown bounds the suspects of a reply and of the ranking in the log.
const mostShown = 5
