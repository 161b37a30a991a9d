package words

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// compose makes findings, or a question, of one frame.
func (c *call) compose(f *frame) {
	c.cur = f
	defer func() { c.cur = nil }()
	said, clash := saidSetup(f.setups)
	switch {
	case clash == "switch" && c.ctx.Opening && f.otherWayRound():
		g := *f
		g.outcomes, g.values, g.nums, g.places = []string{"inverted"}, nil, nil, nil
		c.settleFrame(f)
		c.seen(&g, rules.Setup{})
	case clash == "switch" && c.expects(rules.Listen) && slices.Equal(f.allSeen(), []string{"click"}):
		f.setups = slices.DeleteFunc(slices.Clone(f.setups), func(s string) bool { return s == "command_off" })
		said, _ = saidSetup(f.setups)
		c.seen(f, said) // "it clicks when I turn it on and again when I turn it off"
	case clash != "":
		c.ask("The "+clash+" was said in two ways. Which was it for “"+f.raw+"”?", nil)
	case c.engineUnsaid(f, said):
		c.ask("The test asks for the engine running, and “"+f.raw+"” says that the key was off. Was the engine running?", nil)
	case f.badNum:
		c.askMistyped(f)
	case (f.is("past") || f.foretold()) && len(f.nums)+len(f.values) == 0 && len(f.outcomes) > 0 && !c.ctx.Opening:
		c.unlessTaken(f.raw, "that sounds like how it once was or should be, not how it is now; it was not taken")
		return
	case f.is("should", "past") && len(f.nums)+len(f.values) > 0 && !(c.ctx.Opening && f.is("past") && len(f.nums) == 0 && len(f.outcomes) > 0):
		c.unlessTaken(f.raw, "that sounds like what it should read or once read, not what it reads now; it was not taken")
		if f.is("past") {
			return
		}
	case f.is("customer") && len(f.nums) > 0 && !c.ctx.Opening:
		c.unlessTaken(f.raw, "that sounds like what someone else read; it was not taken")
		return
	case f.is("inrush") && len(f.nums) > 0:
		c.unread(f.raw, "a peak at switching on is not kept; give the steady value")
	case c.ctx.Opening && len(f.nums) > 0 && len(f.values)+len(f.outcomes) > 0:
		c.settleFrame(f) // "dead with 12 volts at the plug": nothing is stored before the job is open
		f.nums, f.places = nil, nil
		c.seen(f, said)
	case c.expects(rules.Look) && len(f.nums) > 0 && c.lookedAlready(f):
		c.settleFrame(f) // "the strip is broken in two", "it's the wrong one, a 30"
		if f.nums = nil; len(f.outcomes) > 0 {
			c.seen(f, said)
		}
	case len(f.nums) > 0:
		c.numeric(f, said)
	case len(f.values)+len(f.outcomes) > 0:
		c.seen(f, said)
	default:
		c.incomplete(f)
	}
	underway := len(f.elements) == 0 && strings.Contains(strings.ToLower(f.raw), "running") // "fifteen amps running"
	if seen := slices.DeleteFunc(slices.Clone(f.outcomes), func(s string) bool {
		return s == "good" || s == "bad" || s == "runs" && underway || s == "comes_and_goes" && len(f.nums) > 0 && len(f.elements) == 0 && c.expectsNumber() || s == "comes_and_goes" && c.expects(rules.MinMax)
	}); (len(f.nums) > 0 || len(f.values) > 0 && len(f.places) > 0) && len(seen) > 0 {
		g := *f
		g.outcomes = seen
		g.nums, g.values, g.places, g.acts = nil, nil, nil, nil
		c.seen(&g, said)
	}
}

// lookedAlready tells a number of no unit and no place beside the answer of a look.
func (c *call) lookedAlready(f *frame) bool {
	answered := slices.ContainsFunc(c.res.Findings, func(fd Finding) bool { return fd.Kind == KindAnswer })
	bare := !slices.ContainsFunc(f.nums, func(n item) bool { return n.num.unit.dim != "" || strings.Contains(n.num.digits, ".") })
	return bare && len(f.places)+len(f.values)+len(f.acts) == 0 && (answered || len(f.outcomes) > 0)
}

// otherWayRound tells what runs while its switch is off, and not while it is on: "on when the switch
// is off and off when it's on".
func (f *frame) otherWayRound() bool {
	did, stood := only(f.allSeen(), "runs", "bright", "off", "dark"), only(f.setups, "command_off", "command_on", "loaded")
	if len(did) != 2 || len(stood) != 2 {
		return false
	}
	on := func(s string) bool { return s == "runs" || s == "bright" || s == "command_on" || s == "loaded" }
	return on(did[0]) != on(did[1]) && on(did[0]) != on(stood[0]) && on(did[1]) != on(stood[1])
}

// foretold tells what something will do, or ought to, from what it does: "it'll run in a minute".
func (f *frame) foretold() bool {
	return f.is("should") && !f.outcome("weak", "comes_and_goes") && anyWord(strings.Fields(strings.ToLower(f.raw)), foretelling)
}

var foretelling = set(`it'll she'll will ought would i'd`)

// engineUnsaid tells that the reading asked for with the engine running was taken with all
// off, and the engine was not spoken of: "13.8 with everything off".
func (c *call) engineUnsaid(f *frame, said rules.Setup) bool {
	e := c.ctx.Expected
	return e != nil && e.Setup.Engine == "running" && len(f.nums) > 0 && len(f.places) == 0 && said.Key == "off" && said.Engine == ""
}

// unlessTaken reports what was set aside, unless something else in the
// utterance was taken.
func (c *call) unlessTaken(text, why string) {
	c.settleFrame(c.cur)
	near, sayable := c.suggest(text)
	c.aside = append(c.aside, Unread{Text: excerpt(text), Why: why, Nearest: near, Sayable: sayable})
}

// incomplete asks about a frame with a place or an act and nothing read.
func (c *call) incomplete(f *frame) {
	switch {
	case f.act("bridge"):
		c.ask("What did the load do then?", nil)
	case len(f.places) > 0:
		f.dropGround()
		c.muddled = c.muddled || f.no && c.asksPair() || !f.no && !slices.ContainsFunc(f.places, func(p placeRef) bool { return !onReference(p) })
		if why := f.askPlace(); why != "" {
			c.askWhere(f, why)
			return
		}
		c.ask("What did it read at "+c.placeWords(f.places)+"?", nil)
	case trial(f):
		c.muddled = true // what was read beside it may have been read before or after
		c.ask("What happened then?", nil)
	default:
		c.unread(f.raw, NotUnderstood)
	}
}

// dropGround leaves the ground out that another place has none of: "no ground at 85".
func (f *frame) dropGround() {
	if f.no && len(f.places) > 1 {
		f.places = slices.DeleteFunc(slices.Clone(f.places), onReference)
	}
}

// onReference tells a place that readings are taken against: where it alone is named, the
// black lead may have been there.
func onReference(p placeRef) bool {
	for _, s := range p.spots {
		if s.part != "ground" && (s.abs == "" || !reference(s.abs)) {
			return false
		}
	}
	return true
}

func (f *frame) askPlace() string {
	for _, p := range f.places {
		for _, s := range p.spots {
			if s.ask != "" {
				return s.ask
			}
		}
	}
	return ""
}

// numeric makes a reading of a frame with one number or a range.
func (c *call) numeric(f *frame, said rules.Setup) {
	if slices.ContainsFunc(f.nums, c.unfit) {
		return
	}
	if f.is("bound") && c.expects(rules.PullIn) && f.outcome("silent", "off") {
		c.settled(f.nums...)
		return // "no click up to 12": it never pulled in
	}
	if f.is("bound") {
		c.unsure = true // "seven, up to eight"
		c.ask("“"+f.raw+"” is a limit, not a reading. What number did the meter show?", nil)
		return
	}
	if len(f.places) == 0 && len(f.elements) == 0 {
		f.spent = append(f.spent, f.nums...)
		f.nums = slices.CompactFunc(slices.Clone(f.nums), func(a, b item) bool { return a.num.v == b.num.v && a.num.unit == b.num.unit })
	}
	if len(f.nums) == 2 && !f.or && (f.span || f.act("jumping") || c.expects(rules.MinMax)) {
		c.minMax(f, said)
		return
	}
	if v := math.Abs(f.nums[0].num.v); v > 0.5 && f.has(f.values, "dead", "nothing", "dark") || v < 1 && f.has(f.values, "live") && len(f.nums) == 1 {
		c.ask("“"+f.raw+"” says two things. What did the meter show?", nil)
		return
	}
	if len(f.nums) > 1 {
		c.unsure = true
		c.ask("There are several numbers in “"+f.raw+"”. Which was read where?", nil)
		return
	}
	if c.expects(rules.MinMax) && c.atExpected(f, said) {
		c.unmoved(f)
		return
	}
	if j := f.nums[0].num.joined; j[0] != "" && c.splitMark(f, j) {
		return
	}
	c.single(f, said)
}

// unfit asks about, or refuses, a number that is none to store.
func (c *call) unfit(n item) bool {
	switch {
	case n.num.bad:
		c.unread(n.raw, "that is no number a meter shows")
	case n.num.unit.dim == "alternating":
		c.ask("The meter is on AC. What does it show on DC volts?", nil)
	case n.num.unit.dim == ohm && n.num.unit.scale == 1e-3:
		c.ask("A hand meter shows no milliohms. What did it show, and in what unit?", nil)
	case n.num.odd != "":
		c.ask(upper(n.num.odd)+". What was the number?", nil)
		if n.num.name {
			c.open[n.num.id] = n.raw // what it names may bear on all that was read
		}
	case c.leftmostOne(n):
		c.ask("A 1 at the left of the display, with no more digits, is over range on many meters. Was it that?", c.overOrOne())
	default:
		return false
	}
	return true
}

// leftmostOne tells a 1 on the left of the display, by which many meters show over range on ohms.
func (c *call) leftmostOne(n item) bool {
	return c.expects(rules.Ohms) && n.num.digits == "1" && (n.num.unit.dim == "" || n.num.unit.dim == ohm) && anyWord(strings.FieldsFunc(strings.ToLower(c.text), func(r rune) bool { return r == ' ' || r == ',' }), leftmost)
}

var leftmost = set(`left leftmost`)

// overOrOne offers over range, and one ohm, for the test asked for.
func (c *call) overOrOne() []Choice {
	one := 1.0
	var out []Choice
	for _, a := range []Answer{{Over: true}, {Number: &one}} {
		fd := c.answer(&frame{raw: c.text}, a)
		fd.Words = c.say(fd)
		out = append(out, c.choiceFor(fd.Words, fd))
	}
	return out
}

// splitMark asks where "twelve four" could be terminal 12 reading 4.
func (c *call) splitMark(f *frame, parts [2]string) bool {
	role, _ := roleOf(parts[0], c.ctx.Labels)
	if role == "" || len(f.places) > 0 {
		return false
	}
	c.ask(fmt.Sprintf("Is “%s” the number %s.%s, or terminal %s reading %s?", f.nums[0].raw, parts[0], parts[1], parts[0], parts[1]), nil)
	return true
}

// single makes a reading of a frame with one number.
func (c *call) single(f *frame, said rules.Setup) {
	if why := f.askPlace(); why != "" {
		if !c.askFeed(f, said) && !c.askEnd(f, func(c *call, g *frame) { c.single(g, said) }) {
			c.askWhere(f, why)
		}
		return
	}
	if f.act("pull_in", "drop_out") && c.onCoil(f, said) || c.askRating(f, said) {
		return
	}
	if d := during(f); d != "" && !(c.ctx.Expected != nil && c.ctx.Expected.Measure.During == d) {
		c.ask("One number "+duringWords[d]+" is not enough: what was the lowest and what the highest?", nil)
		return
	}
	if f.restless && !f.is("about") {
		c.unsure = true
		c.ask("“"+f.raw+"”: what was the lowest and what the highest that the meter showed?", nil)
		return
	}
	if len(f.places) > 2 || len(f.places) == 2 && !c.meltPlaces(f) {
		c.ask("There are several places in “"+f.raw+"”. Between which two, or at which one, was that read?", nil)
		return
	}
	if want := c.wanting(f, said); want != "" {
		if f.askPlace() == "" || !c.askEnd(f, func(c *call, g *frame) { c.single(g, said) }) {
			c.askWhere(f, want)
		}
		return
	}
	modes := c.modesOf(f, said)
	switch len(modes) {
	case 0:
		c.implausible(f, said)
	case 1:
		c.put(f, said, modes[0])
	default:
		c.askUnit(f, said, modes)
	}
}

// onCoil files the volts at which the relay pulled in or dropped out.
func (c *call) onCoil(f *frame, said rules.Setup) bool {
	mode := rules.PullIn
	if f.act("drop_out") {
		mode = rules.DropOut
	}
	v := value(f.nums[0].num)
	if d := f.nums[0].num.unit.dim; d != "" && d != volt && d != milli || !c.plausible(mode, v) || v < 0 {
		return false
	}
	if c.expects(mode) {
		c.file(c.answer(f, Answer{Number: &v}), f)
		return true
	}
	if said.Relay != "" && said.Relay != "bench" {
		return false
	}
	c.file(Finding{Kind: KindReading, Measure: rules.Measure{Mode: mode}, Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "energised"},
		Answer: Answer{Number: &v}, Hedge: hedge(f), Assumed: []string{"on the bench"}}, f)
	return true
}

// askRating asks whether "the load is 15 amps" tells its rating or what was measured.
func (c *call) askRating(f *frame, said rules.Setup) bool {
	ask := c.askOf("load_amps")
	if ask == nil || f.nums[0].num.unit.dim != ampere || c.expects(rules.AmpsDC) || !slices.Equal(f.elements, []string{"load"}) || len(f.acts)+len(f.places) > 0 || !copula(f.raw) {
		return false
	}
	rated := Finding{Kind: KindFact, Fact: ask.Fact, Value: rules.Value{Kind: rules.Number, Number: value(f.nums[0].num)}}
	rated.Words = c.say(rated)
	choices := []Choice{{Words: "rated", Findings: []Finding{rated}}}
	g := *f
	if c.placeless(&g, said) == "" {
		if measured, ok := c.choiceOf(g, said, rules.AmpsDC, nil); ok {
			choices = append(choices, Choice{Words: "measured", Findings: measured.Findings})
		}
	}
	c.ask("“"+f.raw+"”: is that its rating, or was it measured?", choices)
	return true
}

// copula tells that something is said to be, and not to draw or to read.
func copula(said string) bool {
	return slices.ContainsFunc(strings.Fields(strings.ToLower(said)), func(w string) bool { return w == "is" || strings.HasSuffix(w, "'s") })
}
