package session

import (
	"strings"

	"coilside/session/speech"
	"coilside/session/words"
)

// mostSpoken bounds what is said of one part of a reply, in words; a voice that goes on
// longer is not listened to.
const mostSpoken = 28

// speak is the reply for a voice: what to stop, what was understood, or what to beware of, and then
// the one thing to do or to answer.
func (t *turn) speak(r Reply) []speech.Of {
	var first speech.Of
	switch {
	case len(t.stops) > 0:
		first = speech.Of{Text: t.stops[0], Caution: true}
	case len(t.warnings) > 0:
		first = speech.Of{Text: firstSentence(t.warnings[0]), Caution: true}
	case len(t.understood) > 0:
		first.Text = t.heardBack()
	case len(t.steps) > 0:
		first.Text = strings.Join(t.steps, " ")
	case len(t.lines) > 0:
		first.Text = firstSentence(t.lines[0])
	}
	second := t.spokenStep(r)
	if r.Conclusion != nil && !t.j.settled() && len(t.asked) == 0 && len(t.stops) == 0 {
		first = speech.Of{} // what was found matters now
	}
	if second.Text == "" && first.Text == "" {
		second.Text = "Tell me what you find."
	}
	return []speech.Of{brief(first), brief(second)}
}

// heardBack reads back what was taken, without the setup where it is the one asked for.
func (t *turn) heardBack() string {
	var all []string
	for _, u := range t.understood {
		text := withoutDot(u.Words)
		if u.Test != "" {
			text = withoutSetup(text)
		}
		all = append(all, text)
	}
	if len(all) > 2 {
		return sentence(joined(all[:2], "and") + ", and more")
	}
	return sentence(joined(all, "and"))
}

// withoutSetup leaves out how the vehicle stood.
func withoutSetup(text string) string {
	for _, from := range []string{", relay ", ", key ", ", switched ", ", commanded ", ", on the bench"} {
		if i := strings.Index(text, from); i > 0 {
			text = text[:i]
		}
	}
	return text
}

// spokenStep is the one thing to do or to answer.
func (t *turn) spokenStep(r Reply) speech.Of {
	step := t.j.step(r)
	switch {
	case len(t.asked) > 0:
		return speech.Of{Text: t.spokenQuestion(t.asked[0])}
	case r.Question != nil:
		return speech.Of{Text: firstSentence(r.Question.Text) + " Say ready when clear.", Caution: true}
	case r.Conclusion != nil && !t.j.settled() && len(step) > 1:
		return speech.Of{Text: firstSentence(step[0]) + " " + firstSentence(strings.TrimPrefix(step[1], "Do: "))}
	case len(step) > 0:
		return speech.Of{Text: strings.TrimPrefix(step[0], "Next: ")}
	}
	return speech.Of{}
}

// spokenQuestion asks back; numbers heard are read back without the setup where it is
// the one asked for.
func (t *turn) spokenQuestion(q words.Question) string {
	if len(q.Pending) == 0 {
		return sentence(q.Text)
	}
	var said []string
	for _, f := range q.Pending {
		text := withoutDot(f.Words)
		if f.Kind == words.KindAnswer {
			text = withoutSetup(text)
		}
		said = append(said, withMarks(text, t.j.labels()))
	}
	return sentence(joined(said, "and")) + " Right?"
}

// brief keeps a part to what an ear holds: whole sentences, then clauses, up to
// mostSpoken words. What is left out stands in the text.
func brief(p speech.Of) speech.Of {
	p.Text = onlyMarks(strings.ReplaceAll(p.Text, "\n", " "))
	for _, cut := range []string{". ", "; ", ": ", " (", ", "} {
		for len(strings.Fields(p.Text)) > mostSpoken && strings.Contains(p.Text, cut) {
			p.Text = p.Text[:strings.LastIndex(p.Text, cut)]
		}
	}
	p.Text = sentence(p.Text)
	return p
}

// onlyMarks says a terminal by the mark that the relay bears: "86 (marked 1)" is
// "terminal 1".
func onlyMarks(text string) string {
	for {
		i := strings.Index(text, " (marked ")
		if i < 0 {
			return text
		}
		end := strings.Index(text[i:], ")")
		if end < 0 {
			return text
		}
		mark := text[i+len(" (marked ") : i+end]
		start := strings.LastIndexByte(text[:i], ' ') + 1
		before := strings.TrimRight(text[:start], " ")
		if before = strings.TrimSuffix(before, "terminal"); len(before) < start-1 {
			start = len(before)
		}
		text = text[:start] + "terminal " + mark + text[i+end+1:]
	}
}
