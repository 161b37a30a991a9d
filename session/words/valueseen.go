package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file reads what a meter or a lamp showed where no number was said: dead, nothing, OL, dark.

// noneAsExpected tells that nothing was read where the test asks for a number, in a setup of
// its own: "nothing with the switch on".
func (c *call) noneAsExpected(f *frame) bool {
	none := only(f.values, "dead", "nothing")
	return c.expectsNumber() && len(none) > 0 && len(none) == len(f.allSeen()) && len(f.places)+len(f.elements)+len(f.acts) == 0
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
