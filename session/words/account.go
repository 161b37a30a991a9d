package words

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// This file keeps one promise: a number that was said is stored only if all that was
// said of it was understood. Every number of the utterance is counted before it is read;
// each must be read, asked about or set aside for a reason. Where one is left over, or a
// word beside a reading means nothing here, the reading is asked about and not stored.

// doubt is a finding that is not certain, and why.
type doubt struct {
	finding Finding
	amends  int // entry that is taken back with it; 0 = none
	why     string
}

// count numbers the numbers of the utterance, so that none gets lost.
func (c *call) count(in []item) []item {
	c.open = map[int]string{}
	for i := range in {
		if in[i].kind == kNum {
			in[i].num.id = i + 1
			c.open[i+1] = in[i].raw
		}
	}
	return in
}

// settled strikes numbers off that were read, asked about or set aside.
func (c *call) settled(nums ...item) {
	for _, n := range nums {
		delete(c.open, n.num.id)
	}
}

// settleFrame strikes off the numbers of a frame and those that they took the place of.
func (c *call) settleFrame(f *frame) {
	if f != nil {
		c.settled(f.nums...)
		c.settled(f.spent...)
	}
}

func (f *Finding) numeric() bool { return f.Answer.Number != nil || f.Answer.MinMax != nil }

// file adds a finding, unless it must be asked about first.
func (c *call) file(fd Finding, f *frame) {
	if liveOhms(fd.Measure) && fd.Kind == KindReading {
		fd.Warning = "ohms where there may be voltage: the reading may be false and the meter harmed"
	}
	fd.Words = c.say(fd)
	fd.unplaced = len(f.places) == 0 && len(f.nums) > 0
	c.settleFrame(f)
	if why := firstText(f.doubt(), firstText(c.otherLoad(f), c.lowBattery(fd))); why != "" && !c.choosing && (fd.numeric() && len(f.nums)+len(f.values) > 0 || f.onlyIf || f.has(f.setups, "unkept_state")) {
		c.doubts = append(c.doubts, doubt{fd, c.amends, why})
		return
	}
	if f.question {
		c.ask("Is that what the meter showed: "+fd.Words+"?", []Choice{c.choiceFor("yes", fd)})
		return
	}
	if c.mayAmend(&fd) {
		c.askWhich(fd)
		return
	}
	if v := fd.Answer.Number; v != nil && *v <= -1 && fd.Measure.Mode != rules.Ohms {
		c.askSign(fd)
		return
	}
	if c.amends != 0 {
		c.res.Commands = append(c.res.Commands, Command{Kind: CmdCorrect, Entry: c.amends})
	}
	c.res.Findings = append(c.res.Findings, fd)
}

// mayAmend tells a number said with "actually" behind it and no place: it may answer the test
// asked for, or stand for the number kept last.
func (c *call) mayAmend(fd *Finding) bool {
	i := c.lastReading()
	if i < 0 || c.amends != 0 || !fd.unplaced || fd.Kind != KindAnswer || fd.Answer.Number == nil || !c.actually {
		return false
	}
	last := &c.ctx.Last[i]
	return last.Answer.Number != nil && last.Measure.Mode == fd.Measure.Mode && last.Measure != fd.Measure
}

// askWhich asks which of the two it is.
func (c *call) askWhich(fd Finding) {
	last := c.ctx.Last[c.lastReading()]
	amended := last
	amended.Entry, amended.Answer = 0, fd.Answer
	amended.Words = c.say(amended)
	c.ask("Is that the next reading, or instead of "+last.Words+"?", []Choice{
		c.choiceFor(fd.Words, fd),
		{Words: amended.Words, Findings: []Finding{amended}, Commands: []Command{{Kind: CmdCorrect, Entry: last.Entry}}}})
}

// askSign asks about a sign that could be the leads'.
func (c *call) askSign(fd Finding) {
	plus := -*fd.Answer.Number
	g := fd
	g.Answer = Answer{Number: &plus}
	g.Words = c.say(g)
	g.Notes = append(append([]string(nil), fd.Notes...), "the leads were the other way round")
	c.ask(fmt.Sprintf("Minus %s: were the leads as asked, or the other way round?", formatNumber(plus)), []Choice{
		c.choiceFor("as asked: "+fd.Words, fd), c.choiceFor("the other way round: "+g.Words, g)})
}

// choiceFor is a choice that files the finding, in the place of what is being corrected.
func (c *call) choiceFor(words string, fd Finding) Choice {
	ch := Choice{Words: words, Findings: []Finding{fd}}
	if c.amends != 0 {
		ch.Commands = []Command{{Kind: CmdCorrect, Entry: c.amends}}
	}
	return ch
}

// doubt says what was not understood of the words a number was said with, "" for nothing.
func (f *frame) doubt() string {
	switch {
	case len(f.strays) > 0:
		return "I do not know what “" + strings.Join(outermost(f.strays), "”, “") + "” means there"
	case len(only(f.values, "open", "open_line", "beeps", "no_beep", "bright", "dim")) > 0 && len(f.nums) > 0 && f.nums[0].num.unit.dim != ohm:
		return "“" + f.raw + "” says two things"
	case f.outcome("runs") && len(only(f.elements, "load")) > 1:
		return "Several loads are named"
	case f.act("lamp"):
		return "A reading with a lamp on it is not kept as such"
	case f.onlyIf && f.ofOther():
		return "“" + f.raw + "” names another circuit's part"
	case f.outcome("inverted") && len(f.nums) > 0:
		return "“" + f.raw + "” says two things"
	case f.act("swap") && len(f.nums) > 0:
		return "A reading with another relay in is not kept as such"
	case f.bridged:
		return "A reading with a jumper in is not kept as such"
	case f.has(f.setups, "unkept_state"):
		return "That was read in a state that is not kept with a reading here"
	}
	return ""
}

// outermost leaves out what is part of another: of "ac" and "when I turn ac on", the second.
func outermost(said []string) []string {
	return slices.DeleteFunc(slices.Clone(said), func(s string) bool {
		return slices.ContainsFunc(said, func(other string) bool { return len(other) > len(s) && strings.Contains(other, s) })
	})
}

// otherLoad tells that a reading was said with a load of another kind than the job's, or
// with a load hung on the place that was read: "with the lights on", "with a bulb on it".
func (c *call) otherLoad(f *frame) string {
	ofLoad := func(p placeRef) bool {
		return slices.ContainsFunc(p.spots, func(s spot) bool { return strings.HasPrefix(s.abs, "load") })
	}
	if len(f.places) > 0 && !slices.ContainsFunc(f.places, ofLoad) && len(f.outcomes)+len(f.acts) == 0 && f.has(f.elements, "load") && !f.has(f.setups, "loaded", "load_unplugged") {
		return "I do not know what the load has to do with it"
	}
	if f.has(f.setups, "neighbours_on") {
		return ""
	}
	return c.otherKind(f.raw)
}

// lowBattery tells that the battery was read unasked, and as low as no battery that anything
// could be tested on (practice, no source): "0.2 down on the battery" is no reading of it.
func (c *call) lowBattery(fd Finding) string {
	nominal := c.ctx.SystemVolts
	if nominal == 0 {
		nominal = 12
	}
	m, v := fd.Measure, fd.Answer.Number
	if fd.Kind != KindReading || m.Mode != rules.VoltsDC || m.Red != "battery.positive" || m.Black != "battery.negative" || v == nil || math.Abs(*v) > nominal/2 {
		return ""
	}
	return "That is little for a battery"
}

// otherKind tells that a load of another kind than the job's was named.
func (c *call) otherKind(said string) string {
	for _, w := range strings.Fields(strings.ToLower(said)) {
		n := c.r.root.next[w]
		if n == nil || c.ctx.LoadKind == "" {
			continue
		}
		for _, fact := range n.facts {
			if kind, ok := strings.CutPrefix(fact, "load_kind="); ok && kind != c.ctx.LoadKind {
				return "“" + w + "” is not the load of this job as it is known here"
			}
		}
	}
	return ""
}

// audit asks, in one question, about all readings of an utterance in which a number is left
// over, or one has words beside it that mean nothing here.
func (c *call) audit() {
	var why []string
	for _, d := range c.doubts {
		if !slices.Contains(why, d.why) {
			why = append(why, d.why)
		}
	}
	if len(c.open) > 0 {
		why = append(why, "I could not place "+c.leftOver())
	}
	if len(why) == 0 && c.unsure && slices.ContainsFunc(c.res.Findings, func(f Finding) bool { return f.unplaced }) {
		why = append(why, "More than one number was said")
	}
	if len(why) == 0 && c.contested() {
		why = append(why, "Another number was said of the same place")
	}
	if len(why) == 0 && c.muddled {
		why = append(why, "Not all of that was clear")
	}
	if len(why) == 0 && c.atOdds() {
		why = append(why, "Something ran, clicked or blew, and the reading was taken as with the relay out or switched off")
	}
	if len(why) > 0 {
		c.doubtNumbers()
	}
	switch {
	case len(c.doubts) > 0:
		c.askDoubts(strings.Join(why, ". "))
	case len(c.open) > 0 && len(c.res.Questions)+len(c.res.Unread) == 0:
		c.unread(c.text, "the number "+c.leftOver()+" was not taken; say where it was read")
	}
}

// contested tells that a number is asked about which would be another reading of what one was
// taken for: "got 12, then 12.4 with better contact".
func (c *call) contested() bool {
	other := func(asked Finding) bool {
		return asked.numeric() && slices.ContainsFunc(c.res.Findings, func(f Finding) bool {
			return f.numeric() && f.Measure == asked.Measure && sameSetup(f.Setup, asked.Setup)
		})
	}
	return slices.ContainsFunc(c.res.Questions, func(q Question) bool {
		return slices.ContainsFunc(q.Choices, func(ch Choice) bool { return slices.ContainsFunc(ch.Findings, other) })
	})
}

// atOdds tells that a load ran or a relay clicked, and a number said in the same breath
// would be kept as read with the relay out, or switched off, though nobody said so.
func (c *call) atOdds() bool {
	works := c.ran || slices.ContainsFunc(c.res.Findings, func(f Finding) bool {
		return f.Kind == KindReading && f.Setup.Command == "on" && (f.Answer.Choice == "runs" || f.Answer.Choice == "weak" || f.Answer.Choice == "click" || f.Answer.Choice == "trips")
	})
	return works && slices.ContainsFunc(c.res.Findings, func(f Finding) bool {
		assumed := func(what string) bool { return slices.Contains(f.Assumed, what) }
		return f.Kind == KindReading && f.numeric() && (assumed("relay out") || assumed("switched off"))
	})
}

// leftOver names the numbers that nothing took.
func (c *call) leftOver() string {
	var over []string
	for _, id := range slices.Sorted(maps.Keys(c.open)) {
		over = append(over, "“"+c.open[id]+"”")
	}
	return strings.Join(over, " and ")
}

// doubtNumbers takes back what was filed with a number in it. The corrections wait with
// the readings they bring.
func (c *call) doubtNumbers() {
	c.res.Findings = slices.DeleteFunc(c.res.Findings, func(f Finding) bool {
		if f.numeric() {
			c.doubts = append(c.doubts, doubt{finding: f})
		}
		return f.numeric()
	})
	if len(c.doubts) == 0 {
		return
	}
	c.res.Commands = slices.DeleteFunc(c.res.Commands, func(cmd Command) bool {
		if cmd.Kind == CmdCorrect {
			c.doubts = append(c.doubts, doubt{amends: cmd.Entry})
		}
		return cmd.Kind == CmdCorrect
	})
}

func (c *call) askDoubts(why string) {
	var yes Choice
	var said []string
	for _, d := range c.doubts {
		if d.finding.Kind != "" {
			yes.Findings = append(yes.Findings, d.finding)
			said = append(said, d.finding.Words)
		}
		if d.amends != 0 {
			yes.Commands = append(yes.Commands, Command{Kind: CmdCorrect, Entry: d.amends})
		}
	}
	yes.Words = "yes"
	c.ask(why+". Is this right: "+strings.Join(said, "; ")+"?", []Choice{yes})
}
