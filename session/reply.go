package session

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/session/speech"
)

// compose makes the reply to a turn. It says, in this order: what to stop at once, what the turn
// itself has to say, what was understood, what to beware of, and then one thing
// only: the conclusion, a question, a caution to accept, or the next test.
func (t *turn) compose() Reply {
	j := t.j
	if j.onCourse() {
		return t.composeCourse()
	}
	made := t.made()
	question := t.question()
	t.warnRan()
	r := Reply{
		Entries: made, Seq: j.seq(), Understood: nonNil(t.understood), Suspects: j.suspects(mostShown, 2),
		Cautions: append(slices.Clone(nonNil(t.stops)), t.warnings...), Advice: []string{}, Question: question,
	}
	if len(made) > 0 {
		n := made[len(made)-1]
		r.Entry = &n
	}
	j.think(&r)
	r.Text = joinLines(t.stops, t.readBack(), t.lines, j.surprises(made), t.newCautions(r), t.failedLines(), t.step(r))
	said := t.speak(r)
	r.Speech, r.SSML = spoken(said), speech.SSML(said...)
	return r
}

// question is what is asked back: about what was said, or whether a load that
// moves may be commanded.
func (t *turn) question() *Question {
	if len(t.asked) > 0 {
		q := &Question{Text: t.asked[0].Text, Choices: []string{}}
		for _, c := range t.asked[0].Choices {
			q.Choices = append(q.Choices, c.Words)
		}
		return q
	}
	caution := t.j.pendingCaution()
	if caution == "" {
		return nil
	}
	q := &Question{Text: "Before the next test: " + caution + " Say ready when clear.", Choices: []string{"ready", "skip"}}
	if t.start > 0 && t.start == t.j.cautionedAt {
		q.Text = "The load may move. Say ready when clear, or skip."
	}
	t.j.cautionedAt = t.j.seq()
	return q
}

// warnRan gives the caution of a load that moves, once, where it may have run while
// something was measured unasked and nothing has said it yet.
func (t *turn) warnRan() {
	j := t.j
	caution := sentence(movesCautionFor(j))
	if !t.ran || !j.moves() || j.accepted() || j.cautionedAt > 0 || j.warned[caution] || j.outcome() != "" {
		return
	}
	t.warnings, t.warned = append(t.warnings, caution), append(t.warned, caution)
}

// think fills in what the diagnosis says now.
func (j *job) think(r *Reply) {
	if j.outcome() != "" {
		return
	}
	if !j.settled() {
		r.Conclusion = j.conclusion()
	}
	r.ProofOfRepair = j.proof()
	if p := j.proposal(); p != nil {
		next := j.test(*p)
		r.Next = &next
		r.Cautions = appendNew(r.Cautions, next.Cautions...)
	}
	for _, c := range j.now().cautions {
		r.Cautions = appendNew(r.Cautions, withMarks(c, j.labels()))
	}
	for _, a := range j.now().advice {
		if j.settled() {
			break // it is about suspects that a proved repair has left behind
		}
		r.Advice = appendNew(r.Advice, withMarks(a, j.labels()))
	}
}

// readBack says what was understood, so that a slip is seen at once.
func (t *turn) readBack() []string {
	var lines []string
	for _, u := range t.understood {
		lines = append(lines, sentence(u.Words))
	}
	return lines
}

// newCautions are the cautions and the advice that were not said before.
func (t *turn) newCautions(r Reply) []string {
	lines := prefixed("Careful: ", t.warnings)
	if len(t.made()) == 0 {
		return lines
	}
	for _, c := range t.j.now().cautions {
		c = withMarks(c, t.j.labels())
		if !t.j.warned[c] {
			lines = append(lines, "Careful: "+sentence(c))
			t.warned = append(t.warned, c)
		}
	}
	for _, a := range r.Advice {
		if !t.j.warned[a] {
			lines = append(lines, "Note: "+sentence(a))
			t.warned = append(t.warned, a)
		}
	}
	return lines
}

func prefixed(prefix string, list []string) []string {
	var out []string
	for _, l := range list {
		out = append(out, prefix+sentence(l))
	}
	return out
}

// step is the one thing to do now; in short where only a question was answered.
func (t *turn) step(r Reply) []string {
	lines := t.j.step(r)
	if len(t.steps) > 0 && r.Question == nil {
		return nil
	}
	if len(t.j.log) == t.start && len(t.lines) > 0 && r.Question == nil && r.Next != nil {
		return lines[:1]
	}
	return lines
}

// step is the one thing to do now.
func (j *job) step(r Reply) []string {
	switch {
	case j.outcome() != "" && len(r.Entries) > 0:
		return nil // it was read back
	case j.outcome() != "":
		return []string{"This job is closed: " + j.outcome() + "."}
	case r.Question != nil:
		return []string{askWords(*r.Question)}
	case j.settled():
		return j.settledLines(r)
	case r.Conclusion != nil:
		return j.concluded(*r.Conclusion)
	case r.Next == nil:
		return j.nothingLeft()
	}
	return j.testLines(*r.Next)
}

func askWords(q Question) string {
	if len(q.Choices) == 0 || strings.Contains(q.Text, " Say ") {
		return sentence(q.Text)
	}
	if slices.ContainsFunc(q.Choices, func(c string) bool { return strings.Contains(c, ",") }) {
		return sentence(q.Text) + " (" + strings.Join(q.Choices, " · ") + ")"
	}
	return sentence(q.Text) + " (" + either(q.Choices) + ")"
}

func (j *job) testLines(t Test) []string {
	lines := []string{"Next: " + sentence(t.Say)}
	if t.Why != "" {
		lines = append(lines, "Why: "+sentence(t.Why))
	}
	for _, c := range t.Cautions {
		lines = append(lines, "Careful: "+sentence(c))
	}
	if t.Answers.Kind == "choice" {
		lines = append(lines, "Answer "+strings.ReplaceAll(either(t.Answers.Of), "_", " ")+".")
	}
	return lines
}

func (j *job) concluded(c Conclusion) []string {
	names := make([]string, len(c.Suspects))
	for i, id := range c.Suspects {
		names[i] = j.suspectWords(id)
	}
	sure := " (" + percent(c.Probability) + ")."
	var lines []string
	switch c.Kind {
	case "pair":
		lines = append(lines, "Found, two faults at once: "+joined(names, "and")+sure)
		lines = append(lines, j.eachRepair(c.Suspects)...)
	case "tied":
		lines = append(lines, "No test at hand tells these apart: "+joined(names, "or")+sure)
		lines = append(lines, j.eachRepair(c.Suspects)...)
	default:
		lines = append(lines, "Found: "+joined(names, "and")+sure)
		if c.Repair != "" {
			lines = append(lines, "Do: "+sentence(c.Repair))
		}
	}
	if c.Verify != "" {
		line := "Then prove it: " + sentence(c.Verify)
		if c.Expected != "" {
			line += " Expect: " + c.Expected + "."
		}
		lines = append(lines, line)
	}
	if slices.Contains(c.Suspects, noFault) {
		return append(lines, "Say done to close the job, or tell me what you see.")
	}
	return append(lines, "Then tell me what became of the complaint: gone, still there, or changed.")
}

// eachRepair says what to do about each of several suspects, likeliest first; an
// act that mends several is said once.
func (j *job) eachRepair(suspects []string) []string {
	var acts []string
	about := map[string][]string{}
	for _, id := range suspects {
		s, ok := j.base.book.Suspect(id)
		if !ok || s.Repair.Do == "" {
			continue
		}
		act := withMarks(j.fillRoles(s.Repair.Do), j.labels())
		if about[act] == nil {
			acts = append(acts, act)
		}
		about[act] = append(about[act], j.suspectWords(id))
	}
	lines := make([]string, len(acts))
	for i, act := range acts {
		lines[i] = "- If " + joined(about[act], "or") + ": " + sentence(act)
	}
	return lines
}

// nothingLeft says what to do where no test is worth its time any more.
func (j *job) nothingLeft() []string {
	lines := []string{"No test left that would tell much more. Likeliest:"}
	for _, s := range j.suspects(3, 0) {
		lines = append(lines, "- "+s.Words+": "+percent(s.Probability))
	}
	if slices.ContainsFunc(standing(j.log), func(e Entry) bool { return e.Kind == kindSkipped }) {
		return append(lines, "Take back a skipped test with undo, or tell me any reading you can get.")
	}
	return append(lines, "Tell me what you see or read.")
}

// pendingCaution is what to accept before the next test: it makes the load run,
// and something may move. Empty where there is nothing to accept.
func (j *job) pendingCaution() string {
	p := j.proposal()
	if p == nil || j.outcome() != "" || j.now().conclusion != nil && !j.settled() || !commands(p.Measure, p.Setup) || !j.moves() || j.accepted() {
		return ""
	}
	return movesCautionFor(j)
}

const (
	movesCaution   = "the load will be switched on, and it moves. Keep hands, hair, leads and tools clear from here on."
	mayMoveCaution = "the load will be switched on, and it may move. Keep hands, hair, leads and tools clear from here on. If nothing moves on it, say so."
)

// test turns a proposal into what callers see.
func (j *job) test(p diagnosis.Proposal) Test {
	labels := j.labels()
	t := Test{
		ID: p.Test.ID, Say: withMarks(p.Say, labels), Why: withMarks(p.Why, labels), Measure: p.Measure, Setup: p.Setup,
		Minutes: p.Minutes, Gain: p.Gain, Cautions: []string{}, Leads: []LeadAt{}, Answers: answerKind(p.Measure, p.Test.Of),
	}
	for _, l := range j.leads(p.Measure) {
		t.Leads = append(t.Leads, LeadAt{l.Kind, l.Place, l.Words})
	}
	if commands(p.Measure, p.Setup) && j.moves() && !j.accepted() {
		t.Accept = sentence(movesCautionFor(j))
		t.Cautions = append(t.Cautions, t.Accept)
	}
	for _, c := range p.Cautions {
		t.Cautions = appendNew(t.Cautions, withMarks(c, labels))
	}
	return t
}

func movesCautionFor(j *job) string {
	if v, known := j.fact("load_moves"); known && v.Bool {
		return movesCaution
	}
	return mayMoveCaution
}

func (j *job) suspects(most, reasons int) []Suspect {
	ranking := j.now().ranking
	out := make([]Suspect, 0, most)
	for _, r := range ranking[:min(most, len(ranking))] {
		out = append(out, j.suspect(r, reasons))
	}
	return out
}

func (j *job) suspect(r diagnosis.Ranked, reasons int) Suspect {
	s := Suspect{Suspect: r.Suspect, Words: j.suspectWords(r.Suspect), Probability: r.Probability, Because: []string{}}
	for _, reason := range strongest(r.Reasons)[:min(reasons, len(r.Reasons))] {
		s.Because = append(s.Because, j.reasonWords(reason))
	}
	return s
}

func (j *job) conclusion() *Conclusion {
	c := j.now().conclusion
	if c == nil {
		return nil
	}
	repair := strings.Join(c.Repair, " ")
	if c.Kind == "tied" && len(c.Repair) > 1 {
		repair = strings.ReplaceAll(strings.Join(j.eachRepair(c.Suspects), " "), "- If ", "If ") // one or the other, not both
	}
	if len(c.Check) > 0 {
		repair += " While there, check " + joined(appendNew(nil, c.Check...), "and") + "."
	}
	verify, expected := j.verifying(c.Suspects[0])
	return &Conclusion{Kind: c.Kind, Suspects: c.Suspects, Probability: c.Probability,
		Repair: withMarks(strings.TrimSpace(repair), j.labels()), Verify: verify, Expected: expected, Proof: nonNil(c.Proof)}
}

// spoken is the plain text of what a voice says.
func spoken(parts []speech.Of) string {
	var out []string
	for _, p := range parts {
		out = append(out, speech.Say(p.Text))
	}
	return strings.TrimSpace(strings.Join(out, " "))
}

func firstSentence(text string) string {
	for i, r := range text {
		if (r == '.' || r == '!' || r == '?') && (i+1 == len(text) || text[i+1] == ' ' || text[i+1] == '\n') {
			return text[:i+1]
		}
		if r == '\n' {
			return text[:i]
		}
	}
	return text
}

// percent writes a probability; nothing short of certain is called certain.
func percent(p float64) string {
	switch {
	case p >= 0.995:
		return "over 99 %"
	case p > 0 && p < 0.01:
		return "under 1 %"
	}
	return fmt.Sprintf("%d %%", int(math.Round(100*p)))
}

// bitsWords says how much a reason moved a suspect.
func bitsWords(bits float64) string {
	factor := math.Exp2(math.Abs(bits))
	if factor < 1.05 {
		return "hardly moves it"
	}
	by := plain(math.Round(factor*10) / 10)
	switch {
	case factor > 1000:
		by = "more than 1000"
	case factor >= 10:
		by = plain(math.Round(factor))
	}
	if bits > 0 {
		return by + " times likelier"
	}
	return by + " times less likely"
}

func appendNew(list []string, more ...string) []string {
	for _, m := range more {
		if m != "" && !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}

func nonNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

func joinLines(blocks ...[]string) string {
	var all []string
	for _, b := range blocks {
		all = append(all, b...)
	}
	return strings.Join(all, "\n")
}
