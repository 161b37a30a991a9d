package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file makes findings of what was seen or heard.

// seen makes findings of what was seen or heard.
func (c *call) seen(f *frame, said rules.Setup) {
	if f.outcome("click", "buzz") && !f.has(f.elements, "load") {
		// "a faint click": the click is weak, not the load
		f.outcomes = slices.DeleteFunc(slices.Clone(f.outcomes), func(s string) bool { return s == "weak" })
	}
	seen := f.allSeen()
	if c.buzzedNotClicked(f) {
		return
	}
	if c.heardAlready() && len(f.elements) == 0 && len(only(seen, "weak", "dim")) == len(seen) || c.clickedSoftly(f) {
		return // "there's a click but it's faint"
	}
	switch {
	case f.limited && len(only(seen, "runs", "click", "bright")) > 0, f.brief && slices.Equal(seen, []string{"runs"}):
		c.ask("“"+f.raw+"”: which of these is it?", c.expectedChoices())
	case c.expects(rules.Ask) && len(f.places)+len(f.acts) == 0 && (len(f.elements) == 0 || onlyLoad(f) && !f.has(f.elements, "load")):
		c.ask("“"+f.raw+"”: which of these is it?", c.expectedChoices())
	case f.outcome("click") && f.outcome("comes_and_goes") && !f.has(f.elements, "load"):
		c.ask("“"+f.raw+"”: one click, a buzz, or clicks that come and go?", c.expectedChoices())
	case len(seen) > 0 && len(only(seen, "unclear")) == len(seen):
		c.ask("“"+f.raw+"”: what is it, then?", c.expectedChoices())
	case c.expects(rules.TestLamp) && f.outcome("comes_and_goes") && len(f.elements)+len(f.places) == 0:
		c.ask("“"+f.raw+"”: bright, dim or dark?", c.expectedChoices())
	case c.ctx.Opening || f.is("customer"):
		c.complaint(f, seen)
	case c.triedMode(f) != "":
		c.tried(f, said, c.triedMode(f))
	case len(f.values) > 0 && len(f.places) > 0:
		c.placeSeen(f, said)
	case c.ctx.Expected != nil && c.answerSeen(f, said):
	default:
		c.seenUnasked(f, said)
	}
}

// buzzedNotClicked tells "buzzes but doesn't click" from two answers to one test: the buzz
// was heard.
func (c *call) buzzedNotClicked(f *frame) bool {
	heard := func(what string) int {
		return slices.IndexFunc(c.res.Findings, func(fd Finding) bool { return fd.Measure.Mode == rules.Listen && fd.Answer.Choice == what })
	}
	if silent := heard("silent"); silent >= 0 && f.outcome("buzz") && len(f.elements) == 0 {
		c.res.Findings = slices.Delete(c.res.Findings, silent, silent+1)
	}
	return heard("buzz") >= 0 && slices.Equal(f.allSeen(), []string{"silent"}) && len(f.elements) == 0
}

// clickedSoftly tells "a click but it's quiet" from two answers to one test.
func (c *call) clickedSoftly(f *frame) bool {
	clicked := slices.ContainsFunc(c.res.Findings, func(fd Finding) bool { return fd.Measure.Mode == rules.Listen && fd.Answer.Choice == "click" })
	return clicked && len(f.elements)+len(f.values) == 0 && slices.Equal(f.outcomes, []string{"silent"}) && strings.Contains(f.raw, "quiet")
}

// answerSeen answers the expected test if the concepts say one of its answers.
func (c *call) answerSeen(f *frame, said rules.Setup) bool {
	e := c.ctx.Expected
	if c.ctx.Cautioned && !fits(usualRun, e.Setup) {
		return false // the test was not said yet: nobody answers it
	}
	if !fits(said, e.Setup) && c.noneAsExpected(f) {
		c.placeSeen(f, said)
		return true
	}
	if !fits(said, e.Setup) || len(f.places) > 0 && !c.atExpected(f, said) && e.Measure.Mode != rules.Look {
		return false
	}
	if f.judgesPart() != "" && e.Kind != "number" && e.Measure.Mode != rules.Look {
		return false
	}
	switch {
	case e.Kind == "number":
		return c.numberSeen(f, said)
	case e.Measure.Mode == rules.Ask || e.Kind != "choice":
		return false
	case e.Measure.Mode == rules.Look && !c.lookedThere(f, e.Measure.At):
		return false
	case e.Measure.Mode == rules.Listen && c.heardAlready():
		return false
	}
	if e.Measure.Mode != rules.Look && f.outcome("blown", "corroded", "burnt", "loose", "wet", "wrong_part", "sound") && !f.outcome("blown") {
		return false
	}
	mine, others := c.ofMode(e.Measure.Mode, f.allSeen())
	choice, several := c.pick(e.Measure.Mode, mine)
	if choice == "" {
		return false
	}
	if several || !slices.Contains(e.Of, choice) && len(e.Of) > 0 {
		c.ask("“"+f.raw+"”: which of these is it?", c.expectedChoices())
		return true
	}
	c.file(c.answer(f, Answer{Choice: choice}), f)
	if len(others) > 0 {
		g := *f
		g.values, g.outcomes = nil, others
		c.seenUnasked(&g, said)
	}
	return true
}

// judgesPart is the part other than the load that is said to be weak, dead or well, "" for
// none: "battery's a bit tired" says nothing of what the load does.
func (f *frame) judgesPart() string {
	seen := f.allSeen()
	if len(seen) == 0 || f.has(f.elements, "load") || len(f.acts)+len(f.places) > 0 || len(only(seen, "weak", "dim", "dead", "off", "gone", "runs", "good", "bad")) < len(seen) {
		return ""
	}
	for _, part := range only(f.elements, "battery", "coil") {
		return part
	}
	return ""
}

// heardAlready tells that this utterance has answered the listening already:
// "clicks but nothing" is about the load.
func (c *call) heardAlready() bool {
	return slices.ContainsFunc(c.res.Findings, func(f Finding) bool { return f.Measure.Mode == rules.Listen })
}

// ofMode parts the concepts into those that answer the mode itself and those
// that plainly speak of something else: a click while the load is watched.
func (c *call) ofMode(m rules.Mode, seen []string) (mine, others []string) {
	for _, s := range seen {
		listen := s == "click" || s == "silent" && m != rules.Bridge || s == "buzz" // no relay is in that could be silent
		load := s == "runs" || s == "weak" || s == "off" || s == "comes_and_goes" || s == "trips"
		switch {
		case m == rules.Listen && load, (m == rules.Watch || m == rules.Bridge) && listen, m == rules.Look && (listen || load) && s != "trips":
			others = append(others, s)
		default:
			mine = append(mine, s)
		}
	}
	return mine, others
}
