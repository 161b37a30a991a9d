package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file files what the load was seen to do.

// usualRun is how a load is run when nothing else is said.
var usualRun = rules.Setup{Relay: "in", Key: "on", Command: "on"}

// watched files what the load did, in the setup it runs in.
func (c *call) watched(f *frame, said rules.Setup, m rules.Mode, choice string) {
	habit := usualRun
	if f.outcome("stays_on") || said.Key == "off" { // whoever turns the key off has switched it off
		habit.Command = "off"
	}
	if ran := c.ranUncommanded(); ran != nil {
		habit.Key, habit.Command = ran.Key, ran.Command // "pulled the relay and it stopped"
	}
	if e := c.ctx.Expected; e != nil && e.Measure.Mode == m && fits(said, e.Setup) && !c.ctx.Cautioned {
		habit = e.Setup
	}
	if said.Relay == "bench" && m == rules.Watch {
		c.ask("“"+f.raw+"”: and with the relay in its socket, what does the load do?", nil)
		return
	}
	fd := Finding{Kind: KindReading, Measure: rules.Measure{Mode: m, During: during(f)}, Answer: Answer{Choice: choice}, Hedge: hedge(f), Notes: notes(f)}
	fd.Setup, fd.Assumed, _ = c.complete(setupPlan{said: said, habit: habit})
	if why := c.againstComplaint(choice); why != "" && m == rules.Watch && c.unprompted(f, said) {
		fd.Words = c.say(fd)
		c.ran = true
		c.ask(why+" Did you see it just now: "+fd.Words+"?", []Choice{c.choiceFor("yes", fd)})
		return
	}
	c.settle(fd, f)
}

// againstComplaint says what the complaint is where a load that is seen to do so contradicts it.
func (c *call) againstComplaint(seen string) string {
	switch {
	case c.ctx.Complaint == "dead" && (seen == "runs" || seen == "weak"):
		return "The complaint is that the load never runs."
	case c.ctx.Complaint == "weak" && seen == "runs":
		return "The complaint is that the load runs weak."
	case c.ctx.Complaint == "stays_on" && seen == "off":
		return "The complaint is that the load never stops."
	}
	return ""
}

// unprompted tells that what the load does was said beside a test that asks for a number,
// with nothing done to make it do so and nothing to say that it just happened: "it spins yeah".
func (c *call) unprompted(f *frame, said rules.Setup) bool {
	happened := slices.ContainsFunc(strings.Fields(strings.ToLower(f.raw)), func(w string) bool { return happening[w] })
	told := said.Key != "" || said.Relay != "" && !slices.Contains(f.implied, "relay_in") || said.Command != "" && !slices.Contains(f.implied, "command_on")
	return c.expectsNumber() && !c.choosing && !happened && !told && len(f.acts) == 0
}

// happening are words by which something is news.
var happening = set(`now just suddenly started came kicked again`)

// ranUncommanded is the setup of the last finding, where in it the load ran switched off.
func (c *call) ranUncommanded() *rules.Setup {
	if len(c.ctx.Last) == 0 {
		return nil
	}
	last := c.ctx.Last[len(c.ctx.Last)-1]
	if last.Measure.Mode != rules.Watch || last.Answer.Choice != "runs" || last.Setup.Command != "off" {
		return nil
	}
	return &last.Setup
}

// loadWords are the concepts that speak of the load where no test asks for it.
func (c *call) loadWords(f *frame, seen []string) []string {
	words := only(seen, "runs", "weak", "off", "trips", "comes_and_goes", "stays_on", "drops_out_hot")
	if !c.expectsNumber() || len(f.elements) > 0 {
		words = append(words, only(seen, "gone")...)
	}
	number := c.ctx.Expected != nil && c.ctx.Expected.Kind == "number"
	if f.has(f.elements, "load") || c.heardAlready() || !number || slices.Contains(words, "runs") || c.ofLampLoad(f) {
		words = append(words, only(seen, "bright", "dim", "dark", "dead")...)
	}
	if f.has(f.elements, "load") || c.heardAlready() || slices.Contains(seen, "click") {
		words = append(words, only(seen, "nothing")...)
	}
	return words
}

// ofLampLoad tells that a light was named where the load is one and no test lamp is spoken of: "light comes on now".
func (c *call) ofLampLoad(f *frame) bool {
	low := strings.ToLower(f.raw)
	return c.ctx.LoadKind == "lamp" && !c.expects(rules.TestLamp) && !strings.Contains(low, "test") && !f.act("lamp", "bridge") && len(f.places) == 0 &&
		(strings.Contains(low, "light") || strings.Contains(low, "lamp"))
}
