package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// commands takes out the clauses that want something of the assistant.
func (c *call) commands(in [][]item) (rest [][]item) {
	var skip []string
	unsure := false
	for i, cl := range in {
		cl = afterOK(cl)
		switch {
		case len(in) == 1 && c.skipElsewhere(cl, skipReason([]string{rawOf(cl)}, nil, c.text)):
		case anyOf(cl, "skip", "cannot"), cannotWords[strings.ToLower(rawOf(cl))]:
			skip = append(skip, rawOf(cl))
		case len(cl) == 1 && cl[0].text == "next" && !slices.ContainsFunc(in, hasReading):
			skip = append(skip, rawOf(cl))
		case asksWhy(cl):
			c.command(Command{Kind: CmdWhy, Suspects: c.askedAbout(cl)})
		case unsureWhether(cl):
			c.muddled = c.muddled || slices.ContainsFunc(cl, isSetup)
			unsure = true
		case anyOf(cl, "unsure") && !hasReading(cl):
			c.muddled = c.muddled || slices.ContainsFunc(cl, isSetup)
			unsure = unsure || !anyOf(cl, "why") || len(in) == 1
		case cl[0].concept == "how" && !hasNumber(cl):
			c.command(Command{Kind: CmdHow}) // "how's that work" tells of nothing that works
		case i == 0 && onlyConcepts(cl, "done") && slices.ContainsFunc(in[1:], hasNumber):
			continue // "done, it was 12.4"
		case anyOf(cl, "wait") && !hasReading(cl):
			if !slices.ContainsFunc(in, hasReading) {
				c.command(Command{Kind: CmdWait})
			}
		case anyOf(cl, "done") && anyOf(cl, "not"):
			c.unread(rawOf(cl), NotUnderstood)
		case anyOf(cl, "help", "how", "status", "else", "repeat", "done") && !hasReading(cl):
			if !slices.ContainsFunc(in, hasReading) || opensWith(cl) {
				c.simple(cl)
			}
		case onlyConcepts(cl, "ready"):
			if len(in) == 1 {
				c.command(Command{Kind: CmdReady})
			}
		case onlyConcepts(cl, "yes"):
			c.yesNo(true, len(in) == 1)
		case i > 0 && breaksOff(cl):
			rest = append(rest, otherwiseThan(in[i-1], cl)...)
		case len(in) == 1 && c.doesNot(cl):
		case onlyConcepts(cl, "no", "not") && !cl[0].but && (len(in) > 1 || !contents(cl)):
			c.yesNo(false, len(in) == 1)
		default:
			c.muddled = c.muddled || anyOf(cl, "how") // "12.4 where is 85"
			rest = append(rest, cl)
		}
	}
	return c.skippedOrUnsure(skip, unsure, rest)
}

// skippedOrUnsure gives the commands of clauses that skip or doubt, and what is left to be read.
func (c *call) skippedOrUnsure(skip []string, unsure bool, rest [][]item) [][]item {
	if len(skip) > 0 {
		c.command(Command{Kind: CmdSkip, Reason: skipReason(skip, rest, c.text)})
	}
	read := slices.ContainsFunc(rest, hasReading)
	switch {
	case len(skip) > 0 && !read:
		return nil
	case len(skip) > 0 || !unsure:
		return rest
	case read:
		return append(rest, []item{{kind: kConcept, concept: "maybe", text: "maybe", raw: "not sure"}})
	}
	c.command(Command{Kind: CmdUnsure})
	return nil
}

// dropChatter leaves out what was not understood beside something that is only wanted, and is no
// reading: "I've lost track, what was I doing".
func (c *call) dropChatter() {
	wants := len(c.res.Commands) > 0 && len(c.res.Findings)+len(c.res.Questions) == 0 && !slices.ContainsFunc(c.res.Commands, changes)
	if wants {
		c.res.Unread = slices.DeleteFunc(c.res.Unread, func(u Unread) bool { return u.Why == NotUnderstood })
	}
}

// afterOK is a clause that only wants something, without the "ok" it begins with: "ok what's
// next".
func afterOK(cl []item) []item {
	if len(cl) > 1 && acknowledged[strings.ToLower(cl[0].raw)] && !hasReading(cl[1:]) && anyOf(cl[1:], "help", "how", "status", "else", "repeat", "why", "skip", "cannot", "unsure") {
		return cl[1:]
	}
	return cl
}

// skipReason is the reason in the technician's words, without a leading "skip".
func skipReason(said []string, rest [][]item, text string) string {
	reason := strings.Join(said, ", ")
	if !slices.ContainsFunc(rest, hasReading) {
		reason = text
	}
	low := strings.ToLower(reason)
	for _, lead := range []string{"skip that", "skip it", "skip this", "skip"} {
		if after, ok := strings.CutPrefix(low, lead); ok {
			reason = strings.TrimLeft(reason[len(reason)-len(after):], " ,;.-:")
			break
		}
	}
	return strings.TrimRight(reason, " .!,;")
}

func (c *call) command(cmd Command) {
	for _, old := range c.res.Commands {
		if old.Kind == cmd.Kind && cmd.Kind != CmdCorrect && cmd.Kind != CmdWhy {
			return
		}
	}
	c.res.Commands = append(c.res.Commands, cmd)
}

func (c *call) simple(cl []item) {
	for _, it := range cl {
		switch it.concept {
		case "help":
			c.command(Command{Kind: CmdHelp})
		case "how":
			c.command(Command{Kind: CmdHow})
		case "status":
			c.command(Command{Kind: CmdStatus})
		case "else":
			c.command(Command{Kind: CmdElse})
		case "repeat":
			kind := CmdRepeat
			if slices.ContainsFunc(cl, func(it item) bool { return it.kind == kPlace }) {
				kind = CmdHow // "which one's 86"
			}
			c.command(Command{Kind: kind})
		case "done":
			if endsJob(cl) {
				c.command(Command{Kind: CmdDone})
			}
		}
	}
}

// opensWith tells that a clause begins with what it wants: "what next", and not "I had to guess
// which pin" beside what was read.
func opensWith(cl []item) bool {
	i := slices.IndexFunc(cl, func(it item) bool { return it.kind != kWord || !leading[it.text] && !interjections[it.text] })
	return i >= 0 && cl[i].concept != ""
}

// endsJob tells "that's me done" from "when will it be done" and "I've done the fuse".
func endsJob(cl []item) bool {
	first := firstWord(cl[0].raw)
	return onlyConcepts(cl, "done", "that_was", "yes", "good", "gone") && !interrogative[first] && !when[first]
}

// yesNo files a plain yes or no; beside other words it is only a manner of
// speaking.
func (c *call) yesNo(yes, alone bool) {
	if !alone {
		return
	}
	kind := CmdNo
	if yes {
		kind = CmdYes
	}
	c.command(Command{Kind: kind})
}

// doesNot takes "it doesn't", where the load or the relay is to do something now, for an answer: it
// does not.
func (c *call) doesNot(cl []item) bool {
	e := c.ctx.Expected
	said := slices.ContainsFunc(cl, func(it item) bool { return pronouns[it.text] }) && onlyConcepts(cl, "not")
	if !said || e == nil || e.Setup.Command != "on" || c.ctx.Cautioned || e.Measure.Mode != rules.Watch && e.Measure.Mode != rules.Listen && e.Measure.Mode != rules.Bridge {
		return false
	}
	did := "off"
	if e.Measure.Mode == rules.Listen {
		did = "silent"
	}
	if !slices.Contains(e.Of, did) {
		return false
	}
	c.file(c.answer(&frame{raw: rawOf(cl)}, Answer{Choice: did}), &frame{raw: rawOf(cl)})
	return true
}

// contents tells that a clause names something in plain words.
func contents(cl []item) bool {
	return slices.ContainsFunc(cl, func(it item) bool { return it.kind == kWord && !linkWords[it.text] && !filler[it.text] })
}

// breaksOff tells a clause that ends with a denial of what was said before: "the right one
// doesn't".
func breaksOff(cl []item) bool {
	return cl[len(cl)-1].concept == "not" && !hasReading(cl) && (contents(cl) || anyOf(cl, "load"))
}

// otherwiseThan is a clause that breaks off with what it denies: the load does not run, or
// the opposite of what the clause before saw. "Left one works, right one doesn't" says both
// of the load, and is asked about.
func otherwiseThan(before, cl []item) [][]item {
	deny := func(o string) [][]item {
		cl[len(cl)-1] = item{kind: kConcept, concept: o, text: o, raw: cl[len(cl)-1].raw}
		return [][]item{cl}
	}
	if anyOf(cl, "load") {
		return deny("off")
	}
	for _, it := range before {
		if o := opposite[it.concept]; o != "" && concepts[it.concept] == gOutcome {
			return deny(o)
		}
	}
	return nil
}

func anyOf(cl []item, want ...string) bool {
	return slices.ContainsFunc(cl, func(it item) bool { return it.concept != "" && slices.Contains(want, it.concept) })
}

// onlyConcepts tells whether the clause says such a concept and nothing else.
func onlyConcepts(cl []item, want ...string) bool {
	found := false
	for _, it := range cl {
		switch {
		case it.concept != "" && slices.Contains(want, it.concept):
			found = true
		case it.kind == kWord && (linkWords[it.text] || common[it.text]):
		default:
			return false
		}
	}
	return found
}

// acknowledged are sayings with a meaning of their own that only tell, said alone, that
// something was heard: not that the load runs well, nor that a reading was wrong.
var acknowledged = set(`ok okay alright wait`)

var holding = map[string]bool{"all right": true, "hang on": true, "hold on": true}

// onlyHeard tells "ok, two minutes" from something found. Of what was looked at, "ok" is an
// answer.
func (c *call) onlyHeard(in []item) bool {
	heard := false
	for i, it := range in {
		raw := strings.ToLower(it.raw)
		switch {
		case it.concept == "wait" || it.kind == kNum && it.num.unit.dim == "time" && (it.num.word || !strings.Contains(it.num.digits, ".")), holding[raw], acknowledged[raw] && !c.expects(rules.Look):
			heard = true
		case it.text == "in" && heardLater(neighbour(in, i, 1)): // "back in five"
		case it.kind == kSep, it.concept == "yes", it.concept == "filler", it.kind == kWord && (linkWords[it.text] || common[it.text] || harmless[it.text] || c.r.filler[it.text]) && !turning[it.text]:
		default:
			return false
		}
	}
	return heard
}

func heardLater(it item) bool { return it.kind == kNum && it.num.unit.dim == "time" }

// hasReading tells whether the clause holds a number or something seen.
func hasReading(cl []item) bool {
	return slices.ContainsFunc(cl, func(it item) bool {
		return it.kind == kNum || concepts[it.concept] == gOutcome
	})
}

func hasNumber(cl []item) bool {
	return slices.ContainsFunc(cl, func(it item) bool { return it.kind == kNum })
}

// asksWhy tells a question from "dunno why".
func asksWhy(cl []item) bool {
	for _, it := range cl {
		if it.concept == "why" {
			return true
		}
		if it.kind != kWord || !linkWords[it.text] {
			return false
		}
	}
	return false
}

// unsureWhether tells "can't tell if it's running" from "runs, not sure": what it is not sure
// of is no answer.
func unsureWhether(cl []item) bool {
	i := slices.IndexFunc(cl, func(it item) bool { return it.concept == "unsure" })
	if i < 0 || i+1 >= len(cl) || slices.ContainsFunc(cl, func(it item) bool { return it.kind == kNum }) {
		return false
	}
	next := firstWord(cl[i+1].raw)
	return next == "if" || next == "whether" || next == "it" || next == "that" || drownedBy[next]
}

// askedAbout are the suspects that a "why" names; none where it asks for the reason of doing
// something: "why would I pull the relay".
func (c *call) askedAbout(cl []item) []string {
	words := strings.Fields(strings.ToLower(rawOf(cl)))
	if asksOf(cl, c.atAsked) {
		return nil // "why 86", where the test reads 86
	}
	if slices.Contains(words, "i") && !hasConcept(cl, "maybe") && slices.ContainsFunc(words, func(w string) bool { return doing[w] }) {
		return nil
	}
	return c.suspects(cl, true)
}

// asksOf tells that nothing but places is named beside the question word, each of them fitting.
func asksOf(cl []item, fits func(placeRef) bool) bool {
	named := false
	for _, it := range cl {
		switch {
		case it.kind == kPlace && fits(it.place):
			named = true
		case it.concept == "why", it.kind == kWord && (linkWords[it.text] || common[it.text] || terminalWords[it.text]):
		default:
			return false
		}
	}
	return named
}

// atAsked tells that the test asked for reads every spot of the place.
func (c *call) atAsked(p placeRef) bool {
	return c.ctx.Expected != nil && !slices.ContainsFunc(p.spots, func(s spot) bool {
		return !slices.ContainsFunc(expectedSpots(c.ctx.Expected.Measure), func(at string) bool { return c.isSpot(s, at) })
	})
}

// doing are verbs of someone who is asked to do something.
var doing = set(`would should do must have need am pull measure test check unplug read take`)
