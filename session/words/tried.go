package words

import "coilside/rules"

// This file files what became of something tried: a jumper, another relay, a wiggle.

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
