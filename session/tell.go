package session

import (
	"context"
	"errors"
	"slices"
	"unicode/utf8"

	"coilside/rules"
	"coilside/session/words"
)

// mostText bounds one utterance, in bytes.
const mostText = 4000

// Tell takes what the technician typed or said, in plain words. What is not
// understood, and a reading that cannot be or must not be taken, is answered in
// the reply and changes nothing; so an error means that the call itself was
// wrong: Limit for a text that is too long, Closed for a job that is closed.
func (s *Service) Tell(ctx context.Context, r TellRequest) (Reply, error) {
	if len(r.Text) > mostText {
		return Reply{}, &Error{Kind: Limit, Field: "text", Job: r.Job,
			Message: "text is too long: at most 4000 bytes at once. Say one or two readings at a time"}
	}
	call := r
	call.Write = Write{}
	return s.write(ctx, r.Write, call, func(t *turn) error {
		if !utf8.ValidString(r.Text) {
			return invalid("text", "text is no UTF-8")
		}
		if err := t.writable(); err != nil {
			return err
		}
		t.said = r.Text
		if t.j.onCourse() {
			return t.tellCourse(r.Text)
		}
		if t.askedInPassing() {
			return nil
		}
		heard := t.j.base.reader.Read(r.Text, t.j.hearing())
		if r.Spoken || t.j.readingBack() {
			heard = t.confirm(heard)
		}
		return t.tell(heard)
	})
}

// hearing is what the reader of plain words is told about the job.
func (j *job) hearing() words.Context {
	c := words.Context{
		Now: j.stand(), Labels: j.labels(), SystemVolts: j.systemVolts(), Terminals: j.terminals(),
		CoilPositive: j.text("coil_positive"), LoadKind: knownKind(j.text("load_kind")), Complaint: j.complaint(), OpenedFor: j.opening().Complaint, Asks: j.asks(),
	}
	c.Last, c.Earlier = j.last()
	if len(j.asked) > 0 {
		c.Asked = &j.asked[0]
	}
	if log := standing(j.log); len(log) > 0 {
		c.NowSaid = log[len(log)-1].Kind == kindStands
	}
	c.Cautioned = j.pendingCaution() != ""
	if p := j.proposal(); p != nil && (j.now().conclusion == nil || j.settled()) {
		kind := answerKind(p.Measure, p.Test.Of)
		c.Expected = &words.Expected{ID: p.Test.ID, Sets: p.Test.Sets, Measure: p.Measure, Setup: p.Setup, Kind: kind.Kind, Of: kind.Of}
	}
	if concluded := j.now().conclusion; concluded != nil && !j.settled() && concluded.Suspects[0] != noFault {
		c.Repairing = concluded.Suspects[0]
	}
	for _, r := range j.now().ranking {
		c.Suspects = append(c.Suspects, words.Named{ID: r.Suspect, Words: j.suspectWords(r.Suspect)})
	}
	return c
}

// knownKind is the load's kind, "" where it is not known.
func knownKind(kind string) string {
	if kind == "unknown" {
		return ""
	}
	return kind
}

// readingBack reports whether numbers heard wait to be confirmed.
func (j *job) readingBack() bool { return len(j.asked) > 0 && len(j.asked[0].Pending) > 0 }

// confirm keeps back the numbers that were heard rather than typed: they are read
// back as a question and stored once confirmed. Corrections that they bring wait with
// them. While they wait, a command that says neither yes nor no leaves them waiting.
func (t *turn) confirm(heard words.Result) words.Result {
	var pending []words.Finding
	var said []string
	if t.j.readingBack() && heard.Answered {
		t.said = t.j.asked[0].Heard + "; " + t.said // the record keeps what was heard, not only the yes
	}
	heard.Findings = slices.DeleteFunc(heard.Findings, func(f words.Finding) bool {
		numeric := f.Answer.Number != nil || f.Answer.MinMax != nil || f.Kind == words.KindFact && f.Value.Kind == rules.Number
		if !numeric || f.Confirmed || t.mayNotTake(f) {
			return false
		}
		pending = append(pending, f)
		said = append(said, withMarks(withoutDot(f.Words), t.j.labels()))
		return true
	})
	if len(pending) == 0 {
		if t.j.readingBack() && !heard.Answered && len(heard.Questions) == 0 && !answersOrParts(heard.Commands) {
			heard.Questions = t.j.asked
		}
		return heard
	}
	correct := func(c words.Command) bool { return c.Kind == words.CmdCorrect }
	yes := words.Choice{Words: "yes", Findings: pending}
	for _, c := range heard.Commands {
		if correct(c) {
			yes.Commands = append(yes.Commands, c)
		}
	}
	heard.Commands = slices.DeleteFunc(heard.Commands, correct)
	q := words.Question{Text: "I heard: " + joined(said, "and") + ". Is that right?", Choices: []words.Choice{yes}, Pending: pending, Heard: t.said}
	heard.Questions = append([]words.Question{q}, heard.Questions...)
	return heard
}

// mayNotTake reports a reading that would be refused: that is said now, not after a yes.
func (t *turn) mayNotTake(f words.Finding) bool {
	return (f.Kind == words.KindAnswer || f.Kind == words.KindReading) && t.mayTake(f) != nil
}

// answersOrParts reports whether a command settles what was read back or leaves it behind.
func answersOrParts(commands []words.Command) bool {
	return slices.ContainsFunc(commands, func(c words.Command) bool {
		switch c.Kind {
		case words.CmdNo, words.CmdUndo, words.CmdUnsure, words.CmdSkip, words.CmdDone, words.CmdRepair:
			return true
		}
		return false
	})
}

// asks are the facts that may be told in words: all but those that a reading sets.
func (j *job) asks() []words.Ask {
	read := map[string]bool{"complaint": true}
	for _, t := range j.base.book.Tests {
		if t.Measure.Mode != rules.Ask {
			for _, id := range t.SetFacts() {
				read[id] = true
			}
		}
	}
	var out []words.Ask
	for _, f := range j.base.book.Facts {
		if read[f.ID] {
			continue
		}
		out = append(out, words.Ask{Fact: f.ID, Kind: f.Kind, Unit: f.Unit, Of: f.Of, Words: f.Words})
	}
	return out
}

// last is what was understood from the last utterance that wrote; earlier are the
// readings before it that stand since the last repair. Both are for corrections.
func (j *job) last() (last, earlier []words.Finding) {
	log := standing(j.log)
	for _, e := range log {
		if e.Kind == kindRepaired {
			last, earlier = nil, nil
		}
		list := &earlier
		if e.Turn == log[len(log)-1].Turn {
			list = &last
		}
		switch {
		case e.Kind == kindReading:
			r := e.Reading
			kind := words.KindReading
			if r.Test != "" {
				kind = words.KindAnswer
			}
			*list = append(*list, words.Finding{Kind: kind, Entry: e.Entry, Test: r.Test, Measure: r.Measure, Setup: r.Setup,
				Answer: words.Answer(r.Answer), Words: e.Words})
		case e.Kind == kindFact && list == &last:
			last = append(last, words.Finding{Kind: words.KindFact, Entry: e.Entry, Fact: e.Fact.Fact, Value: rules.Value(e.Fact.Value), Words: e.Words})
		}
	}
	return last, earlier
}

// tell turns what was understood into entries.
func (t *turn) tell(heard words.Result) error {
	t.asked = heard.Questions
	if heard.Answered && len(t.j.asked) > 1 {
		t.asked = append(slices.Clone(t.asked), t.j.asked[1:]...) // each question gets its turn
	}
	if len(t.j.asked) > 0 && slices.ContainsFunc(heard.Commands, func(c words.Command) bool { return c.Kind == words.CmdNo }) {
		t.asked = nil // "never mind": the question is dropped
		if t.j.readingBack() {
			t.say("Not kept. Say it again.")
			t.asked = t.j.asked[1:]
			heard.Commands = slices.DeleteFunc(heard.Commands, func(c words.Command) bool { return c.Kind == words.CmdNo })
		}
	}
	if len(heard.Questions) == 0 && len(heard.Unread) > 0 && len(heard.Findings) == 0 && len(heard.Commands) == 0 {
		t.asked = t.j.stillAsked() // nothing was understood
	}
	if t.asked == nil && len(heard.Commands) == 0 && t.j.askedOfRepair() {
		t.asked = t.j.asked // what was seen meanwhile is taken; the repair is not lost over it
	}
	for _, u := range heard.Unread {
		t.notRead(u)
	}
	defer t.sayLeft(heard.Left)
	stood := t.j.stand()
	sound := t.acceptable(heard.Findings)
	if len(sound) == 0 && len(heard.Findings) > 0 {
		// A correction whose replacement is refused must not lose the reading.
		heard.Commands = slices.DeleteFunc(heard.Commands, func(c words.Command) bool { return c.Kind == words.CmdCorrect })
	}
	for _, c := range heard.Commands {
		if c.Kind == words.CmdCorrect || c.Kind == words.CmdUndo {
			if err := t.command(c); err != nil {
				return err
			}
		}
	}
	var assumed []string
	for _, f := range sound {
		took, err := t.find(f)
		if err != nil {
			return err
		}
		assumed = appendNew(assumed, took...)
	}
	t.sayAssumed(assumed, stood)
	for _, c := range heard.Commands {
		if c.Kind != words.CmdCorrect && c.Kind != words.CmdUndo {
			if err := t.command(c); err != nil {
				return err
			}
		}
	}
	return nil
}

// stillAsked are the questions asked back once an utterance was not understood: the first
// stands once more, and is then left open, lest it be asked for ever.
func (j *job) stillAsked() []words.Question {
	if len(j.asked) == 0 || j.askedOfRepair() {
		return j.asked
	}
	if j.asked[0].Again {
		return j.asked[1:]
	}
	asked := slices.Clone(j.asked)
	asked[0].Again = true
	return asked
}

// sayLeft says what is not kept because the question about it was left unanswered.
func (t *turn) sayLeft(what string) {
	if what != "" && len(t.asked) == 0 {
		t.say("Not kept: “%s”. Say it again with what was asked, if it counts.", short(what))
	}
}

// sayAssumed says what was not said and was taken for granted, unless the vehicle
// stood so already: the read-back shows that.
func (t *turn) sayAssumed(assumed []string, stood *rules.Setup) {
	known := map[string]bool{"black lead on battery negative": true}
	if stood != nil {
		known[map[string]string{"in": "relay in", "out": "relay out", "bench": "on the bench"}[stood.Relay]] = true
		known["key "+stood.Key], known["switched "+stood.Command] = true, true
	}
	said := slices.DeleteFunc(assumed, func(a string) bool { return known[a] })
	if len(said) > 0 {
		t.say("Not said, so I took it as %s. Say so if not.", joined(said, "and"))
	}
}

// askedOfRepair reports whether the question asked back is about a repair.
func (j *job) askedOfRepair() bool {
	return len(j.asked) > 0 && slices.ContainsFunc(j.asked[0].Choices, func(c words.Choice) bool {
		return len(c.Commands) == 1 && c.Commands[0].Kind == words.CmdRepair
	})
}

func (t *turn) notRead(u words.Unread) {
	line := "I did not take that"
	if u.Text != "" {
		line = "“" + short(u.Text) + "”: I did not take that"
	}
	switch {
	case u.Why == words.AlreadyKept:
		t.say("It is kept like that already; nothing changes.")
		return
	case u.Why == words.NotUnderstood && u.Text != "":
		line = "I did not understand “" + short(u.Text) + "”"
	case u.Why != "":
		line += ": " + withoutDot(u.Why)
	}
	line += "."
	switch {
	case u.Nearest != "":
		line += " I would understand: “" + u.Nearest + "”."
	case u.Sayable != "":
		line += " " + u.Sayable + "."
	}
	t.lines = append(t.lines, line)
}

// acceptable keeps the findings that may be stored and says what is wrong with
// the others.
func (t *turn) acceptable(found []words.Finding) []words.Finding {
	var sound []words.Finding
	for _, f := range found {
		if f.Kind != words.KindAnswer && f.Kind != words.KindReading {
			sound = append(sound, f)
			continue
		}
		if err := t.mayTake(f); err != nil {
			t.refused(err)
			continue
		}
		sound = append(sound, f)
	}
	return sound
}

// refused says why a reading was not stored; a danger is a caution.
func (t *turn) refused(err error) {
	var e *Error
	text := sentence(err.Error()) + " Nothing was stored."
	if errors.As(err, &e) && e.Kind == Unsafe {
		t.warn(text)
		return
	}
	t.lines = append(t.lines, text)
}

// mayTake checks a finding as Record checks a reading.
func (t *turn) mayTake(f words.Finding) error {
	a := Answer(f.Answer)
	var of []string
	if test, ok := t.j.base.book.Test(f.Test); ok {
		of = test.Of
	}
	if err := fits(f.Measure, answerKind(f.Measure, of), a); err != nil {
		return err
	}
	if err := possible(f.Measure, a, t.j.systemVolts()); err != nil {
		return err
	}
	return t.j.deadForOhms(Reading{Test: f.Test, Measure: f.Measure, Setup: f.Setup, Answer: a})
}

func (t *turn) warn(warning string) {
	if warning != "" {
		t.warnings = append(t.warnings, sentence(warning))
	}
}

// find stores one finding and gives what was taken for granted in it. One that the circuit cannot have is answered, not stored.
func (t *turn) find(f words.Finding) (assumed []string, err error) {
	var notes []string
	if f.Hedge != "" {
		notes = append(notes, f.Hedge)
	}
	notes = append(notes, f.Notes...)
	switch f.Kind {
	case words.KindComplaint:
		t.complain(f.Complaint)
	case words.KindFact:
		err = t.tellFact(f, notes)
	default:
		r := Reading{Test: f.Test, Measure: f.Measure, Setup: f.Setup, Answer: Answer(f.Answer)}
		spoken := withMarks(f.Words, t.j.labels())
		if spoken == "" {
			spoken = t.j.words(r)
		}
		err = t.store(r, spoken, notes)
		if err == nil {
			t.warn(f.Warning)
		}
		if err == nil {
			assumed = f.Assumed
		}
	}
	var e *Error
	if errors.As(err, &e) && (e.Kind == Invalid || e.Kind == Unsafe) {
		t.refused(err)
		return nil, nil
	}
	return assumed, err
}

func (t *turn) tellFact(f words.Finding, notes []string) error {
	if r, ok := t.j.readOffTool(f); ok {
		for _, e := range standing(t.j.log) {
			if e.Kind == kindReading && e.Reading.Test == r.Test && e.Reading.Answer.Choice == r.Answer.Choice {
				t.say("It is kept like that already; nothing changes.")
				return nil // said again, it tells no more
			}
		}
		return t.store(r, t.j.words(r), notes)
	}
	if f.Fact == "load_hazard" {
		if err := refuseHazard(f.Value.Text); err != nil {
			return err
		}
	}
	spoken := f.Words
	if spoken == "" {
		spoken = f.Fact
	}
	n, err := t.add(Entry{Kind: kindFact, Fact: &FactTold{Fact: f.Fact, Value: FactValue(f.Value)}, Words: spoken, Notes: notes})
	if err != nil {
		return err
	}
	t.understood = append(t.understood, Understood{Entry: &n, Words: spoken, Fact: f.Fact})
	return nil
}

// readOffTool is what was told as the answer of a question that a tool answers, as the module's data, whether
// it was asked or not: that bears on suspects as a reading does. Nothing where this circuit is not asked so.
func (j *job) readOffTool(f words.Finding) (Reading, bool) {
	at := slices.IndexFunc(j.base.book.Tests, func(t *rules.Test) bool {
		return t.Measure.Mode == rules.Ask && t.Tool != "" && t.Tool != "none" && t.Sets == f.Fact && slices.Contains(t.Of, f.Value.Text)
	})
	if at < 0 {
		return Reading{}, false
	}
	test := j.base.book.Tests[at]
	r := Reading{Test: test.ID, Answer: Answer{Choice: f.Value.Text}}
	for _, e := range slices.Backward(standing(j.log)) {
		if e.Kind == kindReading && e.Reading.Test == test.ID {
			r.Measure, r.Setup = e.Reading.Measure, e.Reading.Setup
			return r, true
		}
	}
	for _, p := range j.c.Allowed() {
		if p.Test.ID == test.ID {
			r.Measure, r.Setup = p.Measure, p.Setup
			return r, true
		}
	}
	return Reading{}, false
}

func (t *turn) complain(complaint string) {
	if complaint == t.j.opening().Complaint {
		t.say("That is what this job is about.")
		return
	}
	t.say("This job was opened for: %s. For another complaint, open another job.", t.j.log[0].Words)
}
