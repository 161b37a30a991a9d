package words

import (
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
	case "command_on", "command_off", "loaded":
		return "command"
	case "energised", "rest":
		return "coil"
	}
	return ""
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
		case "command_off":
			put(&s.Command, "off", "switch")
		case "energised", "rest":
			put(&s.Coil, k, "coil")
		}
	}
	return s, clash
}

// setupPlan is how a setup is to be completed.
type setupPlan struct {
	said  rules.Setup
	habit rules.Setup // what such a reading is taken in, before all but what was said
}

// complete fills in what was not said: from what such a reading is always taken
// in, from the test asked, then from how the vehicle stands. missing names what stays unknown.
func (c *call) complete(p setupPlan) (s rules.Setup, assumed []string, missing string) {
	s = p.said
	sources := []rules.Setup{p.habit}
	if c.ctx.Now != nil && c.ctx.NowSaid {
		sources = append(sources, *c.ctx.Now)
	}
	if e := c.ctx.Expected; e != nil && (p.said.Relay == "" || p.said.Relay == e.Setup.Relay) {
		sources = append(sources, e.Setup)
	}
	if c.ctx.Now != nil {
		sources = append(sources, *c.ctx.Now)
	}
	if e := c.ctx.Expected; e != nil {
		late := e.Setup
		late.Relay, late.Coil, late.Unplugged = "", "", nil
		sources = append(sources, late)
	}
	if s.Relay == "" {
		s.Relay = firstOf(sources, func(s rules.Setup) string { return s.Relay })
		assumed = assume(assumed, s.Relay, relayWords[s.Relay])
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
	return ok(said.Relay, s.Relay) && ok(said.Key, s.Key) && ok(said.Command, s.Command) && (ok(said.Coil, s.Coil) || s.Relay != "bench")
}

func (c *call) setupOnly() {
	said, clash := saidSetup(c.setups)
	if clash != "" {
		c.ask("The "+clash+" was said in two ways. Which is it now?", nil)
		return
	}
	c.res.Commands = append(c.res.Commands, Command{Kind: CmdSetup, Setup: said})
}
