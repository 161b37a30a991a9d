package session

import (
	"errors"
	"fmt"
	"html"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/bench"
	"coilside/engine/quantity"
	"coilside/engine/replace"
	"coilside/rules"
	"coilside/session/speech"
)

// recordCourse takes an answer in structured form.
func (t *turn) recordCourse(r RecordRequest) error {
	c, err := t.j.errand()
	if err != nil {
		return err
	}
	test, err := t.courseTest(c, r)
	if err != nil {
		return err
	}
	return t.takeCourse(test, r.Answer, nil)
}

// courseTest finds what is answered: by the test's id, or by where the leads went.
func (t *turn) courseTest(c errand, r RecordRequest) (Test, error) {
	switch {
	case r.Test != "" && r.Measure != nil:
		return Test{}, invalid("test", "give test, or measure and setup, not both")
	case r.Test == "" && r.Measure == nil:
		return Test{}, invalid("test", "say what was answered or measured: test, or measure and setup")
	case r.Test != "":
		if i := c.find(r.Test); i >= 0 {
			return c.asks[i].test, nil
		}
		if pins, ok := pinAsk(r.Test); ok && c.result.Purpose == "identify" {
			return pins, nil
		}
		return Test{}, c.noAsk(r.Test)
	}
	coil := "rest"
	if r.Setup != nil && r.Setup.Coil != "" {
		coil = r.Setup.Coil
	}
	for _, a := range c.asks {
		m := a.test.Measure
		same := m.Red == r.Measure.Red && m.Black == r.Measure.Black || m.Red == r.Measure.Black && m.Black == r.Measure.Red
		if m.Mode == r.Measure.Mode && m.Mode != rules.Ask && (same || r.Measure.Red == "") && a.test.Setup.Coil == coil {
			return a.test, nil
		}
	}
	red, pins := strings.CutPrefix(r.Measure.Red, "pin.")
	black, both := strings.CutPrefix(r.Measure.Black, "pin.")
	if test, ok := pinAsk("ohms_" + red + "_" + black); ok && pins && both && r.Measure.Mode == rules.Ohms && coil == "rest" && c.result.Purpose == "identify" {
		return test, nil
	}
	return Test{}, invalid("measure", "that is nothing this job asks for; answer what job.next lists")
}

func (c *errand) noAsk(id string) *Error {
	var known []string
	for _, a := range c.asks {
		known = append(known, a.test.ID)
	}
	e := &Error{Kind: NotFound, Field: "test", Test: short(id), Message: "this job asks nothing called " + strconv.Quote(short(id))}
	if e.Nearest = rules.Nearest(id, known); e.Nearest != "" {
		e.Message += "; did you mean " + strconv.Quote(e.Nearest) + "?"
	}
	return e
}

// takeCourse checks an answer, tries it on the calculation and stores it.
func (t *turn) takeCourse(test Test, a Answer, notes []string) error {
	if test.Answers.Kind == "choice" && a.Number != nil {
		a = Answer{Choice: plain(*a.Number)} // 12 for "12"
	}
	if err := fits(test.Measure, test.Answers, a); err != nil {
		return err
	}
	if err := possible(test.Measure, a, 0); err != nil {
		return err
	}
	reading := Reading{Test: test.ID, Measure: test.Measure, Setup: test.Setup, Answer: a}
	if !a.Unsure {
		c, err := t.j.errand(reading)
		if err != nil {
			return err
		}
		if field, ok := errors.AsType[*quantity.FieldError](c.wrong); ok && !field.Missing {
			return badAnswer("%s", afterField(field))
		}
	}
	return t.store(reading, courseSaid(test, a), notes)
}

// afterField says what is wrong with an answer without the calculation's own name
// for it.
func afterField(e *quantity.FieldError) string {
	return strings.TrimSpace("that " + strings.TrimPrefix(e.Message, e.Field))
}

// courseSaid reads an answer back.
func courseSaid(test Test, a Answer) string {
	said := strings.ReplaceAll(a.said(), `"`, "")
	if a.Unsure {
		said = "not known"
	}
	if unit := courseUnits[test.Answers.Unit]; unit != "" && (a.Number != nil || test.Answers.Kind == "choice" && !a.Unsure) {
		said += " " + unit
	}
	if m := pinTest.FindStringSubmatch(test.ID); m != nil {
		place := m[4] + " to " + m[5]
		if m[1] != "" {
			place += fmt.Sprintf(" with the coil on (%s plus)", m[1])
		}
		return place + ": " + said
	}
	_, name, _ := strings.Cut(test.ID, ".")
	return strings.NewReplacer("place.", "", "part.", "new relay, ", "_c", "", "_m", "", "_", " ", ".", " ").Replace(name) + ": " + strings.ReplaceAll(said, "_", " ")
}

var courseUnits = map[string]string{"ohm": "Ω", "volt": "V", "ampere": "A", "metre": "m", "celsius": "°C"}

// skipCourse leaves a question open.
func (t *turn) skipCourse(id, reason string) error {
	c, err := t.j.errand()
	if err != nil {
		return err
	}
	i := c.find(id)
	if i < 0 {
		return c.noAsk(id)
	}
	words := "skipped: " + withoutDot(c.asks[i].test.Say)
	n, err := t.add(Entry{Kind: kindSkipped, Skipped: &Skipped{Test: id, Reason: reason}, Words: words})
	if err != nil {
		return err
	}
	t.understood = append(t.understood, Understood{Entry: &n, Words: words, Test: id})
	return nil
}

// closeCourse ends the job; as fixed only with a result.
func (t *turn) closeCourse(outcome string) error {
	c, err := t.j.errand()
	if err != nil {
		return err
	}
	if outcome == "fixed" && !c.ready {
		e := invalid("outcome", "this job has no result yet; close it as unproven or abandoned, or answer what is asked")
		e.Nearest = "unproven"
		return e
	}
	n, err := t.add(Entry{Kind: kindClosed, Closed: outcome, Words: withoutFixed("closed", outcome)})
	if err != nil {
		return err
	}
	t.understood = append(t.understood, Understood{Entry: &n, Words: withoutFixed("the job is closed", outcome)})
	return nil
}

// withoutFixed says how the job ended; one with a result mended nothing and just ended.
func withoutFixed(words, outcome string) string {
	if outcome == "fixed" {
		return words
	}
	return words + ": " + outcome
}

// composeCourse makes the reply: what was understood, the result as far as there is
// one, and the one thing to do or answer next.
func (t *turn) composeCourse() Reply {
	made := t.made()
	r := Reply{Entries: made, Seq: t.j.seq(), Understood: nonNil(t.understood), Suspects: []Suspect{}, Cautions: nonNil(t.warnings), Advice: []string{}}
	if len(made) > 0 {
		n := made[len(made)-1]
		r.Entry = &n
	}
	c, err := t.j.errand()
	if err != nil {
		r.Text = sentence(err.Error())
		return r
	}
	c.done = c.done || t.j.outcome() != "" && c.ready
	if c.ready || c.result.Identify != nil {
		r.Result = &c.result
	}
	step := t.courseStep(&r, c)
	var said []string
	if text := c.brief(); text != "" && (len(made) > 0 || len(t.lines) == 0) {
		said = append(said, text)
	}
	r.Text = joinLines(t.readBack(), t.lines, said, step)
	spokenFirst := ""
	switch {
	case c.done && c.text != "":
		spokenFirst = firstSentence(c.text)
	case len(t.understood) > 0:
		spokenFirst = sentence(t.understood[len(t.understood)-1].Words)
	case len(t.lines) > 0:
		spokenFirst = firstSentence(t.lines[0])
	}
	voice := []speech.Of{brief(speech.Of{Text: spokenFirst})}
	if len(step) > 0 {
		voice = append(voice, brief(speech.Of{Text: strings.TrimPrefix(step[0], "Next: ")}))
	}
	r.Speech, r.SSML = spoken(voice), speech.SSML(voice...)
	return r
}

// brief is the result as long as answers still refine it: of a wire its first lines,
// of a relay only what condemns it. All of it is said once nothing is left to ask.
func (c *errand) brief() string {
	lines := strings.Split(c.text, "\n")
	switch {
	case c.done:
		return c.text
	case c.result.Wire != nil && len(lines) > briefLines:
		return strings.Join(append(lines[:briefLines:briefLines], "As far as I know so far; where are we says all of it."), "\n")
	case c.result.Bench != nil:
		return condemned(c.result.Bench.Verdict == "bad", lines[0], c.result.Bench.Findings, func(f bench.BenchFinding) (string, bool) { return f.Words, f.Verdict == "bad" })
	case c.result.Choose != nil:
		v := c.result.Choose.Verdict
		return condemned(v == "harmful" || v == "does_not_fit", lines[0], c.result.Choose.Reasons, func(g replace.Ground) (string, bool) { return g.Words, g.Verdict == v })
	}
	return c.text
}

const briefLines = 3

// condemned gives the first line and the reasons that condemn a part.
func condemned[T any](is bool, first string, reasons []T, of func(T) (string, bool)) string {
	if !is {
		return ""
	}
	lines := []string{first}
	for _, r := range reasons {
		if words, counts := of(r); counts {
			lines = append(lines, words)
		}
	}
	return strings.Join(lines, "\n")
}

// courseStep is the one thing to do now.
func (t *turn) courseStep(r *Reply, c errand) []string {
	open := c.open()
	switch {
	case t.j.outcome() != "" && len(t.made()) > 0:
		return nil // it was read back
	case t.j.outcome() != "":
		return []string{withoutFixed("This job is closed", t.j.outcome()) + "."}
	case len(open) == 0 && c.ready:
		return []string{"That is all. Say done to close the job, or undo to change an answer."}
	case len(open) == 0:
		return []string{sentence("Something that is needed was skipped: "+missingWords(c)) + " Take it back with undo, or tell me."}
	}
	next := open[0].test
	r.Next = &next
	r.Cautions = appendNew(r.Cautions, next.Cautions...)
	lines := []string{"Next: " + sentence(next.Say)}
	if next.Why != "" {
		lines = append(lines, "Why: "+sentence(next.Why))
	}
	for _, caution := range next.Cautions {
		lines = append(lines, "Careful: "+sentence(caution))
	}
	if next.Answers.Kind == "choice" && !slices.ContainsFunc(next.Answers.Of, func(w string) bool { return !strings.Contains(next.Say, w) }) {
		return lines
	}
	if next.Answers.Kind == "choice" {
		lines = append(lines, "Answer "+strings.ReplaceAll(either(next.Answers.Of), "_", " ")+".")
	}
	return lines
}

func missingWords(c errand) string {
	if c.wrong != nil {
		return c.wrong.Error()
	}
	return "an answer"
}

// listCourse lists what may be answered now.
func (j *job) listCourse(most int) ([]Test, error) {
	c, err := j.errand()
	if err != nil {
		return nil, err
	}
	tests := []Test{}
	for _, a := range c.open() {
		if len(tests) < most {
			tests = append(tests, a.test)
		}
	}
	return tests, nil
}

// courseMarkdown is the record of such a job.
func (j *job) courseMarkdown() (string, error) {
	c, err := j.errand()
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# Job %s\n\n", j.id)
	if label := j.opening().Label; label != "" {
		fmt.Fprintf(&b, "%s\n\n", escape(label))
	}
	fmt.Fprintf(&b, "- Purpose: to %s\n- Opened: %s\n- Rules: %s\n\n## What was answered and read\n\n", courseWords[j.opening().Purpose], minute(j.log[0].Time), rulesOf(j.log)[:12])
	gone := taken(j.log)
	for _, e := range j.log[1:] {
		switch {
		case e.Kind == kindRetracted || e.Words == "":
		case gone[e.Entry]:
			fmt.Fprintf(&b, "%d. ~~%s~~ (taken back)\n", e.Entry, sentence(escape(e.Words)))
		default:
			fmt.Fprintf(&b, "%d. %s\n", e.Entry, sentence(escape(e.Words)))
		}
	}
	b.WriteString("\n## Result\n\n")
	if c.text == "" {
		b.WriteString("None yet.\n")
	}
	for line := range strings.Lines(c.text) {
		fmt.Fprintf(&b, "- %s\n", strings.TrimSpace(line))
	}
	return b.String(), nil
}

// courseReport writes the record in the format asked for.
func (s *Service) courseReport(j *job, out Report) (Report, error) {
	text, err := j.courseMarkdown()
	switch out.Format {
	case "json":
		view := s.view(j)
		out.View = &view
	case "html":
		out.Text = "<!doctype html>\n<meta charset=\"utf-8\">\n<title>Job " + html.EscapeString(j.id) + "</title>\n<pre style=\"white-space:pre-wrap;font:inherit\">" + html.EscapeString(text) + "</pre>\n"
	default:
		out.Text = text
	}
	return out, err
}
