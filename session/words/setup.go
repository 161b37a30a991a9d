package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// setupField is the part of a setup that a concept speaks of.
func setupField(concept string) string {
	switch concept {
	case "relay_in", "relay_out", "bench":
		return "relay"
	case "key_on", "key_off":
		return "key"
	case "command_on", "command_off", "until_command", "loaded":
		return "command"
	case "energised", "rest":
		return "coil"
	case "engine_running", "engine_off":
		return "engine"
	case "neighbours_on", "neighbours_off":
		return "neighbours"
	case "heat_soaked", "heat_none":
		return "heat"
	case "load_unplugged", "load_plugged":
		return "load"
	}
	return concept
}

// saidSetup is what the words say of the setup; clash names a part said in two
// ways.
func saidSetup(concepts []string) (s rules.Setup, clash string) {
	put := func(at *string, v, field string) {
		if *at != "" && *at != v {
			clash = field
		}
		*at = v
	}
	for _, k := range concepts {
		switch k {
		case "relay_in":
			put(&s.Relay, "in", "relay")
		case "relay_out":
			put(&s.Relay, "out", "relay")
		case "bench":
			put(&s.Relay, "bench", "relay")
		case "key_on", "key_off":
			put(&s.Key, strings.TrimPrefix(k, "key_"), "key")
		case "command_on", "loaded":
			put(&s.Command, "on", "switch")
		case "command_off", "until_command":
			put(&s.Command, "off", "switch")
		case "energised", "rest":
			put(&s.Coil, k, "coil")
		case "engine_running", "engine_off":
			put(&s.Engine, strings.TrimPrefix(k, "engine_"), "engine")
		case "neighbours_on", "neighbours_off":
			put(&s.Neighbours, strings.TrimPrefix(k, "neighbours_"), "other loads")
		case "heat_soaked", "heat_none":
			put(&s.Heat, strings.TrimPrefix(k, "heat_"), "heat")
		case "load_unplugged", "load_plugged":
			if s.Unplugged != nil && (len(s.Unplugged) > 0) != (k == "load_unplugged") {
				clash = "load's plug"
			}
			if s.Unplugged = []string{}; k == "load_unplugged" { // said to be plugged in: none, and not unsaid
				s.Unplugged = []string{"load"}
			}
		}
	}
	if s.Engine == "running" && s.Key == "off" {
		clash = "key"
	}
	if s.Engine == "running" && s.Key == "" {
		s.Key = "on"
	}
	return s, clash
}

// usual is a condition as a setup keeps it: what is off, or cold, is left out.
func usual(condition string) string {
	if condition == "off" || condition == "none" {
		return ""
	}
	return condition
}

// Kept is a setup as it is kept, of one as it was said: an engine said to be off, a
// part said to be cold, are so anyway.
func Kept(said rules.Setup) rules.Setup {
	said.Heat, said.Engine, said.Neighbours = usual(said.Heat), usual(said.Engine), usual(said.Neighbours)
	return said
}

// conditions fills in heat, engine and neighbours: as said, else as the vehicle stands. A
// test that asks for heat does not make a reading taken unasked a hot one. What is carried
// over is told in assumed.
func (c *call) conditions(s *rules.Setup, said rules.Setup) (assumed []string) {
	var from rules.Setup
	e := c.ctx.Expected
	asAsked := e != nil && said.Relay == ""
	if c.ctx.Now != nil && (c.ctx.NowSaid || !asAsked) {
		from = *c.ctx.Now
	} else if asAsked && c.cur != nil && len(c.cur.nums) > 0 && len(c.cur.places) == 0 {
		from = e.Setup // read where the test asks, in another state: "dips to 13.9 with the lights on"
	}
	if said.Key == "off" {
		from.Engine = ""
	}
	if s.Relay == "bench" {
		from.Engine, from.Neighbours = "", ""
		if from.Relay != "bench" {
			from.Heat = ""
		}
	}
	for _, x := range []struct {
		to         *string
		said, from string
	}{{&s.Heat, said.Heat, from.Heat}, {&s.Engine, said.Engine, from.Engine}, {&s.Neighbours, said.Neighbours, from.Neighbours}} {
		*x.to = usual(firstText(x.said, x.from))
	}
	for _, w := range conditionsOf(from) {
		if said.Heat == "" && w == "hot" || said.Engine == "" && w == "engine running" || said.Neighbours == "" && w == "neighbours on" {
			assumed = append(assumed, w)
		}
	}
	return assumed
}

// ConditionWords says what few setups ask for, each with a comma before it.
func ConditionWords(s rules.Setup) string {
	words := ""
	for _, w := range conditionsOf(s) {
		words += ", " + w
	}
	return words
}

// stillUnplugged tells that the load was unplugged before and nothing says that it is not now: what a
// meter reads then is read so too. What the load did was done with its plug on.
func (c *call) stillUnplugged(said rules.Setup) bool {
	asAsked := c.ctx.Expected != nil && said.Relay == ""
	read := c.cur != nil && len(c.cur.nums)+len(c.cur.places) > 0
	return read && c.ctx.Now != nil && slices.Equal(c.ctx.Now.Unplugged, []string{"load"}) && (c.ctx.NowSaid || !asAsked) && said.Relay != "bench"
}

func conditionsOf(s rules.Setup) []string {
	var out []string
	for _, x := range []struct {
		is    bool
		words string
	}{
		{s.Heat == "soaked", "hot"}, {s.Engine == "running", "engine running"}, {s.Neighbours == "on", "neighbours on"},
		{slices.Contains(s.Unplugged, "tap"), "added wiring off"}, {slices.Contains(s.Unplugged, "load"), "load unplugged"}, {slices.Contains(s.Unplugged, "control"), "control unplugged"},
	} {
		if x.is {
			out = append(out, x.words)
		}
	}
	return out
}

// setupPlan is how a setup is to be completed.
type setupPlan struct {
	said  rules.Setup
	habit rules.Setup // what such a reading is taken in, before all but what was said

	offBench bool // it is never taken on the bench unasked: volts and amperes
}

// complete fills in what was not said: from what such a reading is always taken
// in, from the test asked, then from how the vehicle stands. missing names what stays unknown.
func (c *call) complete(p setupPlan) (s rules.Setup, assumed []string, missing string) {
	s = p.said
	sources := c.setupSources(p)
	if s.Relay == "" {
		s.Relay = firstOf(sources, func(s rules.Setup) string { return s.Relay })
		assumed = assume(assumed, s.Relay, relayWords[s.Relay])
	}
	assumed = append(assumed, c.conditions(&s, p.said)...)
	if s.Unplugged == nil && c.stillUnplugged(p.said) {
		s.Unplugged, assumed = slices.Clone(c.ctx.Now.Unplugged), append(assumed, "load unplugged")
	}
	if len(s.Unplugged) == 0 {
		s.Unplugged = nil
	}
	if s.Relay == "bench" {
		s.Key, s.Command = "off", "off"
		if s.Coil == "" {
			s.Coil = firstOf(append(sources, rules.Setup{Coil: "rest"}), func(s rules.Setup) string { return s.Coil })
			assumed = assume(assumed, s.Coil, "coil "+coilWords[s.Coil])
		}
		return s, assumed, ""
	}
	s.Coil = ""
	if s.Key == "" {
		s.Key = firstOf(sources, func(s rules.Setup) string { return s.Key })
		assumed = assume(assumed, s.Key, "key "+s.Key)
	}
	if s.Command == "" {
		s.Command = firstOf(sources, func(s rules.Setup) string { return s.Command })
		assumed = assume(assumed, s.Command, "switched "+s.Command)
	}
	return s, assumed, unsaid(s)
}

// setupSources are the setups that tell what was not said, the surest first.
func (c *call) setupSources(p setupPlan) []rules.Setup {
	sources := []rules.Setup{p.habit}
	if last := c.lastReading(); c.cur != nil && c.cur.likeLast() && last >= 0 {
		sources = append(sources, c.ctx.Last[last].Setup) // "87's dead too", "12.4 on the other side"
	}
	if c.ctx.Now != nil && c.ctx.NowSaid {
		sources = append(sources, *c.ctx.Now)
	}
	e := c.ctx.Expected
	if e != nil && e.Measure.Mode == rules.Ask {
		e = nil // a question has no setup of its own
	}
	if e != nil && p.offBench && e.Setup.Relay == "bench" && p.said.Relay == "" {
		e = nil
	}
	if e != nil && e.Setup.Key == "off" && e.Setup.Command != "on" && p.said.Command == "on" {
		sources = append(sources, rules.Setup{Key: "on"}) // the test asks for all off, and that is not how it stands
	}
	if e != nil && (p.said.Relay == "" || p.said.Relay == e.Setup.Relay) {
		sources = append(sources, e.Setup)
	}
	if c.switchedAnew(p.said) {
		sources = append(sources, rules.Setup{Key: "on"})
	}
	if now := c.ctx.Now; now != nil {
		if now.Relay == "bench" && p.said.Relay != "" && p.said.Relay != "bench" {
			now = &rules.Setup{} // what the vehicle did while the relay lay on the bench was not said
		}
		sources = append(sources, *now)
	}
	if e != nil {
		late := e.Setup
		late.Relay, late.Coil, late.Unplugged = "", "", nil
		sources = append(sources, late)
	}
	return sources
}

// switchedAnew tells that the switch is said to be on in another setup than the vehicle stood in before:
// whether the key is still off, as it was then, nobody said, and who switches on has it on.
func (c *call) switchedAnew(said rules.Setup) bool {
	now := c.ctx.Now
	return said.Command == "on" && now != nil && now.Key == "off" && !c.ctx.NowSaid && (now.Command != "on" || said.Relay != "" && said.Relay != now.Relay)
}

func unsaid(s rules.Setup) string {
	switch {
	case s.Relay == "":
		return "relay"
	case s.Key == "":
		return "key"
	case s.Command == "":
		return "command"
	}
	return ""
}

func assume(list []string, value, words string) []string {
	if value == "" {
		return list
	}
	return append(list, words)
}

func firstOf(list []rules.Setup, get func(rules.Setup) string) string {
	for _, s := range list {
		if v := get(s); v != "" {
			return v
		}
	}
	return ""
}

var relayWords = map[string]string{"in": "relay in", "out": "relay out", "bench": "on the bench"}
var coilWords = map[string]string{"rest": "at rest", "energised": "energised"}

// fits tells whether a said setup contradicts nothing in s.
func fits(said, s rules.Setup) bool {
	ok := func(a, b string) bool { return a == "" || a == b }
	if usual(said.Heat) != s.Heat && said.Heat != "" || usual(said.Engine) != usual(s.Engine) && said.Engine != "" ||
		usual(said.Neighbours) != usual(s.Neighbours) && said.Neighbours != "" || said.Unplugged != nil && !slices.Equal(said.Unplugged, s.Unplugged) {
		return false
	}
	return ok(said.Relay, s.Relay) && ok(said.Key, s.Key) && ok(said.Command, s.Command) && (ok(said.Coil, s.Coil) || s.Relay != "bench")
}

// pastWords tell how the vehicle stood when something was read.
var pastWords = set(`was were wasn't weren't had hadn't didn't i'd forgot forgotten`)

func pastTense(text string) bool {
	low := strings.ToLower(text)
	if strings.HasPrefix(low, "i left ") || strings.HasPrefix(low, "we left ") || strings.Contains(low, " i left ") {
		return true
	}
	return slices.ContainsFunc(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return strings.ContainsRune(" ,.;!?", r) }),
		func(w string) bool { return pastWords[w] })
}

func (c *call) setupOnly() {
	said, clash := saidSetup(c.setups)
	if clash != "" {
		c.ask("The "+clash+" was said in two ways. Which is it now?", nil)
		return
	}
	if i := c.lastReading(); i >= 0 && pastTense(c.text) {
		c.correctLast(&frame{setups: c.setups, raw: c.text}, c.ctx.Last[i]) // "the engine was running then"
		return
	}
	if pastTense(c.text) {
		c.ask("“"+c.text+"” tells how it stood. How does it stand now?", nil)
		return
	}
	if len(only(c.setups, "unkept_state")) == len(c.setups) {
		c.unread(c.text, "that is no state that is kept with a reading here")
		return
	}
	asks := strings.HasSuffix(c.text, "?") && len(c.res.Commands) == 0 // "key on, what's next?" asks something else
	if first, _, _ := strings.Cut(strings.ToLower(c.text), " "); asks || interrogative[first] || first == "do" {
		c.unread(c.text, "that sounds like a question; nothing was taken")
		return
	}
	cmd := Command{Kind: CmdSetup, Setup: said}
	if len(c.open)+len(c.strays) > 0 || c.muddled {
		c.open = nil
		c.ask("Not all of “"+c.text+"” was clear. Is this right: "+strings.TrimPrefix(saySetup(said, ""), ", ")+"?", []Choice{{Words: "yes", Commands: []Command{cmd}}})
		return
	}
	c.res.Commands = append(c.res.Commands, cmd)
}
