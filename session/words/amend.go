package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file changes what was said, or stored, to what a correction says anew.

// correct changes what was said after the mark says anew: the frame, or the reading
// stored before, of the same place if the correction names one; else the last.
func (c *call) correct(all, got []frame, mark string) []frame {
	switch {
	case len(all) > 0 && len(got) == 0 && mark == "undo":
		c.settled(all[len(all)-1].nums...)
		return all[:len(all)-1]
	case len(all) > 0 && len(got) == 0:
		return all
	case len(got) > 0:
		return c.correctEach(all, got)
	case mark == "undo":
		c.res.Commands = append(c.res.Commands, Command{Kind: CmdUndo})
	case len(c.setups) > 0 && c.lastReading() >= 0:
		f := frame{setups: c.setups, raw: c.text}
		c.setups = nil
		c.correctLast(&f, c.ctx.Last[c.lastReading()])
	case c.heldUp():
		c.command(Command{Kind: CmdWait}) // "phone's ringing, hold on"
	case len(c.res.Commands) == 0:
		c.ask("What should it be?", nil)
	}
	return nil
}

// heldUp tells that someone is only asked to wait, before anything was read.
func (c *call) heldUp() bool {
	low := strings.ToLower(c.text)
	return len(c.res.Commands) == 0 && len(c.ctx.Last) == 0 && (strings.HasSuffix(low, "hold on") || strings.HasSuffix(low, "hang on"))
}

// correctEach finds for each frame said after the mark what it corrects. Where the
// first finds nothing of its own place, it corrects what was said last.
func (c *call) correctEach(all, got []frame) []frame {
	said := len(all)
	for i := range got {
		g := &got[i]
		if j := samePlace(all[:said], g); j >= 0 {
			all[j].patch(*g)
		} else if old := c.storedAt(g); old != nil {
			c.correctLast(g, *old)
		} else if i == 0 && said > 0 {
			last := &all[said-1]
			if k := c.lastReading(); k >= 0 && last.onlyPlace() && g.onlyPlace() && c.readAt(last.places[0], c.ctx.Last[k].Measure) {
				c.correctLast(g, c.ctx.Last[k]) // "I said 86 but I meant 30"
				all, said = all[:said-1], said-1
				continue
			}
			if k := c.lastReading(); k >= 0 && last.onlyQuantity() && len(g.places) == 0 && fitsReading(g, &c.ctx.Last[k]) {
				c.correctLast(g, c.ctx.Last[k]) // "nothing on 86", and then "volts I mean, zero volts"
				all, said = all[:said-1], said-1
				continue
			}
			begun := last.bare()
			last.patch(*g)
			if old := c.storedAt(last); begun && old != nil { // "86 should have been 12.5"
				c.correctLast(last, *old)
				all, said = all[:said-1], said-1
			}
		} else if i == 0 && c.lastReading() >= 0 {
			c.correctLast(g, c.ctx.Last[c.lastReading()])
		} else {
			all = append(all, *g)
		}
	}
	return all
}

// onlyQuantity tells that nothing was said but what was measured: "volts".
func (f *frame) onlyQuantity() bool {
	return f.bare() && f.act("voltage", "resistance", "current") && len(f.acts) == 1 && len(f.places)+len(f.elements)+len(f.setups) == 0 && f.nowhere == ""
}

// wholeReading tells whether the frame names one place and what was read there.
func (f *frame) wholeReading() bool {
	return len(f.places) == 1 && f.askPlace() == "" && len(f.nums)+len(f.values) > 0
}

// samePlace is the last frame that was read where g was, -1 for none.
func samePlace(all []frame, g *frame) int {
	if !g.wholeReading() {
		return -1
	}
	for i := len(all) - 1; i >= 0; i-- {
		if len(all[i].places) == 1 && slices.Equal(all[i].places[0].spots, g.places[0].spots) {
			return i
		}
	}
	return -1
}

// storedAt is the reading last stored of the place that the frame reads, nil for none.
func (c *call) storedAt(f *frame) *Finding {
	if !f.wholeReading() {
		return nil
	}
	p := f.places[0]
	said, _ := saidSetup(f.setups)
	for _, list := range [][]Finding{c.ctx.Last, c.ctx.Earlier} {
		for i := len(list) - 1; i >= 0; i-- {
			old := &list[i]
			if c.readAt(p, old.Measure) && fits(said, old.Setup) && fitsReading(f, old) {
				return old
			}
		}
	}
	return nil
}

// readAt tells whether the measure was taken at the place, whichever way the relay
// sat; of two ends, in either order.
func (c *call) readAt(p placeRef, m rules.Measure) bool {
	switch {
	case len(p.spots) == 1 && m.Red != "" && reference(m.Black):
		return c.isSpot(p.spots[0], m.Red)
	case len(p.spots) == 1 && m.At != "":
		return c.isSpot(p.spots[0], m.At)
	case len(p.spots) == 2 && m.Red != "":
		return c.isSpot(p.spots[0], m.Red) && c.isSpot(p.spots[1], m.Black) || c.isSpot(p.spots[0], m.Black) && c.isSpot(p.spots[1], m.Red)
	}
	return false
}

// fitsReading keeps volts from correcting ohms, and a number what was only seen.
func fitsReading(f *frame, old *Finding) bool {
	for _, n := range f.nums {
		if old.Answer.Number == nil && !old.Answer.Over || n.num.unit.dim != "" && !dimFits(n.num.unit.dim, old.Measure.Mode) {
			return false
		}
	}
	return true
}

// patch puts what g says in the place of what f said of the same.
func (f *frame) patch(g frame) {
	if len(g.places) > 0 {
		f.places, f.nowhere, f.prefix = g.places, "", g.prefix
		if f.between && len(g.places) == 1 && len(g.places[0].spots) == 2 {
			g.places[0].pair, g.places[0].vague = true, false
		}
	}
	if len(g.nums)+len(g.values) > 0 {
		f.badNum, f.span = g.badNum, g.span
		f.spent = append(f.spent, f.nums...)
		if len(g.nums) == 1 && len(f.nums) == 1 && g.nums[0].num.unit.dim == "" && !slices.Contains(strings.Fields(strings.ToLower(g.raw)), "just") {
			g.nums[0].num.unit = f.nums[0].num.unit
		}
		f.nums, f.values = g.nums, g.values
		f.manner = g.manner
		if len(g.values) > 0 {
			f.outcomes = nil
		}
	} else if len(g.outcomes) > 0 {
		f.nums, f.values = nil, nil
	}
	if len(g.outcomes) > 0 {
		f.outcomes = g.outcomes
	}
	if len(g.acts) > 0 {
		f.acts = g.acts
	}
	for _, s := range g.setups {
		f.setups = slices.DeleteFunc(f.setups, func(old string) bool { return setupField(old) == setupField(s) })
	}
	f.setups = append(f.setups, g.setups...)
	f.hedges = append(f.hedges, g.hedges...)
	f.strays, f.spent = append(f.strays, g.strays...), append(f.spent, g.spent...)
	f.raw += correctedTo + g.raw
}

// lastReading is the index of the last reading or answer understood, -1 for
// none.
func (c *call) lastReading() int {
	for i := len(c.ctx.Last) - 1; i >= 0; i-- {
		if k := c.ctx.Last[i].Kind; k == KindReading || k == KindAnswer {
			return i
		}
	}
	return -1
}

// correctLast replaces what was understood before by what the frame changes in
// it.
func (c *call) correctLast(f *frame, old Finding) {
	c.cur = f
	defer func() { c.cur = nil }()
	f.setups = append(f.setups, c.unsaidIn(*f, c.setups)...)
	fd := old
	fd.Assumed, fd.Warning = nil, ""
	fd.Hedge = hedge(f)
	said, clash := saidSetup(f.setups)
	if why := f.askPlace(); why != "" || clash != "" || f.badNum || len(f.places) > 1 || len(f.nums) > 1 {
		c.ask("“"+f.raw+"”: what should it be? "+upper(why), nil)
		return
	}
	if !c.correctSetup(&fd, said) || !c.correctPlace(&fd, f) || !c.correctAnswer(&fd, f) {
		return
	}
	if fd.Measure != old.Measure || !sameSetup(fd.Setup, old.Setup) {
		fd.Kind, fd.Test = KindReading, ""
	}
	if e := c.ctx.Expected; e != nil && fd.Measure == e.Measure && sameSetup(fd.Setup, e.Setup) {
		fd.Kind, fd.Test = KindAnswer, e.ID
	}
	if fd.Measure == old.Measure && sameSetup(fd.Setup, old.Setup) && len(f.nums)+len(f.allSeen()) == 0 {
		c.unread(f.raw, AlreadyKept)
		return
	}
	fd.Entry = 0
	c.amends = old.Entry
	c.file(fd, f)
	c.amends = 0
}

func sameSetup(a, b rules.Setup) bool {
	return a.Relay == b.Relay && a.Key == b.Key && a.Command == b.Command && a.Coil == b.Coil &&
		slices.Equal(a.Unplugged, b.Unplugged) && a.Usual().Conditions() == b.Usual().Conditions()
}

func (c *call) correctSetup(fd *Finding, said rules.Setup) bool {
	if said.Relay != "" && said.Relay != fd.Setup.Relay {
		fd.Setup.Relay = said.Relay
		for _, p := range []*string{&fd.Measure.Red, &fd.Measure.Black, &fd.Measure.At} {
			if r := role(*p); r != "" {
				*p = prefixOfRelay[said.Relay] + "." + r
			}
		}
		if said.Relay == "bench" {
			fd.Setup.Coil = "rest"
		} else {
			fd.Setup.Coil = ""
		}
	}
	for _, x := range []struct{ said, at *string }{{&said.Key, &fd.Setup.Key}, {&said.Command, &fd.Setup.Command}, {&said.Coil, &fd.Setup.Coil}} {
		if *x.said != "" {
			*x.at = *x.said
		}
	}
	for _, x := range []struct{ said, at *string }{{&said.Heat, &fd.Setup.Heat}, {&said.Engine, &fd.Setup.Engine}, {&said.Neighbours, &fd.Setup.Neighbours}} {
		if *x.said != "" {
			*x.at = usual(*x.said)
		}
	}
	if said.Unplugged != nil {
		fd.Setup.Unplugged = said.Unplugged
	}
	return true
}

func (c *call) correctPlace(fd *Finding, f *frame) bool {
	if len(f.places) == 0 {
		if f.nowhere != "" {
			c.askWhere(f, "“"+f.nowhere+"” is no place of this circuit that is known here")
			return false
		}
		return true
	}
	p := f.places[0]
	name := func(i int) string { return c.fullName(f, i, p.spots[i], fd.Setup) }
	m := &fd.Measure
	switch {
	case len(p.spots) == 1 && p.spots[0].part == "ground":
		m.Black = "battery.negative"
	case len(p.spots) == 1 && m.Red != "" && (p.black || reference(p.spots[0].abs) && p.spots[0].abs != ""):
		m.Black = name(0) // "I had the black lead on the chassis"
	case m.At != "" && len(p.spots) == 1:
		m.At = name(0)
	case m.Red != "" && len(p.spots) == 1 && reference(m.Black):
		m.Red = name(0)
	case m.Red != "" && len(p.spots) == 2:
		m.Red, m.Black = name(0), name(1)
	case m.From != "" && len(p.spots) == 2:
		m.From, m.To = name(0), name(1)
	default:
		c.ask("That was read between two places. Between which two should it be?", nil)
		return false
	}
	return true
}

func (c *call) correctAnswer(fd *Finding, f *frame) bool {
	mode := fd.Measure.Mode
	if len(f.nums) == 1 {
		n := f.nums[0].num
		v := value(n)
		if n.bad || n.odd != "" || !c.plausible(mode, v) || n.unit.dim != "" && !dimFits(n.unit.dim, mode) {
			c.ask("“"+f.raw+"” does not fit what it would correct. What should it be?", nil)
			return false
		}
		fd.Answer = Answer{Number: &v}
		return true
	}
	seen := f.allSeen()
	if len(seen) == 0 {
		return true
	}
	if ch, several := c.pick(mode, seen); ch != "" && !several {
		fd.Answer = Answer{Choice: ch}
		return true
	}
	a, q := c.valueAnswer(mode, seen)
	if a == nil {
		c.ask(firstText(q, "“"+f.raw+"”: what should it be?"), nil)
		return false
	}
	fd.Answer = *a
	return true
}

// exchanged takes "swap those" out of what was said.
func (c *call) exchanged(in []item) (rest []item, said bool) {
	for _, it := range in {
		if it.concept == "exchange" {
			said = true
			continue
		}
		rest = append(rest, it)
	}
	return rest, said
}

// exchange gives each of the last two places read what the other read: those of this
// utterance, or else those stored last.
func (c *call) exchange(all []frame) []frame {
	if n := len(all); n >= 2 && all[n-1].wholeReading() && all[n-2].wholeReading() && len(all[n-1].nums) == 1 && len(all[n-2].nums) == 1 {
		all[n-1].nums, all[n-2].nums = all[n-2].nums, all[n-1].nums
		return all
	}
	var two []Finding
	for _, f := range c.ctx.Last {
		if f.Answer.Number != nil {
			two = append(two, f)
		}
	}
	if len(all) > 0 || len(two) != 2 || two[0].Measure.Mode != two[1].Measure.Mode {
		c.ask("Which two should be exchanged? Say each place with its number.", nil)
		return nil
	}
	f := frame{raw: c.text}
	c.cur = &f
	defer func() { c.cur = nil }()
	for i, fd := range two {
		c.res.Commands = append(c.res.Commands, Command{Kind: CmdCorrect, Entry: fd.Entry})
		fd.Answer, fd.Entry, fd.Warning, fd.Assumed = two[1-i].Answer, 0, "", nil
		c.file(fd, &f)
	}
	return nil
}
