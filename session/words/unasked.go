package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file files what was seen or heard with no test about it.

// seenUnasked files what was heard, seen on a part, or done by the load, with
// no test about it.
func (c *call) seenUnasked(f *frame, said rules.Setup) {
	if why := c.otherKind(f.raw); why != "" && len(f.acts) == 0 && c.numbered {
		c.muddled = true // a state that the readings were taken in, as like as not
		c.unlessTaken(f.raw, why)
		return
	}
	if low := strings.ToLower(f.raw) + " "; c.otherKind(f.raw) != "" && onlyLoad(f) && len(c.res.Findings) == 0 && len(only(f.allSeen(), "runs", "off", "bright")) > 0 && (strings.Contains(low, " on ") || strings.Contains(low, " off ")) {
		c.unread(f.raw, c.otherKind(f.raw)) // "headlights are on now"
		return
	}
	if part := f.judgesPart(); part != "" {
		c.judged(f, part)
		return
	}
	seen := f.allSeen()
	heard, looked, watched := c.unaskedHeard(f, said, seen), c.unaskedLook(f, said, seen), c.unaskedWatch(f, said, seen)
	if heard || looked || watched {
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

// unaskedHeard files what was heard of the relay, and tells whether anything was.
func (c *call) unaskedHeard(f *frame, said rules.Setup, seen []string) bool {
	ch, several := c.pick(rules.Listen, only(seen, "click", "silent", "buzz"))
	switch {
	case ch == "":
		return false
	case several:
		c.ask("“"+f.raw+"”: a click, a buzz or silence?", nil)
	default:
		c.heard(f, said, ch)
	}
	return true
}

// unaskedLook files how a part looked, and tells whether one was looked at.
func (c *call) unaskedLook(f *frame, said rules.Setup, seen []string) bool {
	looks := only(seen, "blown", "corroded", "burnt", "loose", "wet", "wrong_part", "sound")
	if slices.Contains(seen, "trips") && f.popped() {
		looks = append(looks, "blown") // "the coil fuse has popped"
	}
	if slices.Contains(seen, "good") && f.has(f.elements, "fuse", "feed_fuse", "coil_fuse") {
		looks = append(looks, "sound")
	}
	ch, several := c.pick(rules.Look, looks)
	if ch != "" {
		c.looked(f, said, ch, several)
	}
	return ch != ""
}

// popped tells that a fuse is said to have blown, and not what the load did.
func (f *frame) popped() bool {
	return f.has(f.elements, "feed_fuse", "coil_fuse") && !f.has(f.elements, "load")
}

// unaskedWatch files what the load did, and tells whether anything was said of it.
func (c *call) unaskedWatch(f *frame, said rules.Setup, seen []string) bool {
	words := c.loadWords(f, seen)
	if f.popped() {
		words = slices.DeleteFunc(words, func(s string) bool { return s == "trips" })
	}
	ch, several := c.pick(rules.Watch, words)
	if ch == "" {
		return false
	}
	if ch == "off" && c.numbered && said.Relay == "" && c.relayIsOut() {
		c.unlessTaken(f.raw, "nothing runs with the relay out")
		return true
	}
	f.onlyIf = f.onlyIf || len(f.strays) > 0 && len(f.elements)+len(f.acts) == 0 // "the charger's off"
	if several {
		c.ask("“"+f.raw+"”: what does the load do?", nil)
	} else {
		c.watched(f, said, rules.Watch, ch)
	}
	return true
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
