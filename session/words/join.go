package words

import (
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// This file joins the frames of clauses that complete each other.

// joinAll makes one frame of all: a complaint is one thing, however many clauses
// tell it.
func joinAll(all []frame) []frame {
	for len(all) > 1 {
		all[0].join(all[1])
		all = append(all[:1], all[2:]...)
	}
	return all
}

// merge joins frames that complete each other: a place and the number after it,
// an act and what became of it.
func (c *call) merge(in []frame) []frame {
	c.backIn(in)
	var out []frame
	var before []string
	led := false // by clauses that only tell a setup
	for i, f := range in {
		if i > 0 && len(in[i-1].nums) > 0 && !c.watching() && stateOn(&f) {
			f.outcomes, f.elements, f.setups = nil, nil, append(f.setups, "loaded")
		}
		if said, _ := saidSetup(f.setups); f.prefix == "back" && said.Relay == "" && f.bare() && len(f.places)+len(f.acts)+len(f.elements) == 0 && len(in) > 1 {
			f.setups = append(f.setups, "relay_in") // "back probing with it on, 86 12.2, 85 0.1"
		}
		if f.onlySetup() && f.so && i > 0 && len(in[i-1].nums) > 0 {
			continue // "12.4, so it's not being switched"
		}
		var last *frame
		if n := len(out); n > 0 {
			last = &out[n-1]
		}
		if last != nil && onlyNumber(last) && saidInOhms(last) && f.namesCoil() {
			last.join(f) // "84 ohms, coil on the bench"
			continue
		}
		if f.onlySetup() && !f.no {
			c.stateSaid(&f, last)
			if !led {
				before = nil
			}
			before, led = append(slices.Clip(before), f.setups...), true
			continue
		}
		led = false
		f.before = before
		c.muddled = c.muddled || f.then && i > 0 && len(in[i-1].nums) > 0 && len(f.nums)+len(f.places) == 0 && len(only(f.acts, "drop", "jumping")) == len(f.acts) // "30, then it blows"
		if last == nil || !c.goesOn(last, &f, in[i:]) {
			out = append(out, c.withoutJudgement(f))
		}
	}
	return c.dropEmpty(out)
}

// stateSaid takes a clause that only tells how the vehicle stood; last is the frame before it.
func (c *call) stateSaid(f, last *frame) {
	c.muddled = c.muddled || len(f.hedges) > 0 // "I think the key's on"
	c.setups = append(c.setups, f.setups...)
	c.strays = append(c.strays, f.strays...)
	if last != nil {
		last.after = append(last.after, f.setups...)
	}
}

// goesOn takes what goes on with the last frame into it: f is no frame of its own then. rest
// are f and those after it.
func (c *call) goesOn(last, f *frame, rest []frame) bool {
	switch {
	case f.but && (f.bare() && strings.HasPrefix(strings.ToLower(f.raw), "not ") || slices.Equal(f.allSeen(), []string{"unclear"})):
		last.limited = true // "something clicked, but not the relay"
		return true
	case stateNotOutcome(last, f):
		last.setups = append(last.setups, "loaded")
		return true
	case f.also && f.onlyPlace() && onlyNumber(last) && c.expectsNumber() && !f.no:
		f.values = []string{"same"} // "12.4, 30 too" answers, and goes on
		return false
	case c.judgedGround(last) && onlyNumber(f):
		*last = *f
		return true
	case (onlyNumber(last) || f.no && len(last.nums) > 0) && c.judgedGround(f):
		return true // "85 12 volts, no ground"
	}
	g := c.withoutJudgement(*f)
	if !joins(last, &g) && !c.joinsAsAsked(last, &g) || onlyNumber(last) && g.onlyPlace() && oddRun(rest) {
		return false
	}
	last.join(g)
	return true
}

// withoutJudgement drops what was thought of the ground that the number is of: "0.1 ground ok".
func (c *call) withoutJudgement(f frame) frame {
	g := f
	if g.nums = nil; len(f.nums) == 1 && f.justGround() && len(f.outcomes) > 0 && c.judgedGround(&g) {
		f.places, f.outcomes = nil, nil
	}
	return f
}

// backIn takes "plugged the relay back in, 86 shows 12.2" for how the vehicle then stood:
// something was read after it, and nothing seen that a reseating could have changed.
func (c *call) backIn(in []frame) {
	read := slices.IndexFunc(in, func(f frame) bool { return len(f.nums) > 0 && (len(f.places) > 0 || c.expectsNumber()) })
	if read < 0 && c.ctx.Now != nil && c.ctx.Now.Relay == "out" && !c.watching() {
		read = len(in) // it was out, and is in now
	}
	if read < 0 || slices.ContainsFunc(in, func(f frame) bool { return len(f.outcomes) > 0 || len(f.values) > 0 && len(f.places) == 0 }) {
		return
	}
	for i := range in[:min(read+1, len(in))] {
		f := &in[i]
		before := i < read && f.bare() && len(f.places) == 0
		if (before || len(f.nums) > 0 && !c.watching() && !c.onBench()) && slices.Equal(f.acts, []string{"reseat"}) && !f.has(f.setups, "command_on") {
			f.acts, f.elements, f.setups = nil, nil, append(f.setups, "relay_in")
		}
	}
}

// joins tells whether b goes on with what a began.
func joins(a, b *frame) bool {
	aVal, bVal := len(a.nums)+len(a.values) > 0, len(b.nums)+len(b.values) > 0
	aPlace, bPlace := len(a.places) > 0, len(b.places) > 0
	switch {
	case b.so && (b.supposes() || b.bare() && len(b.places) == 0 && len(a.nums) > 0 && len(only(b.acts, "drop", "jumping")) == len(b.acts)):
		return false // "0.4, so there's nothing driving it", "11.4 so it's dropping somewhere"
	case b.or && len(a.nums) > 0 && onlyNumber(b):
		return true // "12.6, or was it 12.5"
	case b.nothingBut() || a.nothingBut():
		return true // a hedge, a filler
	case a.outcome("click") && len(b.elements) == 0 && slices.Equal(b.allSeen(), []string{"comes_and_goes"}):
		return true // "clicks, but only one time in three"
	case onlyLoad(a) && onlyLoad(b):
		return true // "it runs but slow"
	case (aPlace || a.has(a.elements, "battery", "coil", "contact") || a.act("voltage", "drop", "current", "resistance")) && a.bareButGood() && onlyNumber(b):
		return true // "thirty's good, twelve six"
	case a.bare() && !aPlace && len(a.acts) == 0 && slices.Equal(a.elements, []string{"battery"}) && onlyNumber(b):
		return true // "the battery first, 12.6"
	case a.judgesPart() == "battery" && onlyNumber(b):
		return true // "the battery's tired, eleven two"
	case a.bare() && !aPlace && len(a.elements) > 0 && len(a.acts) == 0 && len(b.outcomes) > 0 && len(b.elements) == 0 && !bPlace && !onlyLoad(b):
		return true // "pulled the feed fuse, it's fine"
	case onlyValue(a) && len(only(a.values, "nothing", "dead")) == len(a.values) && len(only(b.outcomes, "silent")) > 0 && len(b.elements)+len(b.nums)+len(b.places)+len(b.acts) == 0:
		return true // "nothing, silent"
	case onlyNumber(a) && b.has(b.elements, "load"):
		return false // "zero amps, and the pump's dead"
	case onlyValue(a) && onlyNumber(b), onlyNumber(a) && onlyValue(b), onlyValue(a) && onlyValue(b):
		return true // "dead, 0.02"
	case a.bare() && !aPlace && !trial(a) && len(a.acts) > 0 && bVal:
		return true // "ghost volts, two-ish"
	case b.bare() && len(b.acts) > 0 && !bPlace && (aVal || trial(a)) && !trial(b):
		return true
	case aPlace && !aVal && !bPlace && bVal && len(b.acts) == 0 && len(a.outcomes) == 0:
		return true
	case aPlace && len(a.nums) == 0 && a.has(a.values, "live", "same") && len(b.nums) > 0 && !bPlace:
		return true
	case aPlace && len(a.nums) == 0 && a.has(a.values, "nothing", "dead") && onlyNumber(b) && math.Abs(value(b.nums[0].num)) < 0.5:
		return true // "nothing, meter says zero"
	case !aPlace && aVal && bPlace && b.bare() && len(b.acts) == 0 && !b.no && !b.is("should"): // "12.4, no ground at 85"
		return true
	case trial(a) && a.bare() && !bPlace && !trial(b) && len(b.nums) == 0:
		return true
	case trial(b) && b.bare() && !trial(a) && !aPlace && len(a.nums) == 0 && len(a.outcomes)+len(a.values) > 0:
		return true
	case trial(a) && b.outcome("good") && len(b.elements) > 0:
		return true // the donor is proved
	}
	return false
}

// judgedGround tells a judgement of the ground that the number after it was read at: "ground's
// good, 0.02", or "12 volts, no ground", beside a test of the ground side.
func (c *call) judgedGround(f *frame) bool {
	if len(f.places) == 0 || !f.onGround() || !c.expects(rules.VoltsDC) || c.asksAtSupply() {
		return false
	}
	bare := f.bare() && len(f.acts)+len(f.elements)+len(f.setups)+len(f.strays) == 0
	return f.bareButGood() || bare && (f.no || f.justGround() || strings.HasSuffix(strings.ToLower(f.raw), " there"))
}

// joinsAsAsked tells whether b goes on with a in the test asked for: the highest after the
// lowest, or how far the volts were taken without a click.
func (c *call) joinsAsAsked(a, b *frame) bool {
	switch {
	case c.expects(rules.MinMax):
		return swing(a) && swing(b) || held(a) && onlyNumber(b) || onlyNumber(a) && held(b)
	case c.expects(rules.PullIn):
		return a.silentAlone() && b.is("bound") && onlyNumber(b) || b.silentAlone() && a.is("bound") && onlyNumber(a)
	}
	return false
}

// oddRun tells, after a number on its own, "12.4. 85: 0.1" from "12.4, 86, 0.1,
// 85": the places that follow it go with the numbers after them.
func oddRun(rest []frame) bool {
	n := 0
	for i := range rest {
		if i%2 == 0 && !rest[i].onlyPlace() || i%2 == 1 && !onlyNumber(&rest[i]) {
			break
		}
		n++
	}
	return n%2 == 0
}

func (f *frame) join(g frame) {
	f.limited = f.limited || g.but && g.nothingBut() && len(g.unknown)+len(g.strays) > 0
	switch { // what stands in a clause without a reading is not said of one
	case f.nothingBut():
		f.strays = g.strays
	case !g.nothingBut():
		f.strays = append(f.strays, g.strays...)
	}
	if trial(f) && g.outcome("good") && len(g.elements) > 0 && len(f.outcomes)+len(f.values) > 0 {
		g.outcomes = nil
		f.acts = append(f.acts, "donor_proved")
	}
	if len(g.places) > 0 && (f.askPlace() != "" || f.nowhere != "") {
		f.places, f.nowhere = nil, ""
	}
	if g.then && slices.Equal(f.outcomes, []string{"runs"}) && slices.Equal(g.outcomes, []string{"off"}) && strings.HasSuffix(g.raw, " again") {
		f.outcomes, g.outcomes = []string{"comes_and_goes"}, nil // "it started and then it stopped again"
	}
	f.places = append(f.places, g.places...)
	f.nums = append(f.nums, g.nums...)
	f.values = append(f.values, g.values...)
	f.outcomes = append(f.outcomes, g.outcomes...)
	f.acts = append(f.acts, g.acts...)
	f.setups = append(f.setups, g.setups...)
	f.manner = append(f.manner, g.manner...)
	f.elements = append(f.elements, g.elements...)
	f.unknown = append(f.unknown, g.unknown...)
	f.beside = append(f.beside, g.beside...)
	f.spent = append(f.spent, g.spent...)
	f.between, f.badNum, f.span = f.between || g.between, f.badNum || g.badNum, f.span || g.span
	if f.nowhere == "" {
		f.nowhere = g.nowhere
	}
	if f.prefix == "" {
		f.prefix = g.prefix
	}
	if g.nothingBut() && len(g.hedges) > 0 {
		f.hedges = append(f.hedges, g.raw)
	} else {
		f.hedges = append(f.hedges, g.hedges...)
	}
	f.or, f.restless = f.or || g.or, f.restless || g.restless
	f.raw += ", " + g.raw
}

// bears tells that a clause which says nothing by itself may bear on a reading beside it:
// it names a part, or has a word of the trade in it that means nothing there.
func (c *call) bears(f *frame) bool {
	if f.so || f.is("should", "past") || len(f.acts) > 0 {
		return false
	}
	trade := func(w string) bool { return c.r.vocab[strings.ToLower(w)] && !slices.Contains(f.unknown, w) }
	ofThing := func(w string) bool { return strings.HasSuffix(w, " on") || strings.HasSuffix(w, " off") } // "charger on"
	return len(f.elements) > 0 && !f.has(f.elements, "load", "relay", "coil", "other_load") && !c.judges(f) ||
		len(f.elements) > 0 && len(f.strays) > 0 && !c.judges(f) || slices.ContainsFunc(f.strays, ofThing) || slices.ContainsFunc(f.strays, trade)
}

// judges tells what is thought of a part and says nothing else: "the batteries are low".
func (c *call) judges(f *frame) bool {
	judged := false
	for _, w := range strings.Fields(strings.ToLower(f.raw)) {
		w = strings.TrimSuffix(w, "'s")
		n := c.r.root.next[w]
		switch {
		case judgement[w]:
			judged = true
		case n != nil && concepts[n.concept] == gPlace || linkWords[w] || common[w] && !turning[w]:
		default:
			return false
		}
	}
	return judged
}

var judgement = set(`low lowish high flat tired old weak down needs wants charge charging recharging charged full knackered shot`)

// dropEmpty drops frames that say nothing, where there are others.
func (c *call) dropEmpty(in []frame) []frame {
	var out []frame
	for i, f := range in {
		if f.bare() && len(f.places) == 0 && c.bears(&f) {
			c.strays = append(c.strays, f.raw)
		}
		if f.so && (f.bare() || f.bareButGood() || (f.concludes() || f.supposes()) && len(in[i-1].nums) > 0) && len(in) > 1 && !f.retracts() {
			continue // "1.1, so the driver's pulling it down"
		}
		if n := len(out); n > 0 && f.bare() && len(f.places) == 0 && f.retracts() {
			out[n-1].strays = append(out[n-1].strays, f.raw)
		}
		if (i == 0 && len(in) > 1 || i > 0 && len(in[i-1].nums) > 0) && (f.bareButGood() || slices.Equal(f.allSeen(), []string{"sound"})) && len(f.elements)+len(f.acts) == 0 && f.onGround() {
			continue // "ok, so …", "1.8 volts, bad ground"
		}
		chatter := f.bare() && len(f.places)+len(f.acts)-len(only(f.acts, "replaced"))+len(f.unknown)+len(f.beside) == 0 && !f.is("should", "past", "bound")
		if f.badNum || !f.nothingBut() && !(chatter && (len(in) > 1 || len(c.res.Findings) > 0)) {
			out = append(out, f)
		}
	}
	return out
}
