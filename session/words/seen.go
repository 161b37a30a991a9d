package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// choices says which answer of a mode each concept is.
var (
	watchChoice = map[string]string{
		"runs": "runs", "bright": "runs", "weak": "weak", "dim": "weak", "off": "off", "dead": "off", "nothing": "off",
		"dark": "off", "silent": "off", "trips": "trips", "blown": "trips", "comes_and_goes": "comes_and_goes",
		"stays_on": "runs", "gone": "gone", "same": "same", "still_there": "same", "good": "runs",
		"drops_out_hot": "comes_and_goes", "slow": "weak",
	}
	lampChoice = map[string]string{
		"bright": "bright", "runs": "bright", "dim": "dim", "weak": "dim", "dark": "dark", "nothing": "dark", "dead": "dark", "off": "dark",
	}
	listenChoice = map[string]string{
		"click": "click", "silent": "silent", "nothing": "silent", "dead": "silent", "buzz": "buzz",
	}
	lookChoice = map[string]string{
		"sound": "sound", "good": "sound", "nothing": "sound", "blown": "blown", "corroded": "corroded", "burnt": "burnt", "loose": "loose",
		"wet": "wet", "wrong_part": "wrong_part", "trips": "blown", "open": "blown",
	}
)

func choiceTable(m rules.Mode) map[string]string {
	switch m {
	case rules.TestLamp:
		return lampChoice
	case rules.Listen:
		return listenChoice
	case rules.Look:
		return lookChoice
	case rules.Watch, rules.Bridge, rules.Reseat, rules.Swap:
		return watchChoice
	}
	return nil
}

// allSeen are the concepts of what was seen, values included.
func (f *frame) allSeen() []string { return append(append([]string(nil), f.values...), f.outcomes...) }

// pick finds the one answer of the mode that the concepts say. several tells
// that they say more than one.
func (c *call) pick(m rules.Mode, seen []string) (choice string, several bool) {
	table := choiceTable(m)
	var got []string
	if table["comes_and_goes"] != "" && ranAndStopped(seen) {
		return "comes_and_goes", false
	}
	for _, s := range seen {
		v := table[s]
		switch v {
		case "same":
			v = c.asBefore()
		case "gone":
			v = "runs"
			if c.ctx.Complaint == "stays_on" {
				v = "off"
			}
		}
		if v != "" && !slices.Contains(got, v) {
			got = append(got, v)
		}
	}
	for _, strong := range []string{"trips", "comes_and_goes", "weak"} {
		if slices.Contains(got, strong) && m != rules.Look {
			return strong, false
		}
	}
	if len(got) == 0 {
		return "", false
	}
	return got[0], len(got) > 1
}

// ranAndStopped tells "starts, stops, starts again".
func ranAndStopped(seen []string) bool {
	turns := slices.Compact(only(seen, "runs", "off"))
	return len(turns) > 2
}

// asBefore is what the load does when nothing has changed, "" where the
// complaint does not tell.
func (c *call) asBefore() string {
	for seen, complaint := range complainedOf {
		if complaint == c.ctx.Complaint {
			return seen
		}
	}
	return ""
}

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

// triedMode is the mode that the act said implies.
func (c *call) triedMode(f *frame) rules.Mode {
	switch {
	case f.act("bridge"):
		return rules.Bridge
	case f.act("reseat"):
		return rules.Reseat
	case f.act("swap"):
		return rules.Swap
	case f.act("wiggle", "crank"):
		return rules.Watch
	case f.act("lamp") && len(f.places) > 0:
		return rules.TestLamp
	}
	return ""
}

// tried files what became of something tried.
func (c *call) tried(f *frame, said rules.Setup, m rules.Mode) {
	choice, several := c.pick(m, f.allSeen())
	if choice == "" || several || choice == "comes_and_goes" && m != rules.Watch {
		c.ask("“"+f.raw+"”: what did the load do?", nil)
		return
	}
	if m == rules.TestLamp {
		c.lampAt(f, said, choice)
		return
	}
	if e := c.ctx.Expected; e != nil && e.Measure.Mode == m && e.Measure.During == during(f) && fits(said, e.Setup) && c.sameBridge(f, e.Measure) {
		c.file(c.answer(f, Answer{Choice: choice}), f)
		return
	}
	if m == rules.Bridge {
		c.bridged(f, said, choice)
		return
	}
	c.watched(f, said, m, choice)
}

// sameBridge tells whether the jumper's ends said, if any, are those of the
// expected test.
func (c *call) sameBridge(f *frame, m rules.Measure) bool {
	if m.Mode != rules.Bridge || len(f.places) == 0 {
		return true
	}
	p := f.places[0]
	if len(p.spots) != 2 {
		return false
	}
	a, b := p.spots[0], p.spots[1]
	return c.isSpot(a, m.From) && c.isSpot(b, m.To) || c.isSpot(a, m.To) && c.isSpot(b, m.From)
}

func (c *call) bridged(f *frame, said rules.Setup, choice string) {
	if why := f.askPlace(); why != "" || len(f.places) != 1 || len(f.places[0].spots) != 2 {
		c.ask("Between which two cavities was the jumper? "+upper(why), nil)
		return
	}
	if said.Relay == "" {
		said.Relay = "out"
	}
	fd := Finding{Kind: KindReading, Hedge: hedge(f), Answer: Answer{Choice: choice}}
	fd.Setup, fd.Assumed, _ = c.complete(setupPlan{said: said})
	fd.Measure = rules.Measure{Mode: rules.Bridge, From: c.fullName(f, 0, f.places[0].spots[0], fd.Setup), To: c.fullName(f, 1, f.places[0].spots[1], fd.Setup)}
	c.settle(fd, f)
}

// usualRun is how a load is run when nothing else is said.
var usualRun = rules.Setup{Relay: "in", Key: "on", Command: "on"}

// watched files what the load did, in the setup it runs in.
func (c *call) watched(f *frame, said rules.Setup, m rules.Mode, choice string) {
	habit := usualRun
	if f.outcome("stays_on") || said.Key == "off" { // whoever turns the key off has switched it off
		habit.Command = "off"
	}
	if ran := c.ranUncommanded(); ran != nil {
		habit.Key, habit.Command = ran.Key, ran.Command // "pulled the relay and it stopped"
	}
	if e := c.ctx.Expected; e != nil && e.Measure.Mode == m && fits(said, e.Setup) && !c.ctx.Cautioned {
		habit = e.Setup
	}
	if said.Relay == "bench" && m == rules.Watch {
		c.ask("“"+f.raw+"”: and with the relay in its socket, what does the load do?", nil)
		return
	}
	fd := Finding{Kind: KindReading, Measure: rules.Measure{Mode: m, During: during(f)}, Answer: Answer{Choice: choice}, Hedge: hedge(f), Notes: notes(f)}
	fd.Setup, fd.Assumed, _ = c.complete(setupPlan{said: said, habit: habit})
	if why := c.againstComplaint(choice); why != "" && m == rules.Watch && c.unprompted(f, said) {
		fd.Words = c.say(fd)
		c.ran = true
		c.ask(why+" Did you see it just now: "+fd.Words+"?", []Choice{c.choiceFor("yes", fd)})
		return
	}
	c.settle(fd, f)
}

// againstComplaint says what the complaint is where a load that is seen to do so contradicts it.
func (c *call) againstComplaint(seen string) string {
	switch {
	case c.ctx.Complaint == "dead" && (seen == "runs" || seen == "weak"):
		return "The complaint is that the load never runs."
	case c.ctx.Complaint == "weak" && seen == "runs":
		return "The complaint is that the load runs weak."
	case c.ctx.Complaint == "stays_on" && seen == "off":
		return "The complaint is that the load never stops."
	}
	return ""
}

// unprompted tells that what the load does was said beside a test that asks for a number,
// with nothing done to make it do so and nothing to say that it just happened: "it spins yeah".
func (c *call) unprompted(f *frame, said rules.Setup) bool {
	happened := slices.ContainsFunc(strings.Fields(strings.ToLower(f.raw)), func(w string) bool { return happening[w] })
	told := said.Key != "" || said.Relay != "" && !slices.Contains(f.implied, "relay_in") || said.Command != "" && !slices.Contains(f.implied, "command_on")
	return c.expectsNumber() && !c.choosing && !happened && !told && len(f.acts) == 0
}

// happening are words by which something is news.
var happening = set(`now just suddenly started came kicked again`)

// ranUncommanded is the setup of the last finding, where in it the load ran switched off.
func (c *call) ranUncommanded() *rules.Setup {
	if len(c.ctx.Last) == 0 {
		return nil
	}
	last := c.ctx.Last[len(c.ctx.Last)-1]
	if last.Measure.Mode != rules.Watch || last.Answer.Choice != "runs" || last.Setup.Command != "off" {
		return nil
	}
	return &last.Setup
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

// noneAsExpected tells that nothing was read where the test asks for a number, in a setup of
// its own: "nothing with the switch on".
func (c *call) noneAsExpected(f *frame) bool {
	none := only(f.values, "dead", "nothing")
	return c.expectsNumber() && len(none) > 0 && len(none) == len(f.allSeen()) && len(f.places)+len(f.elements)+len(f.acts) == 0
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

// numberSeen answers a test that reads a number with "nothing" or OL, or asks
// for the number.
func (c *call) numberSeen(f *frame, said rules.Setup) bool {
	e := c.ctx.Expected
	if f.has(f.elements, "load", "other_load") && f.has(f.values, "dead", "nothing") {
		return false
	}
	a, q := c.valueAnswer(e.Measure.Mode, f.allSeen())
	switch {
	case q != "":
		c.ask(q, nil)
		return true
	case a == nil:
		return false
	}
	fd := c.answer(f, *a)
	if c.ofOtherThing(f) {
		fd.Words = c.say(fd)
		c.ask("“"+f.raw+"”: is that what the test showed, "+fd.Words+"?", []Choice{c.choiceFor("yes", fd)})
		return true
	}
	c.file(fd, f)
	return true
}

// ofOtherThing tells that something is said to be dead, or to give nothing, that is not what
// the test reads at: "the battery's dead", "the whole truck's dead", beside a test of 86.
func (c *call) ofOtherThing(f *frame) bool {
	if len(f.places) > 0 {
		return false
	}
	return slices.ContainsFunc(f.elements, func(part string) bool { return !c.readsAt(part) }) || slices.ContainsFunc(strings.Fields(strings.ToLower(f.raw)), func(w string) bool { return machines[strings.TrimSuffix(w, "'s")] })
}

// readsAt tells that the test asked for reads a part's end, or the coil between its two.
func (c *call) readsAt(part string) bool {
	switch part {
	case "fuse":
		return c.whichFuse() != "fuse"
	case "coil":
		return c.expectedElement() == "coil" && c.asksPair()
	}
	return slices.ContainsFunc(expectedSpots(c.ctx.Expected.Measure), func(at string) bool { return strings.HasPrefix(at, part) })
}

// machines are words for the whole of which the circuit is a part, and for what else is dead
// on a job.
var machines = set(`truck vehicle van car lorry bus tractor machine boat trailer rig wagon engine dash dashboard panel
	phone torch flashlight laptop tablet windows mirrors seats steering locks`)

// valueAnswer is what words without a number say of a reading in the mode; q is
// the question where they do not settle it.
func (c *call) valueAnswer(m rules.Mode, seen []string) (a *Answer, q string) {
	zero := 0.0
	for _, s := range seen {
		switch {
		case s == "live":
			return nil, "Live, but what number did the meter show?"
		case s == "short":
			return nil, "Short to what, and what number did the meter show?"
		case s == "beeps":
			return nil, "A beep means less than about 30 Ω, not zero. What number did the meter show?"
		case s == "no_beep":
			return nil, "No beep only means more than about 30 Ω. What number did the meter show, or OL?"
		case s == "same":
			return nil, "The same as what? What number did the meter show?"
		case (s == "open_line" || s == "open" || s == "nothing") && m == rules.Ohms:
			return &Answer{Over: true}, ""
		case m == rules.DropOut && s == "stays_on":
			return &Answer{Over: true}, ""
		case (m == rules.PullIn || m == rules.DropOut) && (s == "nothing" || s == "off" || s == "silent" || s == "open_line" || s == "dead"):
			return &Answer{Over: true}, ""
		case s == "open_line" || s == "open":
			return nil, "OL on that range means too much to show. What was the meter set to?"
		case s == "dead" && m == rules.Ohms:
			return nil, "Dead in ohms could be open or a short. What number did the meter show, or OL?"
		case (s == "nothing" || s == "dead") && (m == rules.VoltsDC || m == rules.AmpsDC):
			return &Answer{Number: &zero}, ""
		}
	}
	return nil, ""
}
