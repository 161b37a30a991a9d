package session

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// Record stores a reading in structured form: of a test by its id, or, unasked,
// of any measure and setup. An answer to a test that commands a moving load
// counts as accepting its caution: a program has read it in the test's cautions.
// What was measured unasked accepts nothing. A reading taken in a way that the gates
// forbid is kept, and the reply begins with what to stop.
//
// Errors: NotFound for an unknown test; Invalid, naming the field, for an answer
// the test does not take or that cannot be; Unsafe for ohms on a live place.
func (s *Service) Record(ctx context.Context, r RecordRequest) (Reply, error) {
	call := r
	call.Write = Write{}
	return s.write(ctx, r.Write, call, func(t *turn) error {
		if err := t.writable(); err != nil {
			return err
		}
		if t.j.onCourse() {
			return t.recordCourse(r)
		}
		reading, kind, err := t.resolve(r)
		if err != nil {
			return err
		}
		if err := fits(reading.Measure, kind, reading.Answer); err != nil {
			return err
		}
		if err := possible(reading.Measure, reading.Answer, t.j.systemVolts()); err != nil {
			return err
		}
		if err := t.j.deadForOhms(reading); err != nil {
			return err
		}
		return t.store(reading, t.j.words(reading), nil)
	})
}

// writable refuses to change a job that is closed.
func (t *turn) writable() error {
	if outcome := t.j.outcome(); outcome != "" {
		return &Error{Kind: Closed, Job: t.j.id, Message: "this job is closed (" + outcome + "); open a new one"}
	}
	return nil
}

// store puts a reading in the log and notes what was understood.
func (t *turn) store(r Reading, words string, notes []string) error {
	stop := t.j.stopFor(r) // by what was known when it was done
	n, err := t.add(Entry{Kind: kindReading, Reading: &r, Words: words, Notes: notes})
	if err != nil {
		return err
	}
	if stop != "" {
		t.stops = appendNew(t.stops, sentence(withMarks(stop, t.j.labels())))
	}
	t.ran = t.ran || mayHaveRun(r)
	u := Understood{Entry: &n, Words: words, Test: r.Test, Answer: &r.Answer}
	if r.Measure.Mode != "" {
		u.Measure, u.Setup = &r.Measure, &r.Setup
	}
	t.understood = append(t.understood, u)
	return nil
}

// resolve completes a reading: which measurement a test's id stands for, and
// which answers it takes.
func (t *turn) resolve(r RecordRequest) (Reading, AnswerKind, error) {
	book := t.j.base.book
	switch {
	case r.Test != "" && r.Measure != nil:
		return Reading{}, AnswerKind{}, invalid("test", "give test, or measure and setup, not both")
	case r.Test != "":
		test, ok := book.Test(r.Test)
		if !ok {
			return Reading{}, AnswerKind{}, noTest(book, r.Test)
		}
		reading := Reading{Test: r.Test, Measure: test.Measure, Setup: test.Setup, Answer: r.Answer}
		allowed := t.j.c.Allowed() // what each is worth is not asked for: that takes the most time
		if i := slices.IndexFunc(allowed, func(p diagnosis.Proposal) bool { return p.Test.ID == r.Test }); i >= 0 {
			reading.Measure, reading.Setup = allowed[i].Measure, allowed[i].Setup
		} else if m, ok := t.j.fillMeasure(test.Measure); ok {
			reading.Measure = m
		}
		return reading, answerKind(test.Measure, test.Of), nil
	case r.Measure == nil:
		return Reading{}, AnswerKind{}, invalid("test", "say what was measured: test, or measure and setup")
	case r.Setup == nil:
		return Reading{}, AnswerKind{}, invalid("setup", "setup is missing: relay in, out or bench; key on or off; command on or off")
	}
	if err := checkMeasure(*r.Measure); err != nil {
		return Reading{}, AnswerKind{}, err
	}
	if err := checkSetup(*r.Setup); err != nil {
		return Reading{}, AnswerKind{}, err
	}
	return Reading{Measure: *r.Measure, Setup: *r.Setup, Answer: r.Answer}, answerKind(*r.Measure, nil), nil
}

func noTest(book *rules.Book, id string) *Error {
	known := make([]string, len(book.Tests))
	for i, t := range book.Tests {
		known[i] = t.ID
	}
	e := &Error{Kind: NotFound, Field: "test", Test: short(id), Message: "there is no test " + strconv.Quote(short(id))}
	if e.Nearest = rules.Nearest(id, known); e.Nearest != "" {
		e.Message += "; did you mean " + strconv.Quote(e.Nearest) + "?"
	}
	return e
}

// Retract takes an entry back, and with it everything that followed from it.
// Errors: NotFound where there is no such entry, Invalid for one that cannot be
// taken back.
func (s *Service) Retract(ctx context.Context, r RetractRequest) (Reply, error) {
	call := r
	call.Write = Write{}
	return s.write(ctx, r.Write, call, func(t *turn) error {
		if err := t.writable(); err != nil {
			return err
		}
		return t.takeBack([]int{r.Entry})
	})
}

// takeBack retracts entries and says so.
func (t *turn) takeBack(entries []int) error {
	for _, n := range entries {
		if n < 1 || n > len(t.j.log) {
			return &Error{Kind: NotFound, Field: "entry", Message: "there is no entry " + strconv.Itoa(n) + "; the job has " + strconv.Itoa(len(t.j.log))}
		}
		e := t.j.log[n-1]
		switch {
		case taken(t.j.log)[n]:
			return invalid("entry", "entry %d was taken back already", n)
		case e.Kind == kindOpened:
			return invalid("entry", "entry %d opened the job and cannot be taken back; open a new job", n)
		case e.Kind == kindMoved:
			return invalid("entry", "entry %d moved the job to other rules and cannot be taken back; move it back instead", n)
		case e.Kind == kindRetracted || e.Kind == kindClosed:
			return invalid("entry", "entry %d cannot be taken back: it is no reading, fact, skip or repair", n)
		}
	}
	if _, err := t.add(Entry{Kind: kindRetracted, Retracted: entries}); err != nil {
		return err
	}
	for _, n := range entries {
		t.say("Taken back: %s.", withoutDot(t.j.log[n-1].Words))
	}
	return nil
}

// Skip says that a test can't or won't be done now; it is not proposed again
// until a repair or until the skip is taken back.
func (s *Service) Skip(ctx context.Context, r SkipRequest) (Reply, error) {
	call := r
	call.Write = Write{}
	return s.write(ctx, r.Write, call, func(t *turn) error {
		if err := t.writable(); err != nil {
			return err
		}
		if err := checkText("reason", r.Reason); err != nil {
			return err
		}
		if r.Test == "" {
			return invalid("test", "test is missing: say which test is skipped")
		}
		if t.j.onCourse() {
			return t.skipCourse(r.Test, r.Reason)
		}
		if _, ok := t.j.base.book.Test(r.Test); !ok {
			return noTest(t.j.base.book, r.Test)
		}
		return t.skip(r.Test, r.Reason)
	})
}

func (t *turn) skip(test, reason string) error {
	words := "skipped: " + t.j.testWords(test)
	n, err := t.add(Entry{Kind: kindSkipped, Skipped: &Skipped{Test: test, Reason: reason}, Words: words})
	if err != nil {
		return err
	}
	t.understood = append(t.understood, Understood{Entry: &n, Words: words, Test: test})
	return nil
}

// skipAt skips all tests at places that cannot be got at.
func (t *turn) skipAt(places []string, reason string) error {
	skipped := false
	for _, p := range t.j.c.Allowed() {
		if !isAt(p.Measure, places) {
			continue
		}
		if err := t.skip(p.Test.ID, reason); err != nil {
			return err
		}
		skipped = true
	}
	if !skipped {
		t.say("There is no test there to skip.")
	}
	return nil
}

// isAt tells that a measurement needs one of the places at the relay, or is at none but the places and what it
// is read against.
func isAt(m rules.Measure, places []string) bool {
	at, elsewhere := false, false
	for _, p := range []string{m.Red, m.Black, m.At, m.From, m.To} {
		switch {
		case slices.Contains(places, p):
			at = true
			if strings.Contains(p, ".8") || strings.HasSuffix(p, ".30") {
				return true
			}
		case p != "" && p != "chassis" && !strings.HasPrefix(p, "battery."):
			elsewhere = true
		}
	}
	return at && !elsewhere
}

// Repair says what was done about a suspect and what became of the complaint.
func (s *Service) Repair(ctx context.Context, r RepairRequest) (Reply, error) {
	call := r
	call.Write = Write{}
	return s.write(ctx, r.Write, call, func(t *turn) error {
		if err := t.writable(); err != nil {
			return err
		}
		if err := t.j.diagnosing(); err != nil {
			return err
		}
		if err := checkText("action", r.Action); err != nil {
			return err
		}
		if !slices.Contains(results, r.Result) {
			return notOneOf("result", r.Result, results)
		}
		if _, ok := t.j.base.book.Suspect(r.Suspect); !ok {
			return noSuspect(t.j.base.book, r.Suspect)
		}
		if complaints := complaintsOf(t.j.base.book); r.Now != "" && !slices.Contains(complaints, r.Now) {
			return notOneOf("now", r.Now, complaints)
		}
		if r.Now != "" && r.Result == "gone" {
			return notOneOf("result", r.Result, []string{"still_there", "changed"})
		}
		return t.repair(Repaired{Suspect: r.Suspect, Action: r.Action, Result: r.Result, Now: r.Now})
	})
}

var results = []string{"gone", "still_there", "changed"}

var resultWords = map[string]string{
	"gone": "the complaint is gone", "still_there": "the complaint is still there", "changed": "the complaint has changed",
}

func (t *turn) repair(r Repaired) error {
	words := "repaired: " + t.j.suspectWords(r.Suspect)
	if r.Action != "" {
		words += " (" + r.Action + ")"
	}
	words += "; " + resultWords[r.Result]
	if r.Now != "" {
		words += ": now " + complaintWords(t.j.base.book, r.Now)
	}
	r.Proof = t.j.chooseProof(r.Suspect, r.Result)
	n, err := t.add(Entry{Kind: kindRepaired, Repaired: &r, Words: words})
	if err != nil {
		return err
	}
	t.understood = append(t.understood, Understood{Entry: &n, Words: words})
	return nil
}

func noSuspect(book *rules.Book, id string) *Error {
	known := make([]string, len(book.Suspects))
	for i, s := range book.Suspects {
		known[i] = s.ID
	}
	e := &Error{Kind: NotFound, Field: "suspect", Message: "there is no suspect " + strconv.Quote(short(id))}
	if e.Nearest = rules.Nearest(id, known); e.Nearest != "" {
		e.Message += "; did you mean " + strconv.Quote(e.Nearest) + "?"
	}
	return e
}

var outcomes = []string{"fixed", "unproven", "abandoned"}

// Close ends a job; nothing can be added to it afterwards.
func (s *Service) Close(ctx context.Context, r CloseRequest) (Reply, error) {
	call := r
	call.Write = Write{}
	return s.write(ctx, r.Write, call, func(t *turn) error {
		if err := t.writable(); err != nil {
			return err
		}
		if !slices.Contains(outcomes, r.Outcome) {
			return notOneOf("outcome", r.Outcome, outcomes)
		}
		if t.j.onCourse() {
			return t.closeCourse(r.Outcome)
		}
		return t.close(r.Outcome)
	})
}

// close ends the job. As fixed it can be ended only with the repair proven.
func (t *turn) close(outcome string) error {
	why := t.j.unproven()
	if outcome == "fixed" && why != "" {
		e := invalid("outcome", "this job can't be closed as fixed: %s. Close it as unproven, or prove the repair", why)
		e.Nearest = "unproven"
		return e
	}
	words := "closed: " + outcome
	if outcome == "unproven" && t.j.repaired() != nil && why != "" {
		words += " (" + why + ")"
	}
	n, err := t.add(Entry{Kind: kindClosed, Closed: outcome, Proven: outcome == "fixed" && t.j.repaired() != nil, Words: words})
	if err != nil {
		return err
	}
	t.understood = append(t.understood, Understood{Entry: &n, Words: "the job is closed: " + outcome})
	return nil
}
