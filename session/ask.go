package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"coilside/engine/circuit"
	"coilside/engine/diagnosis"
	"coilside/engine/quantity"
	"coilside/engine/wire"
	"coilside/rules"
	"coilside/session/asking"
)

// AskRequest asks something in passing, in plain words. It changes nothing.
type AskRequest struct {
	Job  string `json:"job"`
	Text string `json:"text"`
}

// Asked is the answer to a question in passing.
type Asked struct {
	Job      string         `json:"job"`
	Seq      int            `json:"seq"`
	Topic    string         `json:"topic"` // fits, expect, wire, terminal
	Text     string         `json:"text"`
	Measure  *rules.Measure `json:"measure,omitempty"`  // what was asked about, of fits and expect
	Setup    *rules.Setup   `json:"setup,omitempty"`    // and the state it was taken in
	Expected string         `json:"expected,omitempty"` // what a sound circuit gives there, computed
	Fits     *bool          `json:"fits,omitempty"`     // of fits: whether the reading is that
	Terminal string         `json:"terminal,omitempty"` // of terminal: its DIN number
}

// Ask answers a question in passing from the job's own computations: whether a reading is
// all right, what should be read somewhere, which wire a load needs, what a terminal does.
// It writes nothing and disturbs nothing; a closed job may be asked too.
//
// Errors: Invalid naming text where it is no such question, or naming what it lacks.
func (s *Service) Ask(ctx context.Context, r AskRequest) (Asked, error) {
	if len(r.Text) > mostText || !utf8.ValidString(r.Text) {
		return Asked{}, invalid("text", "text must be UTF-8 of at most %d bytes", mostText)
	}
	j, unlock, err := s.lockDiagnosis(ctx, r.Job)
	if err != nil {
		return Asked{}, err
	}
	defer unlock()
	q, ok := asking.Parse(r.Text)
	if !ok {
		return Asked{}, inJob(invalid("text", "%s", askHelp), j.id)
	}
	a, err := j.answerTo(q)
	return a, inJob(err, j.id)
}

const askHelp = `that is no question I can answer in passing; ask such as "is 107 ohms all right?", "what should 87 read now?", "what wire for 15 amps over 6 metres?" or "what does 87a do?"`

// askedInPassing answers a question put in the middle of a job; false where it is none.
func (t *turn) askedInPassing() bool {
	q, ok := asking.Parse(t.said)
	if !ok {
		return false
	}
	a, err := t.j.answerTo(q)
	if err != nil {
		a.Text = sentence(err.Error())
	}
	t.lines = append(t.lines, a.Text)
	t.asked = t.j.asked // whatever was asked back waits
	return true
}

func (j *job) answerTo(q asking.Question) (Asked, error) {
	a := Asked{Job: j.id, Seq: j.seq(), Topic: q.Kind}
	var err error
	switch q.Kind {
	case asking.Terminal:
		err = j.tellTerminal(q, &a)
	case asking.Wire:
		err = j.sizeWire(q, &a)
	case asking.Fits:
		err = j.judgeReading(q, &a)
	default:
		err = j.tellExpected(q, &a)
	}
	return a, err
}

// tellTerminal says what a terminal is for, in general and in this circuit.
func (j *job) tellTerminal(q asking.Question, a *Asked) error {
	t, ok := j.terminalCalled(q.Place)
	if !ok {
		return &Error{Kind: Invalid, Field: "text", Message: fmt.Sprintf("no terminal of a relay is called %s here; there are %s", short(strings.ToUpper(q.Place)), joined(j.terminalNames(), "and"))}
	}
	table, err := j.base.book.Table("terminals", "does")
	if err != nil {
		return &Error{Kind: Rules, Job: j.id, Message: err.Error()}
	}
	a.Terminal = t
	name := withMarks(t, j.labels())
	if row, ok := table.Row(t); ok {
		a.Text = sentence(name + " is " + withMarks(row.Text("does"), j.labels()))
	} else {
		a.Text = sentence(name + " is a terminal of the relay that these rules do not describe")
	}
	if role := j.terminalRoles()[t]; role != "" {
		a.Text += " In this circuit: " + role + "."
	}
	if contact := j.text("contact"); t == "87a" && contact == "make" || t == "87" && contact == "break" {
		a.Text += " This relay has none."
	}
	return nil
}

// terminalCalled is the DIN number of a terminal by the job's own marks, or by itself.
func (j *job) terminalCalled(said string) (string, bool) {
	for t, mark := range marksOf(j.labels()) {
		if strings.EqualFold(mark, said) {
			return t, true
		}
	}
	said = strings.ToLower(said)
	return said, slices.Contains(dinTerminals, said)
}

var dinTerminals = []string{"30", "85", "86", "87", "87a"}

func (j *job) terminalNames() []string {
	var out []string
	for _, t := range dinTerminals {
		out = append(out, withMarks(t, j.labels()))
	}
	return out
}

// sizeWire sizes the wire of a load; what was not said of the system is the job's.
func (j *job) sizeWire(q asking.Question, a *Asked) error {
	run := wire.Run{Amps: (*quantity.Amps)(q.Amps), Length: (*quantity.Metres)(q.Metres), SystemVolts: (*quantity.Volts)(q.Volts), LoadKind: j.text("load_kind")}
	if run.Amps == nil {
		if v, ok := j.fact("load_amps"); ok {
			run.Amps = (*quantity.Amps)(&v.Number)
		}
	}
	if v := j.systemVolts(); run.SystemVolts == nil && v > 0 {
		run.SystemVolts = (*quantity.Volts)(&v)
	}
	if run.Amps == nil || run.Length == nil {
		return invalid("text", "say the amps and the length: \"what wire for 15 amps over 6 metres?\"")
	}
	sizing, err := wire.Size(j.base.book, run)
	var field *quantity.FieldError
	switch {
	case errors.As(err, &field):
		return &Error{Kind: Invalid, Field: "text", Nearest: field.Nearest, Message: field.Message}
	case err != nil:
		return &Error{Kind: Rules, Job: j.id, Message: err.Error()}
	}
	lines := []string{sizing.Text}
	for _, c := range sizing.Cautions {
		lines = append(lines, "Careful: "+sentence(c))
	}
	a.Text = strings.Join(lines, "\n")
	return nil
}

// askedReading finds what a reading said in words was taken of, which may be the test that is
// open; the value is not stored.
func (j *job) askedReading(text string, open bool) (rules.Measure, rules.Setup, diagnosis.Answer, bool) {
	ctx := j.hearing()
	ctx.Asked, ctx.Last, ctx.Earlier = nil, nil, nil
	for range 2 {
		if !open { // the place has to be said
			ctx.Expected = nil
		}
		open = false
		heard := j.base.reader.Read(text, ctx)
		if len(heard.Findings) == 1 && heard.Findings[0].Measure.Mode != "" && heard.Findings[0].Answer.Choice == "" {
			f := heard.Findings[0]
			m, _ := j.fillMeasure(f.Measure)
			return m, circuit.SetupFor(m, f.Setup), diagnosis.Answer(f.Answer), true
		}
	}
	return rules.Measure{}, rules.Setup{}, diagnosis.Answer{}, false
}

// readingJudged is the reading that is asked about: as said, or else the last number read.
func (j *job) readingJudged(said string) (rules.Measure, rules.Setup, diagnosis.Answer, bool) {
	if said != "" {
		return j.askedReading(said, true)
	}
	for _, e := range slices.Backward(standing(j.log)) {
		if e.Kind == kindReading && (e.Reading.Answer.Number != nil || e.Reading.Answer.Over) {
			return e.Reading.Measure, e.Reading.Setup, diagnosis.Answer(e.Reading.Answer), true
		}
	}
	return rules.Measure{}, rules.Setup{}, diagnosis.Answer{}, false
}

// judgeReading says whether a reading is what a sound circuit gives there, and what else
// would give it.
func (j *job) judgeReading(q asking.Question, a *Asked) error {
	m, s, value, ok := j.readingJudged(q.Reading)
	if !ok && q.Reading != "" { // only a number with its unit: ohms by themselves are of the coil
		m, s = rules.Measure{Mode: rules.Ohms, Red: "relay.86", Black: "relay.85"}, rules.Setup{Relay: "bench"}
		_, _, value, ok = j.askedReading(q.Reading+" between relay blades 86 and 85 on the bench", false)
	}
	if !ok {
		return invalid("text", "say where it was read: \"is 0.3 volts from 30 to 87 all right, relay in, switched on?\"")
	}
	want, ok := j.c.Predict(m, s)
	if !ok {
		return invalid("text", "what %s should give is not known for this circuit", measureWords(m, j.labels()))
	}
	fits := want.Fits(value)
	a.Measure, a.Setup, a.Expected, a.Fits = &m, &s, want.Words(), &fits
	shown := Answer(value).words(m.Mode.Unit())
	a.Text = fmt.Sprintf("%s, %s: a sound circuit gives %s.", sentence(measureWords(m, j.labels()))[:len(sentence(measureWords(m, j.labels())))-1], setupWords(s), want.Words())
	if fits {
		a.Text += " So " + shown + " is all right." + j.wouldGive(" These would give it too: ", m, s, value)
	} else {
		a.Text += " So " + shown + " is not all right." + j.wouldGive(" These would give it: ", m, s, value)
	}
	if m.Mode == rules.Ohms && s.Relay == "bench" && s.Coil != "energised" && strings.HasPrefix(m.Red, "relay.8") && !want.Over && want.Typical > 0 {
		a.Text += fmt.Sprintf(" A hot coil reads more: at 80 °C %d %% above what it reads at 20 °C.", int(math.Round(100*(circuit.CoilOhmsAt(1, 20, 80)-1))))
	}
	return nil
}

// mostWouldGive bounds the suspects that are named for a reading that is not all right.
const mostWouldGive = 3

// wouldGive names the likeliest suspects that would give a reading, after lead; "" for none.
func (j *job) wouldGive(lead string, m rules.Measure, s rules.Setup, value diagnosis.Answer) string {
	var names []string
	for _, r := range j.now().ranking {
		if r.Suspect == noFault || strings.Contains(r.Suspect, " + ") {
			continue
		}
		if p, ok := j.c.Predict(m, s, r.Suspect); ok && p.Fits(value) {
			names = append(names, j.suspectWords(r.Suspect))
		}
		if len(names) == mostWouldGive {
			break
		}
	}
	if len(names) == 0 {
		return ""
	}
	return lead + joined(names, "or") + "."
}

// tellExpected says what should be read somewhere: sound, and by the likeliest suspects.
func (j *job) tellExpected(q asking.Question, a *Asked) error {
	m, s, ok := j.askedPlace(q.Place)
	if !ok && q.Place == "" {
		return invalid("text", "no test is open; say which place: \"what should 87 read now?\"")
	}
	if !ok {
		return invalid("text", "it is not clear where %q is; name a terminal, the load, a fuse or the battery", short(q.Place))
	}
	if m.Mode == rules.Ask { // the test at hand reads nothing
		a.Measure, a.Setup, a.Text = &m, &s, j.whyTest(*j.proposal())
		return nil
	}
	want, ok := j.c.Predict(m, s)
	if !ok {
		return invalid("text", "what %s should give is not known for this circuit yet", measureWords(m, j.labels()))
	}
	a.Measure, a.Setup, a.Expected = &m, &s, want.Words()
	a.Text = sentence(fmt.Sprintf("%s, %s: %s in a sound circuit", measureWords(m, j.labels()), setupWords(s), want.Words()))
	for _, r := range j.now().ranking[:min(3, len(j.now().ranking))] {
		if r.Suspect == noFault || strings.Contains(r.Suspect, " + ") || !j.readAnything() {
			continue
		}
		if p, ok := j.c.Predict(m, s, r.Suspect); ok && p.Words() != want.Words() {
			a.Text += " If " + j.suspectWords(r.Suspect) + ": " + p.Words() + "."
		}
	}
	return nil
}

// askedPlace is the measurement that a place stands for: volts to battery negative, as the
// vehicle stands, unless something else is said; no place is the test at hand.
func (j *job) askedPlace(said string) (rules.Measure, rules.Setup, bool) {
	if said == "" {
		p := j.proposal()
		if p == nil {
			return rules.Measure{}, rules.Setup{}, false
		}
		return p.Measure, p.Setup, true
	}
	if t, ok := j.terminalCalled(said); ok {
		s := rules.Setup{Relay: "in", Key: "on", Command: "on"}
		if at := j.stand(); at != nil && at.Relay != "" && at.Relay != "bench" {
			s = rules.Setup{Relay: at.Relay, Key: cmpOr(at.Key, "on"), Command: cmpOr(at.Command, "on")}
		}
		head := map[string]string{"in": "back.", "out": "socket."}[s.Relay]
		return rules.Measure{Mode: rules.VoltsDC, Red: head + t, Black: circuit.Reference}, s, true
	}
	said = strings.TrimPrefix(strings.TrimPrefix(said, "the "), "terminal ")
	for _, text := range []string{"5 volts at " + said, "5 volts at " + said + ", relay in, key on, switched on", "5 " + said} {
		if m, s, _, ok := j.askedReading(text, false); ok {
			return m, s, true
		}
	}
	return rules.Measure{}, rules.Setup{}, false
}
