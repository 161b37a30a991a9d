package words

import (
	"regexp"
	"slices"
	"strings"

	"coilside/rules"
)

// minMax makes a reading of a range; two numbers are never averaged.
func (c *call) minMax(f *frame, said rules.Setup) {
	a, b := value(f.nums[0].num), value(f.nums[1].num)
	for _, n := range f.nums {
		if d := n.num.unit.dim; d != "" && d != volt && d != milli || !c.plausible(rules.MinMax, value(n.num)) {
			c.ask("“"+f.raw+"” is a range, but not of volts on this vehicle. What number did the meter settle on?", nil)
			return
		}
	}
	f.strays = slices.DeleteFunc(slices.Clone(f.strays), func(w string) bool { return extremes[strings.ToLower(w)] })
	ans := Answer{MinMax: &[2]float64{min(a, b), max(a, b)}}
	if c.expects(rules.MinMax) && c.atExpected(f, said) {
		c.file(c.answer(f, ans), f)
		return
	}
	if !f.act("jumping", "wiggle", "crank") && !c.expects(rules.MinMax) {
		c.ask("“"+f.raw+"”: did it move between the two, or are they two readings? Say “jumping from … to …”, or one number.", nil)
		return
	}
	if c.expectsNumber() && c.ctx.Expected.Setup.Command == "on" && wentOver.MatchString(f.raw) && !f.act("wiggle", "crank") && c.atExpected(f, said) {
		if f.has(f.setups, "command_on") && said.Key != "off" {
			c.settled(f.nums[0])
			f.spent, f.nums, f.acts = append(f.spent, f.nums[0]), f.nums[1:], nil
			f.restless = false
			c.single(f, said) // "goes from 12.4 to 0.1 when I switch it on"
			return
		}
		var choices []Choice
		for _, v := range []float64{a, b} {
			if ch, ok := c.choiceOf(*f, said, rules.VoltsDC, &v); ok {
				choices = append(choices, ch)
			}
		}
		c.ask("“"+f.raw+"”: which of the two does it stay at, with the vehicle as the test asks?", choices)
		return
	}
	if why := f.askPlace(); why != "" || len(f.places) == 0 && f.nowhere != "" {
		c.askWhere(f, firstText(why, "“"+f.nowhere+"” is no place of this circuit that is known here"))
		return
	}
	fd, want := c.reading(f, said, rules.MinMax)
	if want != "" {
		c.askWhere(f, want)
		return
	}
	fd.Answer = ans
	fd.Measure.During = during(f)
	c.settleDuring(fd, f)
}

// wentOver tells what went from one value to another once, as when it is switched, from what keeps moving.
var wentOver = regexp.MustCompile(`(?i)^(it )?(goes|went|changes|changed|switches|switched) from `)

// extremes name the two ends of a range.
var extremes = set(`best worst min max minimum maximum lowest highest low high bottom top peak trough between`)

// unmoved reads one number where lowest and highest were asked for: both, if it
// was said to be steady.
func (c *call) unmoved(f *frame) {
	v := value(f.nums[0].num)
	if !c.plausible(rules.MinMax, v) || !dimFits(firstText(f.nums[0].num.unit.dim, volt), rules.VoltsDC) {
		c.ask("“"+f.raw+"” does not fit"+c.system()+". What were the lowest and the highest volts?", nil)
		return
	}
	fd := c.answer(f, Answer{MinMax: &[2]float64{v, v}})
	fd.Words = c.say(fd)
	if f.is("steady") {
		c.file(fd, f)
		return
	}
	c.ask("What was the lowest and what the highest? Or was it steady?", []Choice{{Words: "steady: " + fd.Words, Findings: []Finding{fd}}})
}

func firstText(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func during(f *frame) string {
	switch {
	case f.act("wiggle"):
		return "wiggle"
	case f.act("crank"):
		return "crank"
	}
	return ""
}

// settleDuring finds out what was being done while the number moved.
func (c *call) settleDuring(fd Finding, f *frame) {
	if fd.Measure.During == "" && fd.Setup.Command == "on" {
		fd.Measure.During = "command"
		fd.Assumed = append(fd.Assumed, "while switched on")
	}
	if fd.Measure.During != "" {
		c.settle(fd, f)
		return
	}
	var choices []Choice
	for _, d := range []string{"wiggle", "command", "crank"} {
		g := fd
		g.Measure.During = d
		if missing := unsaid(g.Setup); missing != "" {
			continue
		}
		g.Words = c.say(g)
		choices = append(choices, Choice{Words: duringWords[d], Findings: []Finding{g}})
	}
	c.ask("What was being done while it moved?", choices)
}

var duringWords = map[string]string{"wiggle": "while wiggling", "command": "while switching it", "crank": "while cranking"}
