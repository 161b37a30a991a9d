package words

import (
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// call is the work on one utterance.
type call struct {
	r         *Reader
	ctx       *Context
	text      string // cleaned
	res       Result
	numbered  bool           // some number was said as a reading
	metered   bool           // volts were read at a place that was said
	lit       bool           // a test lamp was spoken of
	open      map[int]string // numbers said that are not yet read, asked about or set aside, by id
	prefix    string         // socket, back or relay, said anywhere
	setups    []string       // said for the whole utterance
	cur       *frame         // the one being composed
	aside     []Unread       // reported if nothing else is taken
	last      string         // element whose side was named last
	strays    []string       // words of clauses that tell a setup, with no meaning here
	doubts    []doubt        // findings that are asked about before they count
	amends    int            // entry that the finding being filed takes the place of; 0 = none
	actually  bool           // "actually" stands behind the number
	ran       bool           // the load was said to run, which is asked about
	unsure    bool           // it was asked where a number was read
	muddled   bool           // part of it was not understood and may bear on all that was read
	fuseNamed bool           // a fuse was named by a number that is no rating: which one it is must be asked
	choosing  bool           // what is filed will be a choice: picking it settles every doubt
}

// Read takes everything it can from one utterance. It never fails: what cannot
// be taken is in Result.Questions or Result.Unread.
func (r *Reader) Read(text string, ctx Context) Result {
	if len(text) > longest {
		return Result{Unread: []Unread{{Text: excerpt(clean(text[:longest])), Nearest: "12.4 V at 86, relay out",
			Why: "that is too long to read at once; nothing of it was taken. Say one or two readings at a time"}}}
	}
	if ctx.Opening && r.opening != nil {
		r = r.opening
	}
	text = strings.Join(strings.Fields(clean(text)), " ")
	res := r.read(text, ctx)
	if !strings.Contains(strings.ToLower(text), strings.Trim(correctedTo, ", ")) {
		res.asSaid()
	}
	return res
}

// correctedTo stands between what was said and what was said anew of it, wherever the two are read as one.
const correctedTo = ", no wait, "

// said is a text to be read back, in which nobody said "no wait".
func said(text string) string { return strings.ReplaceAll(text, correctedTo, "; ") }

// asSaid takes the mark of a correction that nobody said out of all that is read back.
func (r *Result) asSaid() {
	for i := range r.Questions {
		r.Questions[i].Text = said(r.Questions[i].Text)
	}
	for i := range r.Unread {
		r.Unread[i].Text, r.Unread[i].Why = said(r.Unread[i].Text), said(r.Unread[i].Why)
	}
	for i := range r.Commands {
		r.Commands[i].Action, r.Commands[i].Reason = said(r.Commands[i].Action), said(r.Commands[i].Reason)
	}
	r.Left = said(r.Left)
}

func (r *Reader) read(text string, ctx Context) Result {
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
	if c.onlyHeard(items) {
		c.settled(items...)
		c.command(Command{Kind: CmdWait})
		return c.res
	}
	if c.answerAsk(items) || c.astray(items) {
		return c.res
	}
	said := items
	items = c.facts(items)
	if c.res.empty() || hasContent(items) && !onlyWhy(items) {
		c.run(items)
	}
	c.audit()
	if len(c.res.Findings) > 0 {
		c.res.Commands = slices.DeleteFunc(c.res.Commands, func(cmd Command) bool { return cmd.Kind == CmdYes || cmd.Kind == CmdNo })
	}
	if cmd := c.wanted(said); cmd != nil {
		c.res = Result{Commands: []Command{*cmd}}
	}
	c.dropChatter()
	if c.res.empty() {
		c.unread(text, NotUnderstood)
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

// onlyWhy tells that nothing is left but what was measured, without what it was: "request refused, low voltage"
// gives the reason of what was told.
func onlyWhy(items []item) bool {
	return !slices.ContainsFunc(items, func(it item) bool {
		return it.kind == kNum || it.kind == kPlace || it.concept != "" && it.concept != "voltage" && it.concept != "current"
	})
}

// items runs the stages up to words, numbers, places and concepts.
func (c *call) items(text string) []item {
	in := c.r.ownSwitch(c.r.fixSlips(scan(text)))
	in = c.minutes(measureUnits(alpha(spell(c.r.nouns(in)))))
	in = c.inContext(c.r.fullNames(howOften(c.r.match(in))))
	in = loadStates(pluggedLoad(c.neighbours(in)))
	in = c.r.loadDid(fuseDid(offThenOn(itsState(switchedToo(in)))))
	in = c.terminals(in)
	return c.count(c.lists(bothPosts(c.thisPlace(c.places(in)))))
}

func (c *call) expectsNumber() bool { return c.ctx.Expected != nil && c.ctx.Expected.Kind == "number" }

func clicked(all []frame) bool {
	return slices.ContainsFunc(all, func(f frame) bool { return f.outcome("click") })
}

// run reads the utterance segment by segment; a correction parts segments.
func (c *call) run(items []item) {
	items = c.sinceThen(takenBack(items))
	if c.repair(items) || c.onWrongPlace(items) {
		return
	}
	items, wonders := withoutOpinion(items)
	items = justOn(rhetorical(items))
	c.muddled = c.muddled || ofElse(items)
	all := c.segments(items)
	if c.ctx.Opening {
		all = joinAll(all)
	}
	sameAgain(all)
	all = c.wasOtherwise(all)
	all = c.withoutSize(c.saidBetter(all))
	c.inherit(all)
	if n := len(all); n > 0 && (strings.HasSuffix(c.text, "?") && !wonders || asks(items) || asksBehind(items)) && len(c.res.Commands) == 0 && len(all[n-1].nums) > 0 {
		all[n-1].question = true
	}
	c.numbered = slices.ContainsFunc(all, func(f frame) bool { return len(f.nums) > 0 })
	c.metered = slices.ContainsFunc(all, readVolts)
	c.lit = slices.ContainsFunc(all, func(f frame) bool { return f.act("lamp") || f.has(f.values, "bright", "dim", "dark") })
	bridged := slices.ContainsFunc(all, func(f frame) bool { return f.act("bridge") })
	for i := range all {
		all[i].adrift = i > 0 && all[i].nowhere == "" && len(all[i].places)+len(only(all[i].elements, "coil", "battery")) == 0 && len(all[i-1].places) > 0 && !c.atExpected(&all[i-1], rules.Setup{})
		all[i].strays = append(all[i].strays, c.strays...)
		all[i].bridged = bridged && (all[i].act("bridge") || !all[i].inOhms())
		c.compose(&all[i])
	}
	c.contradictions()
	if len(c.res.Findings) == 0 {
		c.res.Unread = append(c.res.Unread, c.aside...)
	}
	if len(all) == 0 && c.onlyLoadSaid(items) {
		c.compose(&frame{outcomes: []string{"runs"}, elements: []string{"load"}, raw: c.text}) // "the fan's running now"
		return
	}
	if len(all) == 0 && len(c.setups) > 0 && !slices.ContainsFunc(c.res.Commands, changes) && len(c.res.Questions) == 0 {
		c.setupOnly()
	}
}

// segments reads what stands between corrections, each of which changes what went before.
func (c *call) segments(items []item) []frame {
	var all []frame
	for _, seg := range c.corrections(items) {
		if rest, swap := c.exchanged(seg.items); swap {
			all = c.exchange(append(all, c.segment(rest)...))
			continue
		}
		states := len(c.setups)
		if seg.mark == "" {
			all = append(all, c.segment(seg.items)...)
			continue
		}
		got := c.segment(c.ofSameThing(all, seg.items))
		if c.restated(all, states) && len(got) == 0 {
			continue
		}
		all = c.correct(all, got, seg.mark)
	}
	return all
}

// onlyLoadSaid tells that nothing was said but that the load is under way: that is what it does,
// unless it is said of when something else happened, as of what "blows when the fan starts".
func (c *call) onlyLoadSaid(items []item) bool {
	states := len(c.setups) > 0 && c.setups[0] == "loaded" && len(only(c.setups, "loaded", "unkept_state")) == len(c.setups)
	return states && !slices.ContainsFunc(items, func(it item) bool { return when[firstWord(it.raw)] })
}

// withoutSize drops the size of a part that was looked at and is the wrong one: "wrong
// rating, it's a 30".
func (c *call) withoutSize(all []frame) []frame {
	if !c.expects(rules.Look) || !slices.ContainsFunc(all, func(f frame) bool { return f.outcome("wrong_part") }) {
		return all
	}
	return slices.DeleteFunc(all, func(f frame) bool {
		if onlyNumber(&f) {
			c.settled(f.nums...)
		}
		return onlyNumber(&f)
	})
}

// changes tells a command that changes what is kept, or leaves it.
func changes(c Command) bool {
	return !slices.Contains([]string{CmdRepeat, CmdElse, CmdStatus, CmdHow, CmdHelp, CmdWhy}, c.Kind)
}

// saidBetter drops a limit, or a rough number, that is said again as a number: "24 and a bit,
// 24.3", "near zero, 0.06".
func (c *call) saidBetter(all []frame) []frame {
	for i := 0; i+1 < len(all); i++ {
		a, b := &all[i], &all[i+1]
		if a.rough() && len(a.nums) == 1 && len(a.places) == 0 && onlyNumber(b) && !b.is("bound") && len(b.nums) == 1 && math.Abs(a.nums[0].num.v-b.nums[0].num.v) < 1 {
			c.settled(a.nums...)
			return append(slices.Clone(all[:i]), all[i+1:]...)
		}
		if b.so && onlyNumber(b) && len(b.nums) == 1 && len(a.nums) == 1 && (b.rough() || b.nums[0].num.v == 0) && math.Abs(a.nums[0].num.v-b.nums[0].num.v) < 0.5 {
			c.settled(b.nums...)
			return append(slices.Clone(all[:i+1]), all[i+2:]...) // "0.02 so basically zero"
		}
	}
	return all
}

// rough tells a limit, or a number that is only about right.
func (f *frame) rough() bool {
	return f.is("bound", "about") || slices.ContainsFunc(f.strays, func(w string) bool { return nearly[strings.ToLower(w)] }) ||
		nearly[firstWord(f.raw)] && onlyNumber(f)
}

var nearly = set(`near nearly almost basically practically virtually effectively essentially`)

// readVolts tells a frame with a number that can only be volts, at one place.
func readVolts(f frame) bool {
	return len(f.nums) == 1 && len(f.places) == 1 && !f.places[0].pair && (f.nums[0].num.unit.dim == "" || f.nums[0].num.unit.dim == volt) &&
		len(f.acts) == 0 && f.prefix != "relay" && !f.has(f.setups, "bench")
}

// asks tells a question put without its mark: "is 84 good".
func asks(in []item) bool {
	return len(in) > 0 && in[0].kind == kWord && neighbour(in, 1, 0).concept != "should" && interrogative[in[0].text] && !strings.Contains(in[0].raw, "'") && !tellsNumber(in[1:])
}

// asksBehind tells "12, is that right": a last clause that asks of what was said before it.
func asksBehind(in []item) bool {
	i := len(in) - 1
	for i >= 0 && in[i].kind != kSep {
		i--
	}
	return i >= 0 && i+1 < len(in) && being[in[i+1].text] && !hasNumber(in[i:]) && asks(in[i+1:])
}

// withoutOpinion leaves out what asks for an opinion of the number said before it: "12.4, that
// good?", "12.2, what does that mean". Whether it is right is another question: of hearing it.
func withoutOpinion(in []item) (rest []item, asked bool) {
	last := -1
	for i, it := range in {
		if it.kind == kNum {
			last = i
		}
	}
	for i := last + 1; last >= 0 && i < len(in) && !asks(in); i++ {
		if in[i].kind != kSep && opinionAsked(strings.Fields(strings.ToLower(rawOf(in[i:])))) && (in[i-1].kind == kSep || in[i].text != "that") {
			return in[:i], true
		}
	}
	return in, false
}

// opinionAsked tells a question for an opinion: "is that low?", "should I worry".
func opinionAsked(said []string) bool {
	if len(said) < 2 || !opinionStarts[said[0]] && !(said[0] == "is" && opinionOf[said[1]]) {
		return false
	}
	wants := false
	for _, w := range said {
		w = strings.Trim(w, ",.;?!'")
		wants = wants || opinions[w]
		if !opinions[w] && !opinionWords[w] {
			return false
		}
	}
	return wants
}

var (
	opinionStarts = set(`that what what's whats should does`)
	opinionOf     = set(`that it this`)
	opinions      = set(`ok okay good bad low high normal fine enough much alright worry mean little healthy expected want wanted need needed expect after`)
	opinionWords  = set(`is that it this a bit or too should i we be does do what what's whats about for then in your book you you're you'd we're were supposed to have are`)
)

// tellsNumber tells "is 12.4", with its subject left out, from "is 84 good".
func tellsNumber(rest []item) bool {
	return len(rest) > 0 && !slices.ContainsFunc(rest, func(it item) bool {
		return it.kind != kNum && it.kind != kSep && it.concept != "about" && !(it.kind == kWord && linkWords[it.text])
	})
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

// segment reads commands and frames between two corrections.
func (c *call) segment(items []item) []frame {
	var out []frame
	for _, cl := range c.commands(clauses(c.answerAndMore(items))) {
		out = append(out, c.frames(cl)...)
	}
	return c.merge(out)
}
