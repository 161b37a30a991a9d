package words

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"coilside/rules"
)

// facts files the facts said, and returns the items that are left.
func (c *call) facts(in []item) []item {
	var rest []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		if c.systemVoltsAlone(in, i) {
			c.numberFact(c.askOf("system_volts"), it.num)
			c.settled(it)
			continue
		}
		fact, val, ok := strings.Cut(it.concept, "=")
		if c.ctx.Describing || ok {
			c.describes(it)
			for _, within := range c.r.match(it.loose) {
				c.describes(within) // "the fuse for the heated screen keeps blowing"
			}
		}
		ask := c.askOf(fact)
		if ok && ask == nil && strings.HasPrefix(fact, "has_") && val == "false" {
			it.concept = "cannot" // a tool that is not at hand
		}
		if !ok || ask == nil {
			rest = append(rest, it)
			continue
		}
		if fact == "mounting" && c.ctx.Opening && ofLoadItself(in, i) {
			continue // "the fan in the cab": where the relay is was not said
		}
		not := len(rest) > 0 && rest[len(rest)-1].concept == "not"
		used := -1
		if val == "number" {
			used = nearNumber(in, i, ask)
			if used < 0 {
				rest = append(rest, it)
				continue
			}
			c.numberFact(ask, in[used].num)
			c.settled(in[used])
			if used < i {
				rest = slices.DeleteFunc(rest, func(x item) bool { return x.kind == kNum && x.num == in[used].num })
			} else {
				in = slices.Delete(slices.Clone(in), used, used+1)
			}
			continue
		}
		if not {
			rest = rest[:len(rest)-1]
			val = oppositeFact(val)
		}
		c.fact(ask, val, it.raw)
	}
	return rest
}

// ofLoadItself tells that a place in the vehicle stands right behind a load, and the relay is not
// spoken of.
func ofLoadItself(in []item, i int) bool {
	j := i - 1
	for j >= 0 && in[j].kind == kWord && (linkWords[in[j].text] || being[in[j].text]) {
		j--
	}
	return j >= 0 && in[j].concept == "load" && !hasConcept(in, "relay")
}

// systemVoltsAlone tells "tractor, 12 volt, …", "won't run on 12 volts" and "24v saloon" from
// a reading: while a job is opened, the volts of a system at the end of a clause, or before a
// word that names a thing.
func (c *call) systemVoltsAlone(in []item, i int) bool {
	n := in[i].num
	before, next := neighbour(in, i, -1), neighbour(in, i, 1)
	if !c.ctx.Opening || in[i].kind != kNum || n.v != 12 && n.v != 24 || c.askOf("system_volts") == nil {
		return false
	}
	ofThing := (n.unit == unit{volt, 1} || n.unit.dim == "rating" && n.size == volt) && (next.kind == kWord && plainly(next.text) || next.concept == "load")
	starts := before.kind == kSep || before.kind == kWord && linkWords[before.text] && before.text != "at"
	return ofThing && starts || n.unit == unit{volt, 1} && (before.kind == kSep || before.text == "on" || concepts[before.concept] == gOutcome) && next.kind == kSep
}

// describes files what the name of a part tells besides: a fan is a motor.
func (c *call) describes(it item) {
	for _, f := range it.facts {
		fact, val, _ := strings.Cut(f, "=")
		if ask := c.askOf(fact); ask != nil {
			c.fact(ask, val, it.raw)
		}
	}
}

func (c *call) askOf(fact string) *Ask {
	for i := range c.ctx.Asks {
		if c.ctx.Asks[i].Fact == fact {
			return &c.ctx.Asks[i]
		}
	}
	return nil
}

// nearNumber is the number that goes with the fact at in[i]: right beside it, or
// after link words. -1 for none.
func nearNumber(in []item, i int, ask *Ask) int {
	fits := func(j int) bool {
		if j < 0 || j >= len(in) || in[j].kind != kNum || in[j].num.odd != "" || in[j].num.bad {
			return false
		}
		dim := in[j].num.unit.dim
		return dim == "" || dim == ask.Unit || dim == volt && strings.HasSuffix(ask.Fact, "_volts") || dim == kilo || dim == "rating" && (in[j].num.size == ask.Unit || ask.Unit == "")
	}
	j := i + 1
	for j < len(in) && in[j].kind == kWord && linkWords[in[j].text] {
		j++
	}
	if fits(j) && (j > i+1 || in[j].num.unit.dim != "") {
		return j
	}
	if fits(i-1) && in[i-1].num.unit.dim != "" {
		return i - 1
	}
	return -1
}

func (c *call) numberFact(ask *Ask, n num) {
	if ask.Kind != rules.Number {
		c.fact(ask, n.digits, n.digits)
		return
	}
	c.fileFact(ask, rules.Value{Kind: rules.Number, Number: value(n)})
}

func oppositeFact(v string) string {
	switch v {
	case "true":
		return "false"
	case "false":
		return "true"
	}
	return ""
}

func (c *call) fact(ask *Ask, val, raw string) {
	switch {
	case ask.Kind == rules.Bool && (val == "true" || val == "false"):
		c.fileFact(ask, rules.Value{Kind: rules.Bool, Bool: val == "true"})
	case ask.Kind == rules.Number:
		if v, err := strconv.ParseFloat(val, 64); err == nil {
			c.fileFact(ask, rules.Value{Kind: rules.Number, Number: v})
		}
	case ask.Kind == rules.Text && val != "", slices.Contains(ask.Of, val):
		c.fileFact(ask, rules.Value{Kind: ask.Kind, Text: val})
	default:
		var choices []Choice
		for _, o := range ask.Of {
			f := Finding{Kind: KindFact, Fact: ask.Fact, Value: rules.Value{Kind: ask.Kind, Text: o}}
			f.Words = c.say(f)
			choices = append(choices, Choice{Words: strings.ReplaceAll(o, "_", " "), Findings: []Finding{f}})
		}
		c.ask("The "+ask.Words+": which is it?", choices)
	}
}

func (c *call) fileFact(ask *Ask, v rules.Value) {
	f := Finding{Kind: KindFact, Fact: ask.Fact, Value: v}
	f.Words = c.say(f)
	told := func(other Finding) bool { return other.Kind == KindFact && other.Words == f.Words }
	if !slices.ContainsFunc(c.res.Findings, told) { // "open relay, not sealed" tells it once
		c.res.Findings = append(c.res.Findings, f)
	}
}

func (c *call) factWords(f Finding) string {
	name := strings.ReplaceAll(f.Fact, "_", " ")
	if a := c.askOf(f.Fact); a != nil && a.Words != "" {
		name = a.Words
	}
	switch f.Value.Kind {
	case rules.Bool:
		return name + ": " + map[bool]string{true: "yes", false: "no"}[f.Value.Bool]
	case rules.Number:
		return name + ": " + formatNumber(f.Value.Number)
	}
	return name + ": " + strings.ReplaceAll(f.Value.Text, "_", " ")
}

// complaints in the order in which one said with others wins.
var complaintOf = []struct {
	id   string
	said []string
}{
	{"drops_out_hot", []string{"drops_out_hot"}},
	{"inverted", []string{"inverted"}},
	{"stays_on", []string{"stays_on"}},
	{"blows_fuse", []string{"trips", "blown"}},
	{"chatters", []string{"buzz"}},
	{"intermittent", []string{"comes_and_goes"}},
	{"weak", []string{"weak", "dim", "slow"}},
	{"dead", []string{"off", "dead", "nothing", "dark", "no_beep"}},
}

// beginsTo tells what starts as it is turned off, from what then runs on.
var beginsTo = regexp.MustCompile(`(?i)\b(comes? on|starts?|kicks? in|cuts? in)( up)? (when|once|as soon as) `)

// cools tells a fan that does not start as the engine gets hot, from what stops as it gets hot itself.
var cools = regexp.MustCompile(`(?i)\bfan\b.*(n't|not|never) (comes?|coming|kicks?|kicking|cuts?|cutting) (on|in) .*\bengine\b`)

// onlyUnder tells that something works under a condition alone.
var onlyUnder = regexp.MustCompile(`(?i)\bonly\b.* (when|if|once|while|with)\b`)

// allAlong tells that what runs should not always do so.
var allAlong = regexp.MustCompile(`(?i)\b(all the time|constantly|continuously|continually|non ?stop|permanently|round the clock|24/7|endlessly|for ever|forever)\b`)

// complaint files what the customer says is wrong.
func (c *call) complaint(f *frame, seen []string) {
	if hums := strings.Contains(strings.ToLower(f.raw), "hum"); f.has(f.elements, "load") && !f.has(f.elements, "relay") && slices.Contains(seen, "buzz") && (hums || len(only(seen, "off", "weak", "slow")) > 0) {
		seen = slices.DeleteFunc(seen, func(s string) bool { return s == "buzz" }) // "the pump hums but doesn't turn"
	}
	if f.has(f.setups, "heat_soaked") && !cools.MatchString(f.raw) && len(only(seen, "off", "dead", "comes_and_goes", "trips")) > 0 {
		seen = append(seen, "drops_out_hot") // "quits once it's been on for half an hour"
	}
	if runs := slices.Equal(slices.Compact(only(seen, "runs", "off")), []string{"runs"}); runs && f.has(f.setups, "heat_none") {
		seen = append(seen, "drops_out_hot") // "only works when it's cold"
	} else if runs && onlyUnder.MatchString(f.raw) && !f.act("bridge") && !f.has(f.setups, "command_on", "key_on", "loaded", "engine_running") {
		seen = append(seen, "comes_and_goes") // "the horn only works when the wheel is turned"
	} else if runs && allAlong.MatchString(f.raw) {
		seen = append(seen, "stays_on") // "it runs flat out all the time"
	} else if runs && f.has(f.setups, "key_off", "command_off") && beginsTo.MatchString(f.raw) {
		seen = append(seen, "inverted") // "comes on when I turn it off"
	} else if runs && f.has(f.setups, "key_off", "command_off") {
		seen = append(seen, "stays_on") // "runs with the key out"
	} else if runs && f.act("wiggle") {
		seen = append(seen, "comes_and_goes") // "only works when I tap the relay"
	}
	for _, k := range complaintOf {
		if k.id == "dead" && slices.Contains(seen, "runs") {
			break // "comes on when I turn it off"
		}
		if len(only(seen, k.said...)) > 0 {
			fd := Finding{Kind: KindComplaint, Complaint: k.id, Hedge: hedge(f)}
			fd.Words = c.say(fd)
			c.res.Findings = append(c.res.Findings, fd)
			return
		}
	}
	c.askComplaint(f)
}

// WhatIsWrong asks for a complaint where nothing of one was told.
const WhatIsWrong = "What is wrong with it?"

// askComplaint asks what the load does, where only what became of a part was told, or nothing.
func (c *call) askComplaint(f *frame) {
	var choices []Choice
	for _, k := range complaintOf {
		fd := Finding{Kind: KindComplaint, Complaint: k.id}
		fd.Words = c.say(fd)
		choices = append(choices, Choice{Words: strings.ReplaceAll(k.id, "_", " "), Findings: []Finding{fd}})
	}
	text := WhatIsWrong
	if f.outcome("suffers", "burnt") || f.has(f.setups, "heat_soaked") {
		text = "A part that gets hot or keeps failing has a bad joint or too much current in it: that is looked for in any case. What does the load do?"
	}
	if f.outcome("makes_noise") {
		text = "A noise alone does not tell. What does the load do besides?"
	}
	c.ask(text, choices)
}
