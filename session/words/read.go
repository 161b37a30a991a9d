package words

import (
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// call is the work on one utterance.
type call struct {
	r        *Reader
	ctx      *Context
	text     string // cleaned
	res      Result
	numbered bool           // some number was said as a reading
	open     map[int]string // numbers said that are not yet read, asked about or set aside, by id
	prefix   string         // socket, back or relay, said anywhere
	setups   []string       // said for the whole utterance
	cur      *frame         // the one being composed
	aside    []Unread       // reported if nothing else is taken
	last     string         // element whose side was named last
	strays   []string       // words of clauses that tell a setup, with no meaning here
	doubts   []doubt        // findings that are asked about before they count
	amends   int            // entry that the finding being filed takes the place of; 0 = none
	unsure   bool           // it was asked where a number was read
	muddled  bool           // part of it was not understood and may bear on all that was read
	choosing bool           // what is filed will be a choice: picking it settles every doubt
}

// Read takes everything it can from one utterance. It never fails: what cannot
// be taken is in Result.Questions or Result.Unread.
func (r *Reader) Read(text string, ctx Context) Result {
	if len(text) > longest {
		return Result{Unread: []Unread{{Text: excerpt(clean(text[:longest])), Nearest: "12.4 V at 86, relay out",
			Why: "that is too long to read at once; nothing of it was taken. Say one or two readings at a time"}}}
	}
	text = strings.Join(strings.Fields(clean(text)), " ")
	if ctx.Asked != nil {
		return r.answerQuestion(text, ctx)
	}
	res := r.readFresh(text, ctx)
	if ctx.Expected != nil && len(res.Findings)+len(res.Commands) == 0 && len(res.Questions) > 0 {
		ctx.Expected = nil
		if unasked := r.readFresh(text, ctx); unasked.standsAlone() {
			return unasked
		}
	}
	return res
}

func (r *Reader) readFresh(text string, ctx Context) Result {
	c := &call{r: r, ctx: &ctx, text: text}
	items := c.items(text)
	if !slices.ContainsFunc(items, func(it item) bool { return it.kind != kSep }) {
		c.unread(text, "nothing was said")
		return c.res
	}
	if c.answerAsk(items) {
		return c.res
	}
	items = c.facts(items)
	if c.res.empty() || hasContent(items) {
		c.run(items)
	}
	c.audit()
	if c.res.empty() {
		c.unread(text, "that was not understood")
	}
	return c.res
}

// hasContent tells whether anything but link words is left.
func hasContent(items []item) bool {
	return slices.ContainsFunc(items, func(it item) bool {
		g := concepts[it.concept]
		return it.kind == kNum || it.kind == kPlace || g == gOutcome || g == gCommand || g == gAct
	})
}

// items runs the stages up to words, numbers, places and concepts.
func (c *call) items(text string) []item {
	in := c.r.fixSlips(scan(text))
	in = measureUnits(alpha(spell(in)))
	in = c.terminals(c.neighbours(c.asExpected(c.r.match(in))))
	return c.count(c.places(in))
}

// asExpected gives words that mean one thing in one test and another elsewhere
// their meaning in the test asked for.
func (c *call) asExpected(in []item) []item {
	for i, it := range in {
		switch {
		case c.expects(rules.MinMax) && it.concept == "off" && strings.Contains(it.raw, "mov"):
			in[i].concept = "steady"
		case it.concept == "nothing_moves" && !c.ctx.Cautioned && c.ctx.Expected != nil && choiceTable(c.ctx.Expected.Measure.Mode) != nil:
			in[i].concept = "off"
		case it.concept == "off" && c.expectsNumber() && strings.HasPrefix(strings.ToLower(it.raw), "not "):
			in[i].concept = "nothing" // "not even a ghost reading"
		case it.concept == "aside" && c.expects(rules.Look) && strings.EqualFold(it.raw, "clean"):
			in[i].concept = "sound"
		case it.concept == "gone" && c.expects(rules.Look) && strings.Contains(it.raw, "good"):
			in[i].concept = "good" // "all good there"
		case it.concept == "gone" && c.expects(rules.Look) && strings.Contains(it.raw, "gone"):
			in[i].concept = "blown"
		case it.concept == "nothing_moves":
			in[i].concept = "load_moves=false"
		case c.expects(rules.PullIn) && it.concept == "click" && slices.ContainsFunc(in, func(x item) bool { return x.kind == kNum }):
			in[i].concept = "pull_in"
		case c.expects(rules.PullIn) && strings.EqualFold(it.raw, "never") && len(in) == 1:
			in[i].concept = "nothing"
		case it.concept == "off" && vague[strings.ToLower(it.raw)] && (c.expects(rules.Listen) || c.expects(rules.TestLamp)):
			in[i].concept = "nothing"
		case it.concept == "pull_in" && !slices.ContainsFunc(in, func(x item) bool { return x.kind == kNum }):
			in[i].concept = "click" // "heard it pull in"
		case it.concept == "load" && strings.EqualFold(it.raw, "lamp") && neighbour(in, i, 1).concept == "between":
			in[i].concept = "lamp"
		}
		in[i].text = firstText(in[i].concept, in[i].text)
	}
	return in
}

func (c *call) expectsNumber() bool { return c.ctx.Expected != nil && c.ctx.Expected.Kind == "number" }

func clicked(all []frame) bool {
	return slices.ContainsFunc(all, func(f frame) bool { return f.outcome("click") })
}

// vague are sayings that nothing came of it, whatever was tried.
var vague = map[string]bool{"not a thing": true, "nothing happens": true, "nothing happened": true, "nothing happening": true, "no joy": true, "no life": true,
	"no response": true, "did nothing": true, "does nothing": true, "doing nothing": true, "doesn't do anything": true, "nothing doing": true}

// run reads the utterance segment by segment; a correction parts segments.
func (c *call) run(items []item) {
	if c.repair(items) {
		return
	}
	items = justOn(rhetorical(items))
	var all []frame
	for _, seg := range c.corrections(items) {
		if rest, swap := c.exchanged(seg.items); swap {
			all = c.exchange(append(all, c.segment(rest)...))
			continue
		}
		got := c.segment(seg.items)
		if seg.mark == "" {
			all = append(all, got...)
			continue
		}
		all = c.correct(all, got, seg.mark)
	}
	if c.ctx.Opening {
		all = joinAll(all)
	}
	sameAgain(all)
	c.inherit(all)
	if n := len(all); n > 0 && (strings.HasSuffix(c.text, "?") || asks(items)) && len(c.res.Commands) == 0 && len(all[n-1].nums) > 0 {
		all[n-1].question = true
	}
	c.numbered = slices.ContainsFunc(all, func(f frame) bool { return len(f.nums) > 0 })
	bridged := slices.ContainsFunc(all, func(f frame) bool { return f.act("bridge") })
	for i := range all {
		all[i].adrift = i > 0 && all[i].nowhere == "" && len(all[i].places)+len(only(all[i].elements, "coil", "battery")) == 0 && len(all[i-1].places) > 0 && !c.atExpected(&all[i-1], rules.Setup{})
		all[i].strays = append(all[i].strays, c.strays...)
		all[i].bridged = bridged
		c.compose(&all[i])
	}
	c.contradictions()
	if len(c.res.Findings) == 0 {
		c.res.Unread = append(c.res.Unread, c.aside...)
	}
	if len(all) == 0 && len(c.setups) > 0 && len(c.res.Commands)+len(c.res.Questions) == 0 {
		c.setupOnly()
	}
}

// asks tells a question put without its mark: "is 84 good".
func asks(in []item) bool {
	return len(in) > 0 && in[0].kind == kWord && interrogative[in[0].text] && !strings.Contains(in[0].raw, "'")
}

var interrogative = set(`is are was were does did should can could would will shall what which how where who`)

// rhetorical takes "click? no, nothing" for no click.
func rhetorical(items []item) []item {
	if len(items) < 3 || items[1].kind != kSep || items[1].text != "?" || opposite[items[0].concept] == "" {
		return items
	}
	rest := items[3:]
	for len(rest) > 0 && (rest[0].kind == kSep || rest[0].concept == "nothing") {
		rest = rest[1:]
	}
	switch said := items[0]; items[2].concept {
	case "no", "not":
		said.concept = opposite[said.concept]
		said.text = said.concept
		return append([]item{said, {kind: kSep, text: ","}}, rest...)
	case "yes":
		return append([]item{said, {kind: kSep, text: ","}}, rest...)
	}
	return items
}

// justOn takes "it's on", with nothing else said, for a load that runs.
func justOn(items []item) []item {
	on := -1
	for i, it := range items {
		if it.text == "on" {
			on = i
		}
		if it.kind != kSep && it.concept != "yes" && !(it.kind == kWord && linkWords[it.text]) {
			return items
		}
	}
	if on >= 0 {
		items[on].kind, items[on].concept = kConcept, "runs"
	}
	return items
}

// joinAll makes one frame of all: a complaint is one thing, however many clauses
// tell it.
func joinAll(all []frame) []frame {
	for len(all) > 1 {
		all[0].join(all[1])
		all = append(all[:1], all[2:]...)
	}
	return all
}

// segment reads commands and frames between two corrections.
func (c *call) segment(items []item) []frame {
	var out []frame
	for _, cl := range c.commands(clauses(items)) {
		out = append(out, c.frames(cl)...)
	}
	return c.merge(out)
}

// inherit gives each frame the setups said for it elsewhere in the utterance:
// in a clause of their own, or in the frame before it, or, for a frame that
// names a place, in the one after it.
func (c *call) inherit(all []frame) {
	if _, clash := saidSetup(c.setups); clash != "" {
		c.setups = nil
		lead := len(all) > 0 && len(all[0].before) > 0
		for i := range all {
			own := all[i].after
			if lead {
				own = all[i].before
			}
			all[i].setups = append(all[i].setups, own...)
		}
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
	for i := len(all) - 2; i >= 0; i-- {
		if len(all[i].places)+len(only(all[i].elements, "coil", "battery")) > 0 && len(all[i].setups) == 0 && !all[i+1].ownSetup {
			all[i].setups = append(all[i].setups, all[i+1].setups...)
		}
	}
	for i := 1; i < len(all); i++ {
		f, before := &all[i], &all[i-1]
		if onlyNumber(f) && len(f.elements) == 0 && f.nowhere == "" && otherwise(f.setups, before.setups) {
			f.places, f.elements = before.places, before.elements // "30 12.5 key on, 12.4 key off"
		}
		if before.is("should") && len(f.nums) > 0 && len(f.places)+len(f.elements) == 0 && f.nowhere == "" {
			f.places, f.elements = before.places, before.elements // "the coil wants 80, I've got 82"
		}
	}
	c.muddled = c.muddled || unevenly(all)
	for i := range all {
		f := &all[i]
		if said, _ := saidSetup(f.setups); clicked(all) && (said.Relay == "in" || f.prefix == "back") && said.Command == "" && len(f.nums) > 0 {
			f.setups = append(f.setups, "command_on") // a relay that clicks was commanded
		}
		if said, _ := saidSetup(f.setups); said.Relay == "" && len(f.nums) > 0 && f.has(f.setups, "loaded") && !f.act("bridge", "pull_in", "drop_out") {
			f.setups = append(f.setups, "relay_in") // a load under way needs its relay
		}
	}
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
// nothing tells: was that one read in it too?
func unevenly(all []frame) bool {
	for _, f := range all {
		for _, g := range all {
			if len(f.nums) == 0 || len(g.nums) == 0 || !placed(f) || !placed(g) {
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

// placed tells that a frame says itself where it was read.
func placed(f frame) bool { return len(f.places)+len(only(f.elements, "coil", "battery")) > 0 }

// contradictions asks where one utterance gave one reading two values, certain or not.
func (c *call) contradictions() {
	var out []Finding
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
		case i < 0:
			out = append(out, f)
		case c.say(f) != c.say(out[i]):
			c.ask("“"+c.text+"” gives two values for one reading. Which is it?", []Choice{
				{Words: out[i].Words, Findings: []Finding{out[i]}}, {Words: f.Words, Findings: []Finding{f}}})
			clash := out[i]
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

// merge joins frames that complete each other: a place and the number after it,
// an act and what became of it.
func (c *call) merge(in []frame) []frame {
	var out []frame
	var before []string
	led := false // by clauses that only tell a setup
	for i, f := range in {
		if f.onlySetup() && !f.no {
			c.muddled = c.muddled || len(f.hedges) > 0 // "I think the key's on"
			c.setups = append(c.setups, f.setups...)
			c.strays = append(c.strays, f.strays...)
			if n := len(out); n > 0 {
				out[n-1].after = append(out[n-1].after, f.setups...)
			}
			if !led {
				before = nil
			}
			before, led = append(slices.Clip(before), f.setups...), true
			continue
		}
		led = false
		f.before = before
		if n := len(out); n > 0 && stateNotOutcome(&out[n-1], &f) {
			out[n-1].setups = append(out[n-1].setups, "loaded")
			continue
		}
		if n := len(out); n > 0 && (joins(&out[n-1], &f) || c.expects(rules.MinMax) && onlyNumber(&out[n-1]) && onlyNumber(&f)) && !(onlyNumber(&out[n-1]) && f.onlyPlace() && oddRun(in[i:])) {
			out[n-1].join(f)
			continue
		}
		out = append(out, f)
	}
	return c.dropEmpty(out)
}

// stateNotOutcome tells "2.2 volts, running", which says in what state it was
// read, from a result.
func stateNotOutcome(a, b *frame) bool {
	return len(a.nums) > 0 && onlyLoad(b) && len(b.outcomes) == 1 && b.outcomes[0] == "runs" && strings.HasSuffix(b.raw, "running")
}

// joins tells whether b goes on with what a began.
func joins(a, b *frame) bool {
	aVal, bVal := len(a.nums)+len(a.values) > 0, len(b.nums)+len(b.values) > 0
	aPlace, bPlace := len(a.places) > 0, len(b.places) > 0
	switch {
	case b.or && len(a.nums) > 0 && onlyNumber(b):
		return true // "12.6, or was it 12.5"
	case b.nothingBut() || a.nothingBut():
		return true // a hedge, a filler
	case onlyLoad(a) && onlyLoad(b):
		return true // "it runs but slow"
	case aPlace && a.bareButGood() && onlyNumber(b):
		return true // "thirty's good, twelve six"
	case a.bare() && !aPlace && len(a.elements) > 0 && len(a.acts) == 0 && len(b.outcomes) > 0 && len(b.elements) == 0 && !bPlace && !onlyLoad(b):
		return true // "pulled the feed fuse, it's fine"
	case onlyValue(a) && len(only(a.values, "nothing", "dead")) == len(a.values) && len(only(b.outcomes, "silent")) > 0 && len(b.elements)+len(b.nums)+len(b.places)+len(b.acts) == 0:
		return true // "nothing, silent"
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
	case !aPlace && aVal && bPlace && b.bare() && len(b.acts) == 0:
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

func (f *frame) bareButGood() bool {
	return len(f.nums)+len(f.values) == 0 && len(f.outcomes) == 1 && (f.outcomes[0] == "good" || f.outcomes[0] == "bad")
}

func onlyValue(f *frame) bool {
	return len(f.values) > 0 && len(f.places)+len(f.nums)+len(f.acts)+len(f.outcomes) == 0
}

func (f *frame) onlyPlace() bool {
	return f.bare() && len(f.places) > 0 && len(f.acts) == 0
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

func onlyNumber(f *frame) bool {
	return len(f.nums) > 0 && len(f.places)+len(f.values)+len(f.acts)+len(f.outcomes) == 0
}

// onlyLoad tells whether the frame says only what the load does.
func onlyLoad(f *frame) bool {
	seen := f.allSeen()
	return len(seen) > 0 && len(only(seen, "runs", "weak", "dim", "bright", "off", "trips", "comes_and_goes")) == len(seen) &&
		len(f.nums)+len(f.places)+len(f.acts) == 0
}

// trial tells whether something was tried, of which a result is awaited.
func trial(f *frame) bool {
	return f.act("bridge", "swap", "reseat", "wiggle", "crank", "lamp", "listen", "look")
}

// nothingBut tells that the frame holds only doubt or words without meaning.
func (f *frame) nothingBut() bool {
	return f.bare() && len(f.places)+len(f.acts)+len(f.setups)+len(f.elements) == 0 && f.nowhere == "" && !f.is("should", "bound", "past")
}

func (f *frame) join(g frame) {
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
	f.or = f.or || g.or
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
	return len(f.elements) > 0 && !f.has(f.elements, "load", "relay", "coil", "other_load") ||
		len(f.elements) > 0 && len(f.strays) > 0 || slices.ContainsFunc(f.strays, ofThing) || slices.ContainsFunc(f.strays, trade)
}

// retracts tells that a clause may take back what was said before it, in words that say
// no more than that.
func (f *frame) retracts() bool {
	return f.no && len(f.places)+len(f.elements) == 0 || strings.Contains(" "+strings.ToLower(f.raw)+" ", " wrong ") || strings.Contains(strings.ToLower(f.raw), "mistake")
}

// dropEmpty drops frames that say nothing, where there are others.
func (c *call) dropEmpty(in []frame) []frame {
	var out []frame
	for i, f := range in {
		if f.bare() && len(f.places) == 0 && c.bears(&f) {
			c.strays = append(c.strays, f.raw)
		}
		if f.so && (f.bare() || f.bareButGood()) && len(in) > 1 && !f.retracts() {
			continue // "1.1, so the driver's pulling it down"
		}
		if n := len(out); n > 0 && f.bare() && len(f.places) == 0 && f.retracts() {
			out[n-1].strays = append(out[n-1].strays, f.raw)
		}
		if (i == 0 && len(in) > 1 || i > 0 && len(in[i-1].nums) > 0) && (f.bareButGood() || slices.Equal(f.allSeen(), []string{"sound"})) && len(f.places)+len(f.elements)+len(f.acts) == 0 {
			continue // "ok, so …"
		}
		chatter := f.bare() && len(f.places)+len(f.acts)+len(f.unknown)+len(f.beside) == 0 && !f.is("should", "past", "bound")
		if f.badNum || !f.nothingBut() && !(chatter && (len(in) > 1 || len(c.res.Findings) > 0)) {
			out = append(out, f)
		}
	}
	return out
}
