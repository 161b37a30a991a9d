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
	metered  bool           // volts were read at a place that was said
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
	if c.onlyHeard(items) {
		c.settled(items...)
		c.command(Command{Kind: CmdWait})
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

// items runs the stages up to words, numbers, places and concepts.
func (c *call) items(text string) []item {
	in := c.r.ownSwitch(c.r.fixSlips(scan(text)))
	in = minutes(measureUnits(alpha(spell(c.r.nouns(in)))))
	in = c.asExpected(c.r.fullNames(howOften(c.r.match(in))))
	in = loadStates(pluggedLoad(c.neighbours(in)))
	in = c.r.loadDid(offThenOn(itsState(switchedToo(in))))
	in = c.terminals(in)
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
		case it.concept == "else" && strings.EqualFold(it.raw, "else") && len(in) > 1:
			in[i].kind, in[i].concept = kWord, "" // "everything else works"
		case it.concept == "sound" && !c.expects(rules.Look) && strings.EqualFold(it.raw, "dry") && afterLoad(in, i):
			in[i].concept = "unkept_state" // "with the pump dry"
		case it.concept == "beeps" && afterLoad(in, i), it.concept == "off" && !c.ctx.Opening && goesOff(it.raw) && isSounder(neighbour(in, i, -1)):
			in[i].concept = "runs" // "the horn beeps", "the alarm goes off"
		case it.concept == "silent" && strings.Contains(strings.ToLower(it.raw), "n't hear") && (hasConcept(in, "unsure") || hasConcept(in, "skip") || drownedBy[firstWord(neighbour(in, i, 1).raw)]):
			in[i].concept = "unsure" // "can't hear anything with the engine running"
		case it.concept == "silent" && (afterLoad(in, i) || fromLoad(in[i+1:])):
			in[i].concept = "off" // "the horn stays quiet"
		case it.concept == "silent" && !hasConcept(in, "relay") && slices.ContainsFunc(in[:i], isSounder):
			in[i].concept = "off" // "24.3 at the horn, still no sound"
		case it.concept == "click" && c.ctx.Opening && (afterLoad(in, i) || alone[neighbour(in, i, -1).text]):
			in[i].concept = "off" // "the starter just clicks"
		case it.concept == "trips" && pulledFuse[strings.ToLower(it.raw)] && !c.ctx.Opening && (c.ctx.Expected == nil || choiceTable(c.ctx.Expected.Measure.Mode) == nil):
			in[i].concept = "unkept_state" // "took the fuse out and 30 is 0"
		case (it.concept == "runs" || it.concept == "loaded") && justRunning[strings.ReplaceAll(strings.ToLower(it.raw), " 's", "'s")] && !afterLoad(in, i) && c.ofEngine(in):
			in[i].concept = "engine_running"
		case it.concept == "click" && afterLoad(in, i) && c.ctx.LoadKind == "solenoid" && !c.ctx.Opening && !c.expects(rules.Listen):
			in[i].concept = "runs" // "the solenoid pulls in"
		case c.expects(rules.MinMax) && it.concept == "same" && strings.HasPrefix(strings.ToLower(it.raw), "no "):
			in[i].concept = "steady" // "no change when I wiggle it"
		case c.expects(rules.TestLamp) && i == 0 && strings.EqualFold(it.raw, "lights") && it.concept == "load" && !being[neighbour(in, i, 1).text] && !slices.ContainsFunc(in, func(x item) bool { return concepts[x.concept] == gOutcome && x.concept != "good" }):
			in[i].concept = "bright" // "lights ok", of the test lamp
		case it.concept == "click" && strings.HasSuffix(strings.ToLower(it.raw), " it") && (neighbour(in, i, 1).concept == "buzz" || neighbour(in, i, 1).concept == "click"):
			in[i].concept = "aside" // "I hear it clicking"
		case it.concept == "drop" && strings.EqualFold(it.raw, "dropping") && neighbour(in, i, -1).kind == kSep && ended(neighbour(in, i, 1)):
			in[i].concept = "aside" // "nine volts, dropping"
		case it.concept == "cannot" && c.expects(rules.Look) && strings.Contains(strings.ToLower(it.raw), "rust"):
			in[i].concept = "corroded" // "the bolt is rusted solid"
		case it.concept == "cannot" && c.ctx.Opening:
			in[i].concept = "off" // "the step won't come out"
		case it.text == "charging" && c.ctx.Expected != nil && c.ctx.Expected.Setup.Engine == "running":
			in[i].kind, in[i].concept = kConcept, "aside" // "it's charging at 14.2"
		case it.concept == "runs" && c.expects(rules.Listen) && strings.Contains(it.raw, " like ") && !hasConcept(in, "load"):
			in[i].concept = "buzz" // "going like the clappers", of a relay
		case it.concept == "buzz" && afterLoad(in, i) && !c.ctx.Opening && slices.ContainsFunc(in[i+1:], ofLoad):
			in[i].concept = "aside" // "the pump hums but won't turn"
		case it.concept == "buzz" && afterLoad(in, i) && !c.ctx.Opening:
			in[i].concept = "unclear" // "the pump hums" says nothing of the relay
		case it.concept == "runs" && ofMeter(it, neighbour(in, i, 1)):
			in[i].concept = "aside" // "comes up 12.4"
		case it.concept == "off" && strings.HasSuffix(strings.ToLower(it.raw), " go") && neighbour(in, i, 1).concept == "bound":
			in[i].concept = "aside" // "it won't go below 12"
		case it.concept == "gone" && c.expects(rules.Look) && strings.Contains(it.raw, "good"):
			in[i].concept = "good" // "all good there"
		case it.concept == "gone" && c.expects(rules.Look) && strings.Contains(it.raw, "gone"):
			in[i].concept = "blown"
		case it.concept == "nothing_moves":
			in[i].concept = "load_moves=false"
		case c.expects(rules.PullIn) && it.concept == "click" && hasNumber(in):
			in[i].concept = "pull_in"
		case c.expects(rules.DropOut) && it.concept == "comes_and_goes" && strings.HasPrefix(strings.ToLower(it.raw), "drop") && hasNumber(in):
			in[i].concept = "drop_out"
		case (c.expects(rules.PullIn) || c.expects(rules.DropOut)) && strings.EqualFold(it.raw, "never") && len(in) == 1:
			in[i].concept = "nothing"
		case it.concept == "off" && vague[strings.ToLower(it.raw)] && (c.expects(rules.Listen) || c.expects(rules.TestLamp)):
			in[i].concept = "nothing"
		case it.concept == "pull_in" && !hasNumber(in):
			in[i].concept = "click" // "heard it pull in"
		case it.concept == "load" && strings.EqualFold(it.raw, "lamp") && neighbour(in, i, 1).concept == "between":
			in[i].concept = "lamp"
		}
		in[i].text = firstText(in[i].concept, in[i].text)
	}
	return in
}

// pulledFuse are sayings of a fuse that blew, and of one that someone took out where nothing
// that could blow it was asked for.
var pulledFuse = map[string]bool{"took the fuse out": true, "took out the fuse": true}

// justRunning say that something runs and not what.
var justRunning = map[string]bool{"running": true, "when running": true, "while running": true, "when it's running": true, "with it running": true, "when its running": true, "once it's running": true, "once running": true}

// ofEngine tells that what runs is the engine: it was spoken of, or one number was read at the
// battery, or the test is with it running.
func (c *call) ofEngine(in []item) bool {
	numbers, places := 0, 0
	for _, it := range in {
		if it.kind == kNum {
			numbers++
		}
		if concepts[it.concept] == gPlace && it.concept != "battery" {
			places++
		}
	}
	return hasConcept(in, "engine_off") || hasConcept(in, "battery") && numbers == 1 && places == 0 || c.ctx.Expected != nil && c.ctx.Expected.Setup.Engine == "running"
}

func firstWord(s string) string {
	first, _, _ := strings.Cut(strings.ToLower(s), " ")
	return first
}

// drownedBy are words that lead to what drowned a sound.
var drownedBy = set(`with over because for`)

// alone are words that say that nothing else came of it: "it only clicks".
var alone = set(`just only`)

// afterLoad tells that the load was named just before, or with plain words between: "horn's
// still quiet".
func afterLoad(in []item, i int) bool {
	for i--; i > 0 && in[i].kind == kWord && (being[in[i].text] || linkWords[in[i].text]); {
		i--
	}
	return i >= 0 && in[i].concept == "load"
}

// fromLoad tells "no sound from the horn" by what follows the sound.
func fromLoad(rest []item) bool {
	i := 0
	for i < len(rest) && rest[i].kind == kWord && (rest[i].text == "from" || rest[i].text == "out" || rest[i].text == "of" || rest[i].text == "the") {
		i++
	}
	return i > 0 && i < len(rest) && rest[i].concept == "load"
}

// isSounder tells a load that is heard when it runs.
func isSounder(it item) bool {
	raw := strings.ToLower(it.raw)
	return it.concept == "load" && slices.ContainsFunc([]string{"horn", "alarm", "buzzer", "siren"}, func(w string) bool { return strings.HasSuffix(raw, w) })
}

// ofMeter tells a verb of a load's that is said of the meter here: a number comes next, or
// from where to where it went.
func ofMeter(it, next item) bool {
	raw := strings.TrimPrefix(strings.ToLower(it.raw), "it ")
	moved := raw == "went" || raw == "goes" || raw == "ran" || raw == "came on"
	return (moved || strings.HasSuffix(raw, " up")) && next.kind == kNum || moved && (next.concept == "between" || next.text == "from" || next.text == "down" || next.text == "to" || next.concept == "aside" && strings.HasSuffix(next.raw, " to"))
}

// ofLoad tells what a load plainly does.
func ofLoad(it item) bool { return it.concept == "runs" || it.concept == "off" || it.concept == "weak" }

func goesOff(raw string) bool {
	low := strings.ToLower(raw)
	return low == "goes off" || low == "went off"
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
	all = c.withoutSize(c.saidBetter(all))
	c.inherit(all)
	if n := len(all); n > 0 && (strings.HasSuffix(c.text, "?") || asks(items)) && len(c.res.Commands) == 0 && len(all[n-1].nums) > 0 {
		all[n-1].question = true
	}
	c.numbered = slices.ContainsFunc(all, func(f frame) bool { return len(f.nums) > 0 })
	c.metered = slices.ContainsFunc(all, readVolts)
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
	if len(all) == 0 && len(c.setups) > 0 && len(only(c.setups, "loaded", "unkept_state")) == len(c.setups) && c.setups[0] == "loaded" && !when[firstWord(c.text)] {
		c.compose(&frame{outcomes: []string{"runs"}, elements: []string{"load"}, raw: c.text}) // "the fan's running now"
		return
	}
	if len(all) == 0 && len(c.setups) > 0 && !slices.ContainsFunc(c.res.Commands, changes) && len(c.res.Questions) == 0 {
		c.setupOnly()
	}
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

// saidBetter drops a limit that is said again as a number: "24 and a bit, 24.3".
func (c *call) saidBetter(all []frame) []frame {
	for i := 0; i+1 < len(all); i++ {
		a, b := &all[i], &all[i+1]
		if a.is("bound") && len(a.nums) == 1 && len(a.places) == 0 && onlyNumber(b) && !b.is("bound") && len(b.nums) == 1 && math.Abs(a.nums[0].num.v-b.nums[0].num.v) < 1 {
			c.settled(a.nums...)
			return append(slices.Clone(all[:i]), all[i+1:]...)
		}
	}
	return all
}

// readVolts tells a frame with a number that can only be volts, at one place.
func readVolts(f frame) bool {
	return len(f.nums) == 1 && len(f.places) == 1 && !f.places[0].pair && (f.nums[0].num.unit.dim == "" || f.nums[0].num.unit.dim == volt) &&
		len(f.acts) == 0 && f.prefix != "relay" && !f.has(f.setups, "bench")
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

// segment reads commands and frames between two corrections.
func (c *call) segment(items []item) []frame {
	var out []frame
	for _, cl := range c.commands(clauses(items)) {
		out = append(out, c.frames(cl)...)
	}
	return c.merge(out)
}
