package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file gives each frame what was said for it elsewhere in the utterance.

// inherit gives each frame the setups said for it elsewhere in the utterance:
// in a clause of their own, or in the frame before it, or, for a frame that
// names a place, in the one after it.
func (c *call) inherit(all []frame) {
	if _, clash := saidSetup(c.setups); clash != "" {
		c.setups = nil
		ownStates(all)
	}
	for i := range all {
		if i > 0 && all[i-1].has(all[i-1].setups, "until_command") && !strings.Contains(strings.Join(all[i].setups, " "), "command") {
			all[i].setups = append(all[i].setups, "command_on") // "12.4 until I hit the switch, then 9"
		}
		all[i].setups = append(all[i].setups, c.unsaidIn(all[i], c.setups)...)
		if i > 0 {
			all[i].setups = append(all[i].setups, c.unsaidIn(all[i], all[i-1].setups)...)
		}
	}
	for i := 1; i < len(all); i++ {
		if f := &all[i]; inAnotherState(f, &all[i-1]) {
			f.places, f.ownSetup = all[i-1].places, true
		}
	}
	for i := len(all) - 2; i >= 0; i-- {
		if placed(all[i]) && len(all[i].setups) == 0 && !all[i+1].ownSetup && !all[i+1].but && !readAgain(&all[i+1]) {
			all[i].setups = append(all[i].setups, all[i+1].setups...)
		}
	}
	inheritPlaces(all)
	c.addWorking(all)
	c.muddled = c.muddled || c.unevenly(all)
	for i := range all {
		all[i].commandAsSeen(all)
	}
}

// ownStates gives each frame the states said beside it, where those of the utterance differ:
// before it, where the first frame has some before it, else after it.
func ownStates(all []frame) {
	lead := len(all) > 0 && len(all[0].before) > 0
	for i := range all {
		own := all[i].after
		if lead {
			own = all[i].before
		}
		all[i].setups = append(all[i].setups, own...)
	}
}

// inheritPlaces gives a number that names no place the one before it, where it is plainly of it.
func inheritPlaces(all []frame) {
	for i := 1; i < len(all); i++ {
		f, before := &all[i], &all[i-1]
		if onlyNumber(f) && len(f.elements) == 0 && f.nowhere == "" && otherwise(f.setups, before.setups) {
			f.places, f.elements = before.places, before.elements // "30 12.5 key on, 12.4 key off"
		}
		if before.is("should") && len(f.nums) > 0 && len(f.places)+len(f.elements) == 0 && f.nowhere == "" {
			f.places, f.elements = before.places, before.elements // "the coil wants 80, I've got 82"
		}
	}
}

// addWorking adds the relay in and the switch on, where the relay clicked in the same breath.
func (c *call) addWorking(all []frame) {
	if !c.clickedNow(all) {
		return
	}
	for i := range all {
		if f := &all[i]; len(f.places) > 0 && len(f.nums)+len(f.values) > 0 && f.prefix == "" && !f.inOhms() {
			f.setups = append(f.setups, "relay_in", "command_on")
		}
	}
}

// commandAsSeen adds the states that what was seen in the same breath implies.
func (f *frame) commandAsSeen(all []frame) {
	if said, _ := saidSetup(f.setups); (clicked(all) || running(all)) && (said.Relay == "in" || f.prefix == "back") && said.Command == "" && len(f.nums) > 0 {
		f.setups = append(f.setups, "command_on") // a relay that clicks, a load that runs, was commanded
	}
	if said, _ := saidSetup(f.setups); said.Relay == "" && len(f.nums) > 0 && f.has(f.setups, "loaded") && !f.act("bridge", "pull_in", "drop_out") {
		f.setups = append(f.setups, "relay_in") // a load under way needs its relay
	}
}

// readAgain tells a number that names no place: where another was named before it, it is of
// that place again, in another state: "30 is 12.5, drops to 11.9 when the fan runs".
func readAgain(f *frame) bool {
	return len(f.nums) > 0 && !placed(*f) && f.act("drop", "jumping")
}

// inAnotherState tells a number said with key or switch right after one of a place, of which
// neither was said: "86 12.4, key off it's 0" is of that place twice.
func inAnotherState(f, before *frame) bool {
	switched := only(f.setups, "key_on", "key_off", "command_on", "command_off")
	return onlyNumber(f) && len(f.nums) == 1 && len(switched) > 0 && len(switched) == len(f.setups) && len(f.elements) == 0 && f.nowhere == "" && !f.or &&
		len(before.nums) == 1 && len(before.places) == 1 && len(before.setups) == 0
}

// clickedNow tells that the relay clicked in its socket, and nothing else was said of how the
// vehicle stood: what was read in the same breath was read with the relay in.
func (c *call) clickedNow(all []frame) bool {
	stood := func(setups []string) bool { return len(setups) > len(only(setups, "key_on", "command_on")) }
	said := func(f frame) bool { return stood(f.setups) || len(f.acts) > 0 }
	return clicked(all) && !stood(c.setups) && !c.asksRelayOut() && !c.expects(rules.PullIn) && !c.expects(rules.DropOut) && !slices.ContainsFunc(all, said)
}

// running tells that the load was said to run, without a number beside it.
func running(all []frame) bool {
	return slices.ContainsFunc(all, func(f frame) bool { return f.outcome("runs") && onlyLoad(&f) })
}

// otherwise tells that two readings were taken in setups that differ as said.
func otherwise(a, b []string) bool {
	for _, x := range a {
		if slices.ContainsFunc(b, func(y string) bool { return x != y && setupField(x) == setupField(y) }) {
			return true
		}
	}
	return false
}

// unevenly tells that one of several places was read in a state of which, for another,
// nothing tells: was that one read in it too? Not where the vehicle stands so anyway.
func (c *call) unevenly(all []frame) bool {
	for _, f := range all {
		for _, g := range all {
			if len(f.nums) == 0 || len(g.nums) == 0 || !placed(f) || !placed(g) || g.ownSetup || c.standsAs(g.setups) {
				continue
			}
			for _, s := range g.setups {
				if setupField(s) != "coil" && !slices.ContainsFunc(f.setups, func(own string) bool { return setupField(own) == setupField(s) }) {
					return true
				}
			}
		}
	}
	return false
}

// standsAs tells that the vehicle is known to stand as these setups say.
func (c *call) standsAs(setups []string) bool {
	said, clash := saidSetup(setups)
	return c.ctx.Now != nil && clash == "" && fits(said, *c.ctx.Now)
}

// placed tells that a frame says itself where it was read.
func placed(f frame) bool { return len(f.places)+len(only(f.elements, "coil", "battery")) > 0 }

// contradictions asks where one utterance gave one reading two values, certain or not.
func (c *call) contradictions() {
	var out, clashed []Finding
	said := c.res.Findings
	for _, d := range c.doubts {
		said = append(slices.Clip(said), d.finding)
	}
	two := func(f, o Finding) bool {
		return f.Kind == o.Kind && f.Kind != KindFact && f.Measure == o.Measure && sameSetup(f.Setup, o.Setup)
	}
	for _, f := range said {
		i := slices.IndexFunc(out, func(o Finding) bool { return two(f, o) })
		switch {
		case slices.ContainsFunc(clashed, func(o Finding) bool { return two(f, o) }):
		case i < 0:
			out = append(out, f)
		case c.say(f) != c.say(out[i]):
			c.ask("“"+c.text+"” gives two values for one reading. Which is it?", []Choice{
				{Words: out[i].Words, Findings: []Finding{out[i]}}, {Words: f.Words, Findings: []Finding{f}}})
			clash := out[i]
			clashed = append(clashed, clash)
			c.doubts = slices.DeleteFunc(c.doubts, func(d doubt) bool { return two(d.finding, clash) })
			out = slices.Delete(out, i, i+1)
		}
	}
	c.res.Findings = slices.DeleteFunc(out, func(f Finding) bool {
		return slices.ContainsFunc(c.doubts, func(d doubt) bool { return two(f, d.finding) })
	})
}

// unsaidIn are those of the setups about which the frame itself says nothing.
func (c *call) unsaidIn(f frame, setups []string) []string {
	var out []string
	for _, s := range setups {
		if f.act("reseat", "swap") && (s == "relay_out" || s == "relay_in") {
			continue
		}
		clash := false
		for _, own := range f.setups {
			clash = clash || setupField(own) == setupField(s)
		}
		if !clash {
			out = append(out, s)
		}
	}
	return out
}
