package practice

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/engine/diagnosis"
	"coilside/engine/rank"
	"coilside/rules"
	"coilside/session/words"
)

// mostLine bounds one line, in bytes.
const mostLine = 1000

// ill are words for what is wrong with a part: who says them of one names the fault.
const ill = `(?:bad|open|blown|shorted|welded|stuck(?: on| closed| open)?|faulty|broken|burnt|corroded|loose|dead|worn|defective)`

var (
	question = regexp.MustCompile(`^(?:is|are|does|do|what|check|look|see)\b`)

	hint   = regexp.MustCompile(`^(?:a |give me a )?(?:hint|help me|what (?:next|now)|next)$`)
	doIt   = regexp.MustCompile(`^(?:do (?:it|that|so)|ok do it|go ahead)$`)
	giveUp = regexp.MustCompile(`^(?:i )?(?:give up|quit|show me|the answer)$`)
	named  = regexp.MustCompile(`^(?:i think |i say |maybe )?(?:it'?s|it is|the fault is|it must be) +(.+)$`)
	wrong  = regexp.MustCompile(`^(?:i think |i say |maybe )?((?:(?:an? )?` + ill + ` .+)|(?:(?:the )?.+ (?:is|are) ` + ill + `))$`)
	mended = regexp.MustCompile(`^(?:i )?(?:replaced?|changed?|repair(?:ed)?|fix(?:ed)?|mend(?:ed)?|clean(?:ed)?|tighten(?:ed)?|renew(?:ed)?) +(.+)$`)
)

// Say takes one line of the learner and answers it. Nothing that is not understood, and
// nothing that is refused, costs a minute. It never fails but by *FieldError: a line that
// is too long, or one after the end.
func (l *Lesson) Say(line string) (string, error) {
	switch text := strings.Trim(strings.ToLower(strings.ReplaceAll(line, "’", "'")), " ?!."); {
	case len(line) > mostLine:
		return "", &FieldError{Field: "lines", Message: fmt.Sprintf("a line is at most %d bytes", mostLine)}
	case l.Ended:
		return "", &FieldError{Field: "lines", Message: "this practice is over; start another with another seed"}
	case text == "":
		return "Nothing was said. " + help, nil
	case text == "help":
		return help, nil
	case hint.MatchString(text):
		return l.hint(), nil
	case doIt.MatchString(text):
		return l.doHinted(), nil
	case giveUp.MatchString(text):
		l.Ended = true
		return "Given up.", nil
	case named.MatchString(text):
		return l.name(named.FindStringSubmatch(text)[1], false), nil
	case wrong.MatchString(text) && !question.MatchString(text):
		return l.name(wrong.FindStringSubmatch(text)[1], false), nil
	case mended.MatchString(text):
		return l.name(mended.FindStringSubmatch(text)[1], true), nil
	default:
		if t, ok := l.school.Knowledge.Book().Test(text); ok {
			return l.take(l.fill(t.Measure), circuit.SetupFor(l.fill(t.Measure), t.Setup), t, nil, false), nil
		}
		r, near, ok := l.read(text)
		if !ok {
			return fmt.Sprintf("That is no measurement I understand. I would understand: “%s”. Nothing was done.", near), nil
		}
		return l.take(r.measure, r.setup, l.testOf(r.measure, r.setup), r.assumed, false), nil
	}
}

// hint has the assistant propose a test.
func (l *Lesson) hint() string {
	l.hints++
	if c := l.c.Conclusion(); c != nil {
		return "The readings prove something already. Name it."
	}
	next := l.c.Next(1)
	if len(next) == 0 {
		return "No test is left that tells more. Name the fault."
	}
	l.hinted = &next[0]
	lines := []string{next[0].Say, "Why: " + next[0].Why}
	for _, c := range next[0].Cautions {
		lines = append(lines, "Careful: "+c)
	}
	return strings.Join(append(lines, "Say \"do it\" to do it."), "\n")
}

func (l *Lesson) doHinted() string {
	if l.hinted == nil {
		return "Nothing is proposed. Say \"hint\" first."
	}
	p := l.hinted
	l.hinted = nil
	return l.take(p.Measure, p.Setup, p.Test, nil, true)
}

// refuse says why a measurement must not or cannot be taken, "" where it may. The
// assistant may propose a place that this relay lacks, while that is not known; it then
// reads open.
func (l *Lesson) refuse(m rules.Measure, s rules.Setup, t *rules.Test, hinted bool) string {
	for _, place := range []string{m.Red, m.Black, m.From, m.To} {
		if strings.ContainsAny(place, "{ ") {
			return "It is not known yet which terminal that is; say the terminal"
		}
		if place != "" && !hinted && !l.job.Vehicle.Wiring().Has(place) {
			return "This circuit has no place " + place
		}
	}
	if err := circuit.Check(m, s); err != nil {
		return "That cannot be reached so: " + err.Error()
	}
	switch m.Mode {
	case rules.Ohms:
		if why := l.c.OhmsSafe(m, s); why != "" {
			return "Refused. Ohms are not for a place that may be live: " + why + ". Read volts there to battery negative first"
		}
	case rules.Bridge:
		if !slices.ContainsFunc(l.c.Allowed(), func(p diagnosis.Proposal) bool { return p.Measure == m }) {
			return "Refused. A fused jumper is not for there as things stand: a short may lie behind it, or a rule forbids it. Rule the short out first"
		}
	}
	if t != nil && l.c.Forbidden(t.ID) {
		return "Refused. A rule forbids that test as things stand: it could do harm"
	}
	return ""
}

// take does a measurement and tells what was read.
func (l *Lesson) take(m rules.Measure, s rules.Setup, t *rules.Test, assumed []string, hinted bool) string {
	if why := l.refuse(m, s, t, hinted); why != "" {
		l.refused++
		return why + ". Nothing was done."
	}
	a, minutes, wrong, err := l.hands.Take(m, s)
	minutes = math.Round(1e6*minutes) / 1e6
	l.minute = math.Round(1e6*(l.minute+minutes)) / 1e6 // hands were at the vehicle, whatever came of it
	if err != nil {
		return "That cannot be read: " + err.Error() + "."
	}
	l.entry++
	before := beliefs(l.c)
	reading := diagnosis.Reading{Entry: l.entry, Measure: m, Setup: s, Answer: a}
	if t != nil {
		reading.Test = t.ID
	}
	if err := l.c.Read(reading); err != nil {
		l.entry--
		return "That cannot be read: " + err.Error() + "."
	}
	if m.Mode != rules.Ask {
		l.at = &s
	}
	said := l.wordsOf(t, m, s) + ": " + strings.Replace(diagnosis.AnswerWords(m.Mode, a), "-0.00 ", "0.00 ", 1)
	step := Step{Minute: l.minute, Minutes: minutes, Words: said, Test: reading.Test, Hint: hinted, Slipped: wrong}
	step.Bits, step.Out = l.told(before)
	l.Steps = append(l.Steps, step)
	out := fmt.Sprintf("%s (%.0f min, %.0f in all).", said, math.Ceil(minutes), math.Ceil(l.minute))
	assumed = slices.DeleteFunc(slices.Clone(assumed), func(a string) bool { return a == "black lead on battery negative" })
	if len(assumed) > 0 {
		out += " Not said, so taken as " + strings.Join(assumed, ", ") + "."
	}
	return strings.Join(append([]string{out}, l.careful(s, t, hinted)...), "\n")
}

// careful gives the cautions of a test, where no hint has given them; the first time that
// the load is commanded, that it may move.
func (l *Lesson) careful(s rules.Setup, t *rules.Test, hinted bool) []string {
	var out []string
	if s.Command == "on" && s.Relay != "bench" && !l.warned {
		l.warned = true
		out = append(out, "Careful: in a real vehicle the load may move when commanded. Keep hands, hair, leads and tools clear first.")
	}
	if t != nil && !hinted {
		for _, c := range t.Cautions {
			out = append(out, "Careful: "+l.fillText(c))
		}
	}
	return out
}

func (l *Lesson) wordsOf(t *rules.Test, m rules.Measure, s rules.Setup) string {
	if t != nil && t.Words != "" && m.Mode != rules.VoltsDC && m.Mode != rules.Ohms {
		return l.fillText(t.Words)
	}
	return diagnosis.Describe(m, s)
}

// beliefs are the probabilities of the explanations, by id.
func beliefs(c *diagnosis.Case) map[string]float64 {
	out := map[string]float64{}
	for _, h := range c.Belief().Live(0) {
		out[h.ID()] = h.Probability()
	}
	return out
}

// What counts as ruled out: a suspect of at least outFrom that fell below outTo, or below a
// tenth of what it was. Practice, no source.
const (
	outFrom = 0.02
	outTo   = 0.005
	mostOut = 4
)

// told is what a reading told: the bits by which the ranking moved (Kullback and Leibler,
// "On information and sufficiency", 1951), and what it ruled out, the likeliest first.
func (l *Lesson) told(before map[string]float64) (bits float64, out []string) {
	after := beliefs(l.c)
	for id, p := range after {
		if was := before[id]; was > 0 && p > 0 {
			bits += p * math.Log2(p/was)
		}
	}
	var gone []string
	for id, was := range before {
		if was >= outFrom && after[id] < math.Max(outTo, was/10) && !strings.Contains(id, " + ") {
			gone = append(gone, id)
		}
	}
	slices.SortFunc(gone, func(a, b string) int {
		if before[a] != before[b] {
			return map[bool]int{true: -1, false: 1}[before[a] > before[b]]
		}
		return strings.Compare(a, b)
	})
	out = []string{}
	for i, id := range gone {
		if i == mostOut {
			out = append(out, fmt.Sprintf("%d more", len(gone)-i))
			break
		}
		out = append(out, l.suspectWords(id))
	}
	return math.Max(0, math.Round(100*bits)/100), out
}

// name judges a fault that was named, or a repair: of a repair it is enough that it mends
// the hidden fault.
func (l *Lesson) name(what string, repair bool) string {
	ids := l.meant(what, repair)
	if len(ids) == 0 {
		return fmt.Sprintf("“%s” is no suspect of this circuit that I know. Say its part, such as \"it's the coil\". Nothing was done.", cut(what))
	}
	if !repair && len(l.elements(ids)) > 1 {
		return "Which one: " + strings.Join(l.allWords(ids), "; or ") + "? Nothing was done."
	}
	step := Step{Minute: l.minute, Words: what, Named: ids[0], Out: []string{}}
	if len(ids) == 1 {
		step.Words = l.suspectWords(ids[0])
	}
	step.Words = map[bool]string{true: "mended: ", false: "named: "}[repair] + step.Words
	exact := slices.Contains(ids, l.hidden)
	if exact || repair && l.sameRepair(ids[0]) {
		step.Right, l.Ended, l.Found = true, true, true
		l.Steps = append(l.Steps, step)
		if exact && !repair {
			return "Right: " + l.suspectWords(l.hidden) + "."
		}
		return "That mends it. The fault was: " + l.suspectWords(l.hidden) + "."
	}
	return l.inVain(ids, step)
}

// inVain charges a fault that was named wrongly, says why it can't be, and notes that
// mending it did not help.
func (l *Lesson) inVain(ids []string, step Step) string {
	reason := l.against(ids)
	l.minute += l.naming
	step.Minute, step.Minutes = l.minute, l.naming
	for _, id := range ids {
		if l.sameRepair(id) {
			continue // its repair would have helped: only the name is wrong
		}
		l.entry++
		if err := l.c.Repair(diagnosis.Repair{Entry: l.entry, Suspect: id, Result: "still_there"}); err != nil {
			l.entry--
		}
	}
	l.Steps = append(l.Steps, step)
	return fmt.Sprintf("It is not that: %s That cost %.0f minutes (%.0f in all).", reason, l.naming, math.Ceil(l.minute))
}

// meant are the suspects that words fit, the best first.
func (l *Lesson) meant(what string, repair bool) []string {
	if s, ok := l.school.Knowledge.Book().Suspect(what); ok {
		return []string{s.ID}
	}
	kind, forms := words.CmdWhy, []string{"why " + what, "why the " + what}
	if repair {
		kind, forms = words.CmdRepair, []string{"replaced " + what + ", still the same", "repaired " + what + ", still the same"}
	}
	for _, form := range forms {
		for _, c := range l.school.Reader.Read(form, l.hearing()).Commands {
			if c.Kind == kind && len(c.Suspects) > 0 {
				return c.Suspects
			}
		}
	}
	return nil
}

func (l *Lesson) allWords(ids []string) []string {
	var out []string
	for _, id := range ids[:min(len(ids), 5)] {
		out = append(out, l.suspectWords(id))
	}
	return out
}

// elements are the elements of suspects, each once.
func (l *Lesson) elements(ids []string) []string {
	var out []string
	for _, id := range ids {
		element, _, _ := strings.Cut(id, ".")
		if s, ok := l.school.Knowledge.Book().Suspect(id); ok {
			element = s.Element
		}
		if !slices.Contains(out, element) {
			out = append(out, element)
		}
	}
	return out
}

// sameRepair reports whether mending a suspect mends the hidden fault.
func (l *Lesson) sameRepair(id string) bool {
	class := func(id string) string {
		s, ok := l.school.Knowledge.Book().Suspect(id)
		switch {
		case !ok:
			return id
		case s.Repair.Class != "":
			return s.Repair.Class
		}
		return s.Element
	}
	return class(id) == class(l.hidden)
}

const mostReasons = 3

// against says why it can't be: by suspect the reading that speaks against it most, or
// else that the complaint is as it was.
func (l *Lesson) against(ids []string) string {
	var reasons []string
	silent := false
	for _, id := range ids {
		reason := l.contradicts(id)
		silent = silent || reason == ""
		if reason != "" && len(reasons) < mostReasons {
			reasons = append(reasons, reason)
		}
	}
	if silent && len(reasons) == 0 {
		reasons = append(reasons, "mending it leaves the complaint as it was; none of your readings spoke of it.")
	} else if silent {
		reasons = append(reasons, "Mending it leaves the complaint as it was.")
	}
	return strings.Join(reasons, " ")
}

// contradicts says which reading speaks against a suspect most, "" where none does.
func (l *Lesson) contradicts(id string) string {
	worst, words := 0.0, ""
	for _, r := range l.c.Belief().Readings() {
		p, ok := l.c.Predict(r.Measure, r.Setup, id)
		if bits := l.moved(id, r); ok && !p.Fits(r.Answer) && bits < worst {
			worst, words = bits, fmt.Sprintf("%s read %s; if %s, it gives %s.", diagnosis.Describe(r.Measure, r.Setup), diagnosis.AnswerWords(r.Measure.Mode, r.Answer), l.suspectWords(id), p.Words())
		}
	}
	return words
}

// moved is by how many bits a reading moved a suspect.
func (l *Lesson) moved(id string, r rank.Reading) float64 {
	for _, h := range l.c.Belief().Live(0) {
		if h.ID() == id {
			return l.c.Belief().Moved(h, r.ID)
		}
	}
	return -1e3 // it is out altogether
}
