package words

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

func (c *call) unread(text, why string) {
	c.settleFrame(c.cur)
	near, sayable := c.suggest(text)
	c.res.Unread = append(c.res.Unread, Unread{Text: excerpt(text), Why: why, Nearest: near, Sayable: sayable})
}

func (c *call) ask(text string, choices []Choice) {
	c.settleFrame(c.cur)
	for _, q := range c.res.Questions {
		if q.Text == text {
			return
		}
	}
	heard := c.text
	if c.cur != nil {
		heard = c.cur.raw
		for _, s := range c.cur.setups {
			heard += ", " + strings.ReplaceAll(s, "_", " ")
		}
	}
	c.res.Questions = append(c.res.Questions, Question{Text: text, Choices: choices, Heard: heard})
}

// askHowItStood asks what else is to be said of the setup, to which a setup alone is an answer.
func (c *call) askHowItStood(text string, choices []Choice) {
	c.ask(text, choices)
	c.res.Questions[len(c.res.Questions)-1].OfSetup = true
}

// askMistyped asks about a word that looks like a mistyped number, and offers what would be
// read with the nearest number word in its place.
func (c *call) askMistyped(f *frame) {
	text := "A word in “" + f.raw + "” looks like a mistyped number"
	guess := ""
	if len(f.mistyped) == 1 && !c.ctx.guessed && strings.Count(c.text, f.mistyped[0]) == 1 {
		guess = nearestNumber(strings.ToLower(f.mistyped[0]))
	}
	if guess == "" {
		c.ask(text+". What was the number?", nil)
		return
	}
	ctx := *c.ctx
	ctx.guessed = true
	res := c.r.readFresh(strings.Replace(c.text, f.mistyped[0], guess, 1), ctx)
	if len(res.Findings) == 0 || len(res.Questions)+len(res.Unread) > 0 {
		c.ask(text+". What was the number?", nil)
		return
	}
	var said []string
	for _, fd := range res.Findings {
		said = append(said, fd.Words)
	}
	yes := strings.Join(said, "; ")
	c.ask(text+". Is this right: "+yes+"?", []Choice{{Words: "yes", Findings: res.Findings, Commands: res.Commands}})
}

// askWhere asks for the place of a number, or of what was seen.
func (c *call) askWhere(f *frame, why string) {
	what := "that"
	if len(f.nums) > 0 {
		what = f.nums[0].raw
		if f.nums[0].num.unit.dim != "" {
			what += " " + unitWord(f.nums[0].num.unit)
		}
	}
	c.unsure = c.unsure || len(f.nums) > 0
	text := fmt.Sprintf("Between which two places, or at which terminal, was %s read? %s.", what, upper(why))
	if len(f.nums) > 0 && c.tooManyVolts(f.nums[0].num) {
		text += fmt.Sprintf(" And check: this job is a %g volt system.", c.ctx.SystemVolts)
	}
	if why == relayUnsaid {
		c.askHowItStood(text, nil)
		return
	}
	c.ask(text, nil)
}

// relayUnsaid is asked about where the same terminal is read at with the relay in or out.
const relayUnsaid = "it was not said whether the relay was in or out"

// askEnd offers both ends of a part whose side was not said, with what take makes
// of each; false where that is not all that is missing.
func (c *call) askEnd(f *frame, take func(*call, *frame)) bool {
	if len(f.places) != 1 {
		return false
	}
	spots := f.places[0].spots
	at := slices.IndexFunc(spots, func(s spot) bool { return s.part != "" && ends[s.part] != [2]spot{} })
	if at < 0 {
		return false
	}
	part := spots[at].part
	var choices []Choice
	for _, end := range ends[part] {
		g := *f
		g.places = []placeRef{f.places[0]}
		g.places[0].spots = slices.Clone(spots)
		g.places[0].spots[at] = end
		trial := *c
		trial.res, trial.choosing = Result{}, true
		if g.askPlace() == "" {
			take(&trial, &g)
		}
		if len(trial.res.Findings) != 1 {
			return false
		}
		choices = append(choices, Choice{Words: placeName(end.abs), Findings: trial.res.Findings})
	}
	c.ask(fmt.Sprintf("“%s”: %s?", f.raw, whichEnd(part)), choices)
	return true
}

func whichEnd(part string) string {
	if part == "ground_point" {
		return "which ground point"
	}
	return "which side of " + placeName(part)
}

func (c *call) tooManyVolts(n num) bool {
	return c.ctx.SystemVolts > 0 && (n.unit.dim == "" || n.unit.dim == volt) && math.Abs(value(n)) > c.mostVolts()
}

func unitWord(u unit) string {
	switch {
	case u.dim == milli:
		return "milli"
	case u.dim == kilo:
		return "k"
	case u.scale == 1e-3:
		return map[string]string{volt: "mV", ohm: "mΩ", ampere: "mA"}[u.dim]
	case u.scale == 1e3:
		return map[string]string{volt: "kV", ohm: "kΩ"}[u.dim]
	case u.scale == 1e6:
		return "MΩ"
	}
	return map[string]string{volt: "V", ohm: "Ω", ampere: "A"}[u.dim]
}

// askUnit offers a reading in each unit that the number could have.
func (c *call) askUnit(f *frame, said rules.Setup, modes []rules.Mode) {
	var choices []Choice
	for _, m := range modes {
		if ch, ok := c.choiceOf(*f, said, m, nil); ok {
			choices = append(choices, ch)
		}
	}
	c.ask(fmt.Sprintf("“%s”: %s?", f.nums[0].raw, orList(modes, f.nums[0].num)), choices)
}

func orList(modes []rules.Mode, n num) string {
	out := ""
	for i, m := range modes {
		if i > 0 {
			out += " or "
		}
		name := map[rules.Mode]string{rules.VoltsDC: "volts", rules.Ohms: "ohms", rules.AmpsDC: "amps"}[m]
		if n.unit.dim == milli {
			name = "milli" + name
		}
		out += name
	}
	return out
}

// choiceOf is what the frame would mean as a reading in the mode, with its
// number replaced by v if v is not nil. It leaves the call's result alone.
func (c *call) choiceOf(f frame, said rules.Setup, m rules.Mode, v *float64) (Choice, bool) {
	trial := *c
	trial.res, trial.choosing = Result{}, true
	n := f.nums[0]
	if v != nil {
		n.num = num{v: *v, digits: "x"}
	}
	n.num.unit = unit{map[rules.Mode]string{rules.VoltsDC: volt, rules.Ohms: ohm, rules.AmpsDC: ampere}[m], n.num.unit.scale}
	f.nums = []item{n}
	f.places = append([]placeRef(nil), f.places...)
	trial.put(&f, said, m)
	if len(trial.res.Findings) == 0 {
		return Choice{}, false
	}
	return Choice{Words: trial.res.Findings[0].Words, Findings: trial.res.Findings}, true
}

// implausible asks about a number that no meter would show there.
func (c *call) implausible(f *frame, said rules.Setup) {
	n := f.nums[0]
	e := c.ctx.Expected
	if e != nil && n.num.unit.dim != "" && e.Kind == "number" && !dimFits(n.num.unit.dim, e.Measure.Mode) {
		c.ask(fmt.Sprintf("The test asked for %s; “%s” was said. Where was that read, or what did the test show?",
			modeUnit[e.Measure.Mode], n.raw+" "+unitWord(n.num.unit)), nil)
		return
	}
	if value(n.num) < 0 && (n.num.unit.dim == ohm || e != nil && e.Measure.Mode == rules.Ohms) {
		c.unread(f.raw, "a resistance is not below zero; there may be voltage across the leads")
		return
	}
	var choices []Choice
	if v := math.Abs(n.num.v); n.num.unit.dim == "" && !n.num.signed && v >= 100 && v < 10000 && (e == nil || dimFits(volt, e.Measure.Mode)) {
		for _, by := range []float64{0.1, 0.01, 0.001} {
			try := n.num.v * by
			if try, err := parse12(try); err == nil && try <= c.mostVolts() && try >= 0.1 {
				if ch, ok := c.choiceOf(*f, said, rules.VoltsDC, &try); ok {
					choices = append(choices, ch)
				}
			}
		}
	}
	c.ask(fmt.Sprintf("“%s” does not fit%s. What did the meter show, and in what unit?", f.raw, c.system()), choices)
}

func (c *call) system() string {
	if c.ctx.SystemVolts > 0 {
		return fmt.Sprintf(" a %g volt system", c.ctx.SystemVolts)
	}
	return ""
}

var modeUnit = map[rules.Mode]string{
	rules.VoltsDC: "volts", rules.Ohms: "ohms", rules.AmpsDC: "amps", rules.MinMax: "lowest and highest volts",
	rules.PullIn: "volts", rules.DropOut: "volts",
}

func dimFits(dim string, m rules.Mode) bool {
	for _, k := range candidates(dim) {
		if like(k, m) {
			return true
		}
	}
	return false
}

// askSetup asks for the part of the setup that nothing tells.
func (c *call) askSetup(fd Finding, f *frame, missing string) {
	options := []rules.Setup{{Key: "on", Command: "on"}, {Key: "on", Command: "off"}, {Key: "off", Command: "off"}}
	if missing == "relay" {
		c.askWhere(f, relayUnsaid)
		return
	}
	var choices []Choice
	for _, o := range options {
		if !fits(fd.Setup, rules.Setup{Relay: fd.Setup.Relay, Key: o.Key, Command: o.Command, Coil: fd.Setup.Coil}) {
			continue
		}
		g := fd
		g.Setup.Key, g.Setup.Command = o.Key, o.Command
		g.Words = c.say(g)
		choices = append(choices, Choice{Words: "key " + o.Key + ", switched " + o.Command, Findings: []Finding{g}})
	}
	if len(choices) == 1 {
		only := choices[0].Findings[0]
		only.Assumed = append(only.Assumed, choices[0].Words)
		c.file(only, f)
		return
	}
	c.askHowItStood("For “"+f.raw+"”: was the key on, and was it switched on?", choices)
}
