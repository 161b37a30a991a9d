package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// placeSeen reads what a place was said to be: dead, live, dark, OL.
func (c *call) placeSeen(f *frame, said rules.Setup) {
	if why := f.askPlace(); why != "" || len(f.places) > 1 {
		if !c.askEnd(f, func(c *call, g *frame) { c.placeSeen(g, said) }) {
			c.askWhere(f, firstText(why, "several places were named"))
		}
		return
	}
	e := c.ctx.Expected
	if f.has(f.values, "bright", "dim", "dark") || f.act("lamp") || c.expects(rules.TestLamp) && !f.has(f.values, "live", "open_line", "beeps", "no_beep", "same") && (c.lit || fits(said, e.Setup) || !f.has(f.values, "nothing")) {
		choice, several := c.pick(rules.TestLamp, f.allSeen())
		if choice != "" && !several {
			c.lampAt(f, said, choice)
			return
		}
	}
	mode := c.valueMode(f)
	if mode == "" && c.metered && len(f.acts) == 0 {
		mode = rules.VoltsDC // "12.5 at 30 and nothing at 86": the same meter read both
	}
	if mode == "" {
		c.askNothing(f, said)
		return
	}
	a, q := c.valueAnswer(mode, f.values)
	if q != "" || a == nil {
		c.ask(firstText(q, "What did it read at "+c.placeWords(f.places)+"?"), nil)
		return
	}
	if e != nil && e.Measure.Mode == mode && c.atExpected(f, said) {
		c.file(c.answer(f, *a), f)
		return
	}
	for _, part := range eachPlace(f) {
		fd, want := c.reading(&part, said, mode)
		if want != "" {
			c.askWhere(&part, want)
			return
		}
		if e != nil && e.Measure.Mode == mode && c.atExpected(&part, said) {
			c.file(c.answer(&part, *a), &part) // "no power on either side"
			continue
		}
		fd.Answer = *a
		if v := only(part.values, "dead", "nothing"); len(v) > 0 && a.Number != nil {
			fd.Assumed = append(fd.Assumed, "0 V for “"+v[0]+"”")
		}
		c.settle(fd, &part)
	}
}

// valueMode is the range the meter must have been on for what was said of the
// place; "" where that is open.
func (c *call) valueMode(f *frame) rules.Mode {
	switch {
	case f.has(f.values, "live", "dead", "short"):
		return rules.VoltsDC
	case f.has(f.values, "open_line", "open", "beeps", "no_beep"):
		return rules.Ohms
	case f.has(f.values, "same"):
		return rules.VoltsDC
	case f.act("voltage"):
		return rules.VoltsDC
	case f.act("resistance"):
		return rules.Ohms
	}
	if e := c.ctx.Expected; e != nil {
		switch e.Measure.Mode {
		case rules.VoltsDC, rules.Ohms, rules.AmpsDC:
			return e.Measure.Mode
		}
	}
	return ""
}

// askNothing asks what "nothing" means where no test says.
func (c *call) askNothing(f *frame, said rules.Setup) {
	var choices []Choice
	for _, m := range []rules.Mode{rules.VoltsDC, rules.TestLamp, rules.Ohms} {
		if ch, ok := c.nothingIn(m, f, said); ok {
			choices = append(choices, ch)
		}
	}
	c.ask("Nothing at "+c.placeWords(f.places)+": 0 V on a meter, a dark test lamp, or OL in ohms?", choices)
}

// nothingIn is what "nothing" means in the mode, at each of the places said.
func (c *call) nothingIn(m rules.Mode, f *frame, said rules.Setup) (Choice, bool) {
	zero := 0.0
	answer := map[rules.Mode]Answer{rules.VoltsDC: {Number: &zero}, rules.TestLamp: {Choice: "dark"}, rules.Ohms: {Over: true}}[m]
	var ch Choice
	parts := []frame{*f}
	if m != rules.Ohms {
		parts = eachPlace(f)
	}
	for _, part := range parts {
		part.values = nil
		fd, want := c.reading(&part, said, m)
		if want != "" || unsaid(fd.Setup) != "" {
			return Choice{}, false
		}
		fd.Answer = answer
		fd.Words = c.say(fd)
		ch.Findings = append(ch.Findings, fd)
	}
	for _, fd := range ch.Findings {
		ch.Words = strings.TrimPrefix(ch.Words+"; "+fd.Words, "; ")
	}
	return ch, true
}

// lampAt files what a test lamp did at a place.
func (c *call) lampAt(f *frame, said rules.Setup, choice string) {
	if why := f.askPlace(); why != "" {
		c.askWhere(f, why)
		return
	}
	if c.expects(rules.TestLamp) && c.atExpected(f, said) {
		c.file(c.answer(f, Answer{Choice: choice}), f)
		return
	}
	for _, part := range eachPlace(f) {
		fd, want := c.reading(&part, said, rules.TestLamp)
		if want != "" {
			c.askWhere(&part, want)
			return
		}
		fd.Answer = Answer{Choice: choice}
		c.settle(fd, &part)
	}
}

// seenUnasked files what was heard, seen on a part, or done by the load, with
// no test about it.
func (c *call) seenUnasked(f *frame, said rules.Setup) {
	if why := c.otherKind(f.raw); why != "" && len(f.acts) == 0 && c.numbered {
		c.muddled = true // a state that the readings were taken in, as like as not
		c.unlessTaken(f.raw, why)
		return
	}
	if part := f.judgesPart(); part != "" {
		c.judged(f, part)
		return
	}
	seen := f.allSeen()
	done := false
	if ch, several := c.pick(rules.Listen, only(seen, "click", "silent", "buzz")); ch != "" {
		done = true
		if several {
			c.ask("“"+f.raw+"”: a click, a buzz or silence?", nil)
		} else {
			c.heard(f, said, ch)
		}
	}
	if i := slices.Index(seen, "trips"); i >= 0 && f.has(f.elements, "feed_fuse", "coil_fuse") && !f.has(f.elements, "load") {
		seen[i] = "blown" // "the coil fuse has popped"
	}
	if slices.Contains(seen, "good") && f.has(f.elements, "fuse", "feed_fuse", "coil_fuse") {
		seen = append(seen, "sound")
	}
	if ch, several := c.pick(rules.Look, only(seen, "blown", "corroded", "burnt", "loose", "wet", "wrong_part", "sound")); ch != "" {
		done = true
		c.looked(f, said, ch, several)
	}
	if ch, several := c.pick(rules.Watch, c.loadWords(f, seen)); ch != "" {
		done = true
		if ch == "off" && c.numbered && said.Relay == "" && c.relayIsOut() {
			c.unlessTaken(f.raw, "nothing runs with the relay out")
			return
		}
		f.onlyIf = f.onlyIf || len(f.strays) > 0 && len(f.elements)+len(f.acts) == 0 // "the charger's off"
		if several {
			c.ask("“"+f.raw+"”: what does the load do?", nil)
		} else {
			c.watched(f, said, rules.Watch, ch)
		}
	}
	if done {
		return
	}
	c.muddled = len(f.strays) > 0 || slices.Contains(seen, "live") // "hot restart", and then a reading
	if c.expects(rules.TestLamp) && slices.Contains(seen, "live") {
		c.ask("Was the lamp bright, dim or dark?", c.expectedChoices())
		return
	}
	if _, q := c.valueAnswer(rules.VoltsDC, seen); q != "" && !slices.Contains(seen, "same") {
		c.ask(q, nil)
		return
	}
	c.ask("“"+f.raw+"”: what was that said of?", c.expectedChoices())
}

// judged asks for the reading behind what a part was said to be, unless one was said.
func (c *call) judged(f *frame, part string) {
	if c.numbered || len(c.res.Findings) > 0 {
		c.muddled = c.muddled || len(c.res.Findings) == 0 // a number after it may be the part's
		c.unlessTaken(f.raw, "that is no reading; it was not taken")
		return
	}
	f.raw = part + " is bad" // read again with the number that answers: it is the part's, not the test's
	c.ask("What did the meter show at the "+part+"?", nil)
}

// relayIsOut tells that the readings said beside it were taken with the relay out.
func (c *call) relayIsOut() bool {
	if e := c.ctx.Expected; e != nil {
		return e.Setup.Relay == "out"
	}
	return c.ctx.Now != nil && c.ctx.Now.Relay == "out" && !c.heardAlready()
}

// loadWords are the concepts that speak of the load where no test asks for it.
func (c *call) loadWords(f *frame, seen []string) []string {
	words := only(seen, "runs", "weak", "off", "trips", "comes_and_goes", "stays_on", "drops_out_hot")
	if !c.expectsNumber() || len(f.elements) > 0 {
		words = append(words, only(seen, "gone")...)
	}
	number := c.ctx.Expected != nil && c.ctx.Expected.Kind == "number"
	if f.has(f.elements, "load") || c.heardAlready() || !number || slices.Contains(words, "runs") {
		words = append(words, only(seen, "bright", "dim", "dark", "dead")...)
	}
	if f.has(f.elements, "load") || c.heardAlready() || slices.Contains(seen, "click") {
		words = append(words, only(seen, "nothing")...)
	}
	return words
}

func only(list []string, want ...string) []string {
	return slices.DeleteFunc(append([]string(nil), list...), func(s string) bool { return !slices.Contains(want, s) })
}

func (c *call) heard(f *frame, said rules.Setup, choice string) {
	habit := rules.Setup{Relay: "in", Key: "on", Command: "on"}
	if c.onBench() && choice == "click" {
		habit = c.ctx.Expected.Setup // "it clicks with 12 volts on it", in the hand
	}
	said.Command = ""
	fd := Finding{Kind: KindReading, Measure: rules.Measure{Mode: rules.Listen}, Answer: Answer{Choice: choice}, Hedge: hedge(f)}
	fd.Setup, fd.Assumed, _ = c.complete(setupPlan{said: said, habit: habit})
	fd.Assumed = slices.DeleteFunc(fd.Assumed, func(s string) bool { return s == "switched on" || s == "relay in" })
	if fd.Setup.Relay == "bench" && choice == "click" {
		fd.Setup.Coil = "energised" // a coil at rest pulls nothing in
	}
	c.settle(fd, f)
}

// looked files how a part looks.
func (c *call) looked(f *frame, said rules.Setup, choice string, several bool) {
	at := c.lookedAt(f)
	if several {
		c.ask("“"+f.raw+"”: which is the worst of it?", nil)
		return
	}
	if at == "fuse" && f.is("both") {
		c.res.Findings = append(c.res.Findings, c.lookFinding(f, said, "feed_fuse", choice), c.lookFinding(f, said, "coil_fuse", choice))
		return
	}
	if at == "fuse" || at == "" {
		what := "What was looked at?"
		var choices []Choice
		if at == "fuse" {
			what = "Which fuse: the load's or the coil's?"
			for _, e := range []string{"feed_fuse", "coil_fuse"} {
				fd := c.lookFinding(f, said, e, choice)
				choices = append(choices, Choice{Words: placeName(e), Findings: []Finding{fd}})
			}
		}
		c.ask(what, choices)
		return
	}
	for _, at := range c.allLookedAt(f, at) {
		c.res.Findings = append(c.res.Findings, c.lookFinding(f, said, at, choice))
	}
}

// allLookedAt are the elements that were looked at, of which the first is known: "30 and 87 look burnt".
func (c *call) allLookedAt(f *frame, first string) []string {
	out := []string{first}
	for _, p := range f.places {
		for _, s := range p.spots {
			if at := elementOf(s); at != "" && !slices.Contains(out, at) {
				out = append(out, at)
			}
		}
	}
	return out
}

func (c *call) lookFinding(f *frame, said rules.Setup, at, choice string) Finding {
	fd := Finding{Kind: KindReading, Measure: rules.Measure{Mode: rules.Look, At: at}, Answer: Answer{Choice: choice}, Hedge: hedge(f)}
	fd.Setup, fd.Assumed, _ = c.complete(setupPlan{said: said, habit: rules.Setup{Relay: "out", Key: "off", Command: "off"}})
	fd.Words = c.say(fd)
	return fd
}

// lookedAt is the element that was looked at, as far as said.
func (c *call) lookedAt(f *frame) string {
	if len(f.places) > 0 && len(f.places[0].spots) > 0 {
		return elementOf(f.places[0].spots[0])
	}
	for _, e := range f.elements {
		switch e {
		case "fuse":
			return c.whichFuse()
		case "other_load":
		default:
			return e
		}
	}
	if e := c.ctx.Expected; e != nil && c.numbered && e.Kind == "number" {
		if at := expectedSpots(e.Measure); len(at) == 1 && role(at[0]) != "" {
			return "terminal_" + role(at[0]) // "corroded but 12.4"
		}
	}
	return ""
}

// elementOf is the element that a spot belongs to, "" where it must be asked.
func elementOf(s spot) string {
	switch {
	case s.ask != "" && s.part == "":
		return ""
	case s.role != "":
		return "terminal_" + s.role
	case s.part == "ground" || s.abs == "load.out" || s.abs == "load_ground_point":
		return "load_ground"
	case s.abs == "coil_ground_point":
		return "coil_ground"
	case s.part == "ground_point":
		return ""
	case s.part != "":
		return s.part
	}
	el, _, _ := strings.Cut(s.abs, ".")
	return el
}

// lookedThere tells whether the frame speaks of the element to be looked at, or
// of none.
func (c *call) lookedThere(f *frame, at string) bool {
	got := c.lookedAt(f)
	if got == "" {
		return f.nowhere == "" || len(f.elements) == 0
	}
	return got == at || got == "fuse" && strings.Contains(at, "fuse") || got == "relay" && !strings.Contains(at, "fuse") || got == "contact" && strings.HasPrefix(at, "terminal") ||
		strings.HasPrefix(at, got)
}

// expectedChoices offers the answers of the expected test.
func (c *call) expectedChoices() []Choice {
	e := c.ctx.Expected
	if e == nil {
		return nil
	}
	var out []Choice
	for _, ch := range e.Of {
		fd := Finding{Kind: KindAnswer, Test: e.ID, Measure: e.Measure, Setup: e.Setup, Answer: Answer{Choice: ch}}
		fd.Words = c.say(fd)
		out = append(out, Choice{Words: strings.ReplaceAll(ch, "_", " "), Findings: []Finding{fd}})
	}
	return out
}
