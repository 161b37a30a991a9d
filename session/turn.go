package session

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"coilside/engine/diagnosis"
	"coilside/session/journal"
	"coilside/session/words"
)

// turn is one call that may write: the entries it makes and what is to be said
// about them. Either all of it is kept or nothing.
type turn struct {
	s     *Service
	j     *job
	now   time.Time
	said  string         // the utterance, for Tell
	start int            // entries in the log before the turn
	far   func(Progress) // told how far a replay is

	understood []Understood
	lines      []string // said first: answers to commands, what was not understood
	stops      []string // what to stop at once, said before all else
	warnings   []string // cautions of this turn only
	ran        bool     // the load may have run while something was measured unasked
	asked      []words.Question
	warned     []string // cautions and advice said for the first time
	steps      []string // of the test at hand, said because they were asked for
}

func (s *Service) newTurn(j *job) *turn {
	return &turn{s: s, j: j, now: s.o.Clock().UTC().Truncate(time.Millisecond), start: len(j.log), far: func(Progress) {}}
}

// add numbers an entry, gives it to the case and puts it in the log.
func (t *turn) add(e Entry) (int, error) {
	e.Entry = len(t.j.log) + 1
	e.Turn = t.start + 1
	e.Time, e.Engine, e.Rules, e.Said = t.now, t.s.o.Engine, t.j.base.book.Hash, t.said
	if e.Kind != kindOpened && !t.j.onCourse() {
		if err := apply(t.j.c, t.j.log, e); err != nil {
			return 0, diagnosisError(err)
		}
	}
	t.j.log = append(t.j.log, e)
	t.j.found = nil
	return e.Entry, nil
}

func (t *turn) say(format string, args ...any) {
	t.lines = append(t.lines, fmt.Sprintf(format, args...))
}

// made lists the numbers of the turn's entries.
func (t *turn) made() []int {
	made := []int{}
	for _, e := range t.j.log[t.start:] {
		made = append(made, e.Entry)
	}
	return made
}

// undo takes the turn's entries out of the log again; the case is replayed when
// it is next needed.
func (t *turn) undo() {
	if len(t.j.log) > t.start {
		t.j.log = t.j.log[:t.start]
		t.j.forget()
	}
}

// diagnosisError makes a refusal of the diagnosis one that callers can act on.
func diagnosisError(err error) error {
	var ours *Error
	if errors.As(err, &ours) {
		return err
	}
	var unsafe *diagnosis.UnsafeError
	if errors.As(err, &unsafe) {
		return refuse(Unsafe, "%s", unsafe.Message)
	}
	return refuse(Invalid, "%s", err.Error())
}

// write does one call that may write to a job: it checks key and if_seq, lets
// do make its entries, composes the reply and keeps the whole on disk before it
// answers.
func (s *Service) write(ctx context.Context, w Write, call any, do func(*turn) error) (Reply, error) {
	if err := checkText("key", w.Key); err != nil {
		return Reply{}, err
	}
	j, unlock, err := s.lock(ctx, w.Job)
	if err != nil {
		return Reply{}, err
	}
	defer unlock()
	if s.shared() {
		defer s.o.Journal.Turn(j.id)()
		err = j.catchUp(s)
	}
	for err == nil {
		if err := j.replay(s, telling(ctx)); err != nil {
			return Reply{}, err
		}
		reply, moved := s.writeTo(ctx, j, w, call, do)
		if !errors.Is(moved, journal.ErrMoved) {
			return reply, moved
		}
		if err = ctx.Err(); err == nil {
			err = j.catchUp(s)
		}
	}
	return Reply{}, err
}

// writeTo does the call on a job as it is in memory. It is journal.ErrMoved, and nothing
// done, where another program has written to the job meanwhile.
func (s *Service) writeTo(ctx context.Context, j *job, w Write, call any, do func(*turn) error) (Reply, error) {
	print := fingerprint(call)
	if before, ok := j.keys[w.Key]; ok && w.Key != "" {
		if before.call != print {
			return Reply{}, &Error{Kind: Conflict, Field: "key", Job: j.id, Message: "this key was used for another call; take a new one"}
		}
		return before.reply, nil
	}
	if w.IfSeq != nil && *w.IfSeq != j.seq() {
		return Reply{}, &Error{Kind: Conflict, Field: "if_seq", Job: j.id,
			Message: fmt.Sprintf("the job has moved on: it stands at %d, not %d. Read it again", j.seq(), *w.IfSeq)}
	}
	t := s.newTurn(j)
	t.far = telling(ctx)
	returned := false
	defer func() {
		if !returned { // a panic is on its way, and the case half done
			t.undo()
			j.forget()
		}
	}()
	err := do(t)
	var reply Reply
	if err == nil {
		reply, err = t.finish(w.Key, print)
	}
	returned = true
	if err != nil {
		t.undo()
		return Reply{}, inJob(err, j.id)
	}
	return reply, nil
}

// finish composes the reply and writes the turn's entries, if it made any.
func (t *turn) finish(key, call string) (Reply, error) {
	j := t.j
	if err := j.replay(t.s, t.far); err != nil {
		return Reply{}, err
	}
	was := j.conversation // before composing, which notes what was said in full
	reply := t.compose()
	j.conversation = j.conversation.after(t)
	if len(j.log) == t.start {
		t.s.keepConversation(j)
		return reply, nil
	}
	j.log[len(j.log)-1].Shown = t.j.shown()
	r := record{Entries: j.log[t.start:]}
	if key != "" {
		r.Key, r.Call, r.Reply = key, call, &reply
	}
	if err := t.s.store(j, r, t.start == 0); err != nil {
		j.conversation = was
		return Reply{}, err
	}
	if key != "" {
		j.keys[key] = keyed{call: call, reply: reply}
	}
	j.listen.send(j.change())
	return reply, nil
}

// store keeps a record, the first one of a new job. The errors fs.ErrExist and
// journal.ErrMoved say that another came first.
func (s *Service) store(j *job, r record, first bool) error {
	put := s.append
	if first {
		put = s.enlist
	}
	err := put(j, r)
	if err == nil || errors.Is(err, fs.ErrExist) || errors.Is(err, journal.ErrMoved) {
		return err
	}
	s.o.Log.Error().Err(err).Str("job", j.id).Msg("entry not written")
	return storageError(err, j.id, "nothing was stored, and the job is as it was")
}

// append writes one record to the job's file, where it has one.
func (s *Service) append(j *job, r record) error {
	h := s.makeHead(j)
	if j.file == nil {
		j.head.Store(h)
		return nil
	}
	payload, err := json.Marshal(r)
	if err != nil {
		return err
	}
	if err := j.file.Append(payload, marshalled(h)); err != nil {
		return err
	}
	j.head.Store(h)
	return nil
}

func inJob(err error, id string) error {
	var e *Error
	if errors.As(err, &e) && e.Job == "" {
		e.Job = id
	}
	return err
}

// fingerprint tells calls apart that use the same key.
func fingerprint(call any) string {
	data, err := json.Marshal(call)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:16])
}
