package session

import (
	"context"
	"slices"
	"strings"

	"coilside/rules"
	"coilside/session/speech"
	"coilside/session/words"
)

// GrammarRequest asks what may be said next.
type GrammarRequest struct {
	Job    string `json:"job"`
	Format string `json:"format"` // srgs, jsgf, phrases
}

// Grammar is what may be said next, for a recogniser of speech. All formats hear the
// same sentences.
type Grammar struct {
	Job     string   `json:"job"`
	Seq     int      `json:"seq"` // the state of the job it is for
	Format  string   `json:"format"`
	Text    string   `json:"text,omitempty"`    // of srgs and jsgf
	Phrases []string `json:"phrases,omitempty"` // of phrases: every sentence, sorted
}

var grammarFormats = []string{"srgs", "jsgf", "phrases"}

// Grammar writes what may be said at this moment of a job: answers to what was asked
// last, readings at a terminal, and commands. What it hears goes to Tell with spoken.
//
// Errors: Invalid naming the field for a format that is none; NotFound for an unknown job.
func (s *Service) Grammar(ctx context.Context, r GrammarRequest) (Grammar, error) {
	if !slices.Contains(grammarFormats, r.Format) {
		return Grammar{}, notOneOf("format", r.Format, grammarFormats)
	}
	j, unlock, err := s.lockDiagnosis(ctx, r.Job)
	if err != nil {
		return Grammar{}, err
	}
	defer unlock()
	g, err := speech.New(j.moment())
	if err != nil {
		return Grammar{}, invalid("job", "nothing may be said: the rules in force have no words to listen for")
	}
	out := Grammar{Job: j.id, Seq: j.seq(), Format: r.Format}
	switch r.Format {
	case "srgs":
		out.Text = g.SRGS()
	case "jsgf":
		out.Text = g.JSGF()
	case "phrases":
		out.Phrases = g.Sentences()
	}
	return out, nil
}

// commandsHeard are the meanings of commands that make sense at any time.
var commandsHeard = []string{"skip", "unsure", "why", "else", "undo", "status", "help", "how", "repeat", "done"}

// moment is what may be said now.
func (j *job) moment() speech.Moment {
	m := speech.Moment{Most: j.mostHeard(), Commands: j.heard(commandsHeard...)}
	if j.outcome() != "" {
		return m
	}
	if len(j.asked) > 0 {
		j.answering(&m, j.asked[0])
		return m
	}
	if j.pendingCaution() != "" {
		m.Answers = j.heard("ready", "yes", "no")
		return m
	}
	if c := j.now().conclusion; c != nil && !j.settled() {
		m.Answers = j.repairsHeard(c.Suspects)
		return m
	}
	if p := j.proposal(); p != nil {
		j.awaiting(&m, p.Measure, answerKind(p.Measure, p.Test.Of), p.Test.Sets)
	}
	return m
}

// mostHeard is the highest voltage worth listening for, with room for a charger.
func (j *job) mostHeard() float64 {
	if v := j.systemVolts(); v > 0 {
		return 1.5 * v
	}
	return 36
}

// awaiting fills in the answers of a test, which may set a fact.
func (j *job) awaiting(m *speech.Moment, measure rules.Measure, kind AnswerKind, sets string) {
	switch {
	case kind.Kind == "choice":
		for _, choice := range kind.Of {
			m.Answers = append(m.Answers, j.choiceHeard(measure.Mode, choice, sets)...)
		}
		return
	case kind.Kind == "min_max":
		m.Kind = kind.Kind
	default:
		m.Kind = kind.Unit + "s"
	}
	if m.Kind == "amperes" {
		m.Kind = "amps"
	}
	if slices.Contains(takesOver, measure.Mode) {
		m.Answers = j.heard("open_line")
	}
	if measure.Mode == rules.VoltsDC {
		m.Terminals = j.terminalsHeard()
	}
}

// choiceHeard is how a choice of a test may be said.
func (j *job) choiceHeard(mode rules.Mode, choice, sets string) []string {
	if told := j.heard(sets + "=" + choice); len(told) > 0 {
		return told
	}
	if mode != rules.Ask || choice == "yes" || choice == "no" {
		return j.heard(choice)
	}
	return []string{strings.ReplaceAll(choice, "_", " ")}
}

// answering fills in the answers to a question asked back.
func (j *job) answering(m *speech.Moment, q words.Question) {
	m.Commands = append(m.Commands, j.heard("no")...)
	if len(q.Pending) > 0 {
		m.Answers, m.ReadBack = j.heard("yes"), true
		j.correcting(m, q.Pending)
		return
	}
	ordinals := []string{"the first", "the second", "the third", "the fourth"}
	for i, c := range q.Choices {
		m.Answers = append(m.Answers, c.Words)
		if len(q.Choices) > 1 && i < len(ordinals) {
			m.Answers = append(m.Answers, ordinals[i])
		}
	}
	if len(q.Choices) == 1 {
		m.Answers = append(m.Answers, j.heard("yes")...)
	}
	if p := j.proposal(); p != nil && len(q.Choices) == 0 {
		j.awaiting(m, p.Measure, answerKind(p.Measure, p.Test.Of), p.Test.Sets)
	}
}

// correcting lets a number correct the one that was read back.
func (j *job) correcting(m *speech.Moment, pending []words.Finding) {
	if len(pending) == 1 && pending[0].Kind != words.KindFact {
		j.awaiting(m, pending[0].Measure, answerKind(pending[0].Measure, nil), "")
		m.Answers, m.Terminals = j.heard("yes"), nil
	}
}

// repairsHeard is what may be said of a repair: of the one fault found its result, of
// several the part that was mended first.
func (j *job) repairsHeard(suspects []string) []string {
	results := j.heard("gone", "still_there", "changed")
	if len(suspects) == 1 {
		return results
	}
	out := slices.Clone(results)
	for _, id := range suspects {
		element, _, _ := strings.Cut(id, ".")
		for _, r := range j.heard("gone", "still_there") {
			out = append(out, "replaced the "+strings.ReplaceAll(element, "_", " ")+" "+r)
		}
	}
	return out
}

// heard are the phrases that a recogniser listens for with one of these meanings.
func (j *job) heard(means ...string) []string {
	var out []string
	for _, m := range means {
		for _, w := range j.base.book.Words {
			if w.Means == m {
				out = append(out, w.Heard...)
			}
		}
	}
	return out
}

// terminalsHeard are the marks of the relay's terminals as they may be said.
func (j *job) terminalsHeard() []string {
	marks := marksOf(j.labels())
	roles := j.terminals()
	if roles == nil {
		roles = []string{"30", "85", "86", "87", "87a"}
	}
	var out []string
	for _, role := range roles {
		mark := firstOf(marks[role], role)
		if len(mark) == 1 {
			mark = "terminal " + mark // a lone "three" is a number too
		}
		out = append(out, mark)
	}
	return out
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
