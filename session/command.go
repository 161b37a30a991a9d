package session

import (
	"fmt"
	"slices"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/session/words"
)

// command does one thing the technician asked for.
func (t *turn) command(c words.Command) error {
	switch c.Kind {
	case words.CmdUnsure:
		return t.unsure()
	case words.CmdSkip:
		if len(c.Places) > 0 {
			return t.skipAt(c.Places, c.Reason)
		}
		p := t.j.proposal()
		if p == nil {
			t.say("There is no test to skip.")
			return nil
		}
		return t.skip(p.Test.ID, c.Reason)
	case words.CmdUndo:
		return t.undoLast()
	case words.CmdCorrect:
		if c.Entry == 0 {
			return t.undoLast()
		}
		return t.takeBack([]int{c.Entry})
	case words.CmdSetup:
		return t.stands(c)
	case words.CmdRepair:
		return t.repairSaid(c)
	case words.CmdDone:
		return t.done(c)
	case words.CmdYes, words.CmdReady:
		return t.yes()
	case words.CmdNo:
		t.no()
	case words.CmdWhy:
		t.why(c.Suspects)
	case words.CmdElse:
		t.whatElse()
	case words.CmdStatus:
		t.status()
	case words.CmdRepeat:
		t.asked = t.j.asked // what is asked back, or else the step, is said again by every reply
	case words.CmdWait:
		t.say("Take your time.")
		t.asked = t.j.asked
	case words.CmdHow:
		t.how()
	case words.CmdHelp:
		t.lines = append(t.lines, help)
	}
	return nil
}

const help = `Tell me what you measure, in your own words: "12.4 at 86, relay out", "no click", "85 to 86 is 84 ohms on the bench".
You can also say: unsure · skip · can't reach it · how · why · why the coil · what else · where are we · undo · no, 0.3 · is 107 ohms all right? · what should 87 read? · replaced the fuse, works now · done.`

func (t *turn) unsure() error {
	p := t.j.proposal()
	if p == nil {
		t.say("There is no test open to be unsure of.")
		return nil
	}
	r := Reading{Test: p.Test.ID, Measure: p.Measure, Setup: p.Setup, Answer: Answer{Unsure: true}}
	return t.store(r, t.j.words(r), nil)
}

// undoLast takes back what the last utterance or call stored that still stands.
func (t *turn) undoLast() error {
	var last []int
	for _, e := range slices.Backward(standing(t.j.log[:t.start])) {
		if e.Kind == kindOpened || e.Kind == kindClosed || e.Kind == kindMoved {
			break
		}
		if len(last) > 0 && e.Turn != t.j.log[last[0]-1].Turn {
			break
		}
		last = append(last, e.Entry)
	}
	if len(last) == 0 {
		t.say("There is nothing to take back.")
		return nil
	}
	slices.Sort(last)
	return t.takeBack(last)
}

func (t *turn) stands(c words.Command) error {
	now := c.Setup
	if before := t.j.stand(); before != nil {
		for _, f := range []struct{ to, from *string }{
			{&now.Relay, &before.Relay}, {&now.Key, &before.Key}, {&now.Command, &before.Command},
			{&now.Heat, &before.Heat}, {&now.Engine, &before.Engine}, {&now.Neighbours, &before.Neighbours},
		} {
			if *f.to == "" {
				*f.to = *f.from
			}
		}
		if now.Unplugged == nil {
			now.Unplugged = before.Unplugged
		}
	}
	now = words.Kept(now)
	spoken := setupWords(now)
	if c.Setup.Unplugged != nil && len(c.Setup.Unplugged) == 0 {
		now.Unplugged, spoken = nil, strings.TrimPrefix(spoken+", load plugged in", ", ")
	}
	n, err := t.add(Entry{Kind: kindStands, Stands: &now, Words: spoken})
	if err != nil {
		return err
	}
	t.understood = append(t.understood, Understood{Entry: &n, Words: spoken, Setup: &now})
	return nil
}

// repairSaid stores a repair, or asks what was repaired or what became of it.
func (t *turn) repairSaid(c words.Command) error {
	suspects := t.j.meant(c.Suspects)
	if len(suspects) != 1 {
		q := words.Question{Text: "What did you repair?", Heard: t.said}
		for _, id := range suspects {
			one := c
			one.Suspects = []string{id}
			q.Choices = append(q.Choices, words.Choice{Words: t.j.suspectWords(id), Commands: []words.Command{one}})
		}
		t.asked = append(t.asked, q)
		return nil
	}
	if c.Result == "" {
		q := words.Question{Text: "And the complaint: gone, still there, or changed?", Heard: t.said}
		for _, result := range results {
			one := c
			one.Suspects, one.Result = suspects, result
			q.Choices = append(q.Choices, words.Choice{Words: strings.ReplaceAll(result, "_", " "), Commands: []words.Command{one}})
		}
		t.asked = append(t.asked, q)
		return nil
	}
	return t.repair(Repaired{Suspect: suspects[0], Action: c.Action, Result: c.Result, Now: c.Now})
}

// mostMeant bounds the suspects that are offered when it is not clear which was
// repaired; clearlyMeant is the share of probability from which it counts as clear.
const (
	mostMeant    = 4
	clearlyMeant = 0.8
)

// meant finds which of the suspects that fit the words were repaired: those that
// one act mends count as one, by the likeliest. None named, it is what was
// concluded, or any of the likeliest.
func (j *job) meant(named []string) []string {
	if len(named) == 0 {
		if concluded := j.now().conclusion; concluded != nil {
			return concluded.Suspects[:1]
		}
	} else if concluded := j.concludedAmong(named); concluded != "" {
		return []string{concluded}
	}
	classes := map[string]bool{} // one act mends a whole class
	for _, id := range named {
		classes[j.wholePart(id)] = true
	}
	probability, total := map[string]float64{}, 0.0
	var likeliest []string
	for _, r := range j.now().ranking {
		class := j.class(r.Suspect)
		if strings.Contains(r.Suspect, " + ") || r.Suspect == noFault || len(named) > 0 && !classes[class] && !slices.Contains(named, r.Suspect) {
			continue
		}
		if probability[class] == 0 {
			likeliest = append(likeliest, r.Suspect)
		}
		probability[class] += r.Probability
		total += r.Probability
	}
	if len(likeliest) == 0 {
		return named[:min(mostMeant, len(named))]
	}
	if len(named) > 0 && probability[j.class(likeliest[0])] >= clearlyMeant*total {
		return likeliest[:1]
	}
	return likeliest[:min(mostMeant, len(likeliest))]
}

// wholePart is the repair class that a suspect stands for as a whole: the relay, but
// not its contact. "Replaced the relay" mends a coil, "cleaned the contact" does not.
func (j *job) wholePart(suspect string) string {
	element, _, _ := strings.Cut(suspect, ".")
	if j.class(suspect) == element {
		return element
	}
	return ""
}

// concludedAmong is the concluded suspect that the act named mends: one of the
// named, or of the part named.
func (j *job) concludedAmong(named []string) string {
	concluded := j.now().conclusion
	if concluded == nil {
		return ""
	}
	for _, id := range concluded.Suspects {
		if id != noFault && (slices.Contains(named, id) || slices.ContainsFunc(named, func(n string) bool { return j.wholePart(n) == j.class(id) })) {
			return id
		}
	}
	return ""
}

// class is what is mended by the same act as a suspect.
func (j *job) class(suspect string) string {
	s, ok := j.base.book.Suspect(suspect)
	switch {
	case ok && s.Repair.Class != "":
		return s.Repair.Class
	case ok:
		return s.Element
	}
	return suspect
}

// done closes the job: as fixed where the repair is proven, else as asked back.
func (t *turn) done(c words.Command) error {
	if slices.Contains(outcomes, c.Result) && c.Result != "fixed" {
		return t.close(c.Result)
	}
	why := t.j.unproven()
	if why == "" {
		return t.close("fixed")
	}
	q := words.Question{Text: sentence(why) + " Close the job as unproven all the same?", Heard: t.said, Choices: []words.Choice{
		{Words: "unproven", Commands: []words.Command{{Kind: words.CmdDone, Result: "unproven"}}},
		{Words: "give it up", Commands: []words.Command{{Kind: words.CmdDone, Result: "abandoned"}}},
		{Words: "go on", Commands: []words.Command{{Kind: words.CmdNo}}},
	}}
	t.asked = append(t.asked, q)
	return nil
}

// yes accepts the caution of a load that moves, where one is pending.
func (t *turn) yes() error {
	caution := t.j.pendingCaution()
	if caution == "" {
		t.say("Good. Tell me what you find.")
		return nil
	}
	_, err := t.add(Entry{Kind: kindAccepted, Accepted: sentence(caution), Words: "clear; the load may move"})
	return err
}

func (t *turn) no() {
	if t.j.pendingCaution() != "" {
		t.say("Then leave it off. Make it safe and say ready, or say skip for another test.")
		return
	}
	t.say("All right. Tell me what you find, or say skip.")
}

func (t *turn) why(suspects []string) {
	if len(suspects) > 0 {
		t.lines = append(t.lines, t.j.whySuspect(t.j.askedAbout(suspects), 4))
		return
	}
	p := t.j.proposal()
	if concluded := t.j.now().conclusion; concluded != nil || p == nil {
		if concluded != nil {
			t.lines = append(t.lines, t.j.whySuspect(concluded.Suspects[0], 4))
		}
		return
	}
	t.lines = append(t.lines, t.j.whyTest(*p))
}

// askedAbout is the likeliest of the suspects named; where a whole part was named
// ("is it the relay"), of all that its repair mends.
func (j *job) askedAbout(named []string) string {
	for _, r := range j.now().ranking {
		for _, id := range named {
			if r.Suspect == id || j.class(r.Suspect) == j.wholePart(id) && !strings.Contains(r.Suspect, " + ") {
				return r.Suspect
			}
		}
	}
	return named[0]
}

// whySuspect gives the strongest reasons for and against a suspect.
func (j *job) whySuspect(id string, most int) string {
	r, err := j.c.Explain(id)
	if err != nil {
		return sentence(err.Error())
	}
	lines := []string{fmt.Sprintf("%s: %s.", sentence(j.suspectWords(id))[:len(sentence(j.suspectWords(id)))-1], percent(r.Probability))}
	for _, reason := range strongest(r.Reasons)[:min(most, len(r.Reasons))] {
		lines = append(lines, "- "+j.reasonWords(reason))
	}
	return strings.Join(lines, "\n")
}

func (j *job) reasonWords(r diagnosis.Reason) string {
	line := withoutDot(j.reasonText(r))
	if r.Expected != "" {
		line += " (it would give " + r.Expected + ")"
	}
	return line + ": " + bitsWords(r.Bits) + "."
}

// reasonText names a reading as it was read back, and a rule by its because.
func (j *job) reasonText(r diagnosis.Reason) string {
	if r.Entry > 0 && r.Entry <= len(j.log) && j.log[r.Entry-1].Words != "" {
		return j.log[r.Entry-1].Words
	}
	return withMarks(r.Words, j.labels())
}

// strongest orders reasons by how much they moved the suspect.
func strongest(reasons []diagnosis.Reason) []diagnosis.Reason {
	out := slices.Clone(reasons)
	slices.SortStableFunc(out, func(a, b diagnosis.Reason) int {
		switch x, y := max(a.Bits, -a.Bits), max(b.Bits, -b.Bits); {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	return out
}

// rareOutcome is the chance below which an outcome of a test is not worth a line.
const rareOutcome = 0.05

func (j *job) whyTest(p diagnosis.Proposal) string {
	return strings.Join(append([]string{sentence(withMarks(p.Why, j.labels()))}, j.outcomeLines(p)...), "\n")
}

// outcomeLines say what each likely outcome of a test would point at.
func (j *job) outcomeLines(p diagnosis.Proposal) []string {
	var lines []string
	for _, o := range p.Outcomes {
		if len(o.Then) == 0 || o.Probability < rareOutcome && len(lines) > 0 {
			continue
		}
		lines = append(lines, fmt.Sprintf("- %s: then %s (%s).", o.Words, j.suspectWords(o.Then[0].Suspect), percent(o.Then[0].Probability)))
	}
	return lines
}

// whatElse lists the tests after the one proposed.
func (t *turn) whatElse() {
	best := t.j.now().best
	if len(best) < 2 {
		t.say("Nothing else is worth doing now.")
		return
	}
	lines := []string{"You could also:"}
	for _, p := range best[1:min(4, len(best))] {
		lines = append(lines, fmt.Sprintf("- %s (%s min)", withMarks(withoutDot(p.Say), t.j.labels()), plain(p.Minutes)))
	}
	t.lines = append(t.lines, strings.Join(lines, "\n"))
}

// status says where the job stands: what was found and what is likeliest.
func (t *turn) status() {
	lines := []string{sentence(t.j.log[0].Words)}
	for _, e := range standing(t.j.log) {
		if e.Kind == kindReading || e.Kind == kindFact || e.Kind == kindSkipped || e.Kind == kindRepaired {
			lines = append(lines, fmt.Sprintf("%d. %s", e.Entry, sentence(e.Words)))
		}
	}
	lines = append(lines, "Likeliest now:")
	for _, r := range t.j.now().ranking[:min(3, len(t.j.now().ranking))] {
		lines = append(lines, fmt.Sprintf("- %s: %s", t.j.suspectWords(r.Suspect), percent(r.Probability)))
	}
	t.lines = append(t.lines, strings.Join(lines, "\n"))
}
