package words

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// answerQuestion reads an utterance as the answer to a question asked back, or,
// where it is none or is a whole reading by itself, as said afresh.
func (r *Reader) answerQuestion(text string, ctx Context) Result {
	q := *ctx.Asked
	ctx.Asked = nil
	if len(q.Pending) > 0 && len(q.Choices) > 0 {
		return r.answerReadBack(text, q, ctx)
	}
	res := r.asAnswer(text, q, ctx)
	reAsked := slices.ContainsFunc(res.Questions, func(q Question) bool { return q.Again })
	if !res.Answered && !reAsked && !toldOtherwise(q, res) {
		res.Left = q.Heard
	}
	return res
}

// asAnswer reads an utterance with what the question was about, or afresh where it is no
// answer to it.
func (r *Reader) asAnswer(text string, q Question, ctx Context) Result {
	// A screen's button says the words that were offered: those are an answer, whatever
	// else they could mean.
	for _, ch := range q.Choices {
		if strings.EqualFold(strings.TrimSpace(text), ch.Words) {
			return Result{Findings: ch.Findings, Commands: ch.Commands, Answered: true}
		}
	}
	fresh := r.readFresh(text, ctx)
	if onlyUnsure(fresh) && !asksTheTest(q) {
		return Result{} // of what was asked back, not of what the test reads: that is left open
	}
	if corrects(fresh, ctx) || wantsElse(fresh) || repairs(fresh.Commands) && !slices.ContainsFunc(q.Choices, func(ch Choice) bool { return repairs(ch.Commands) }) || fresh.standsAlone() {
		return fresh
	}
	if both := r.bothSides(q, text, ctx); both != nil {
		return Result{Questions: []Question{*both}, Answered: true}
	}
	if ch := pickChoice(q, text); ch != nil {
		return Result{Findings: ch.Findings, Commands: ch.Commands, Answered: true}
	}
	if len(fresh.Commands) == 1 && fresh.Commands[0].Kind == CmdNo && len(fresh.Findings) == 0 {
		return fresh // "never mind"
	}
	if q.Heard == "" || len(q.Heard)+len(text) > longest-20 {
		return fresh
	}
	whole := r.readFresh(q.Heard+correctedTo+text, ctx)
	if whole.settled() {
		whole.Answered = true
		return whole
	}
	for _, completed := range r.completions(q, fresh, text) {
		if whole := r.readFresh(completed, ctx); whole.settled() {
			whole.Answered = true
			return whole
		} else if len(whole.Questions) == 1 && said(whole.Questions[0].Text) != said(q.Text) && len(fresh.Findings) == 0 && !setupAlone(fresh) {
			return whole // one thing is settled, and the next is asked
		}
	}
	if repeats(q, fresh, text) {
		return Result{Questions: []Question{q}, Answered: true}
	}
	if len(fresh.Findings) == 0 && len(whole.Questions) > 0 && !q.Again && (q.OfSetup || !setupAlone(fresh)) {
		whole.Questions[0].Again = true
		return whole
	}
	return fresh
}

// repeats tells that nothing was said but a number that is asked about already: it belongs to what was asked,
// and to no other test.
func repeats(q Question, fresh Result, text string) bool {
	if len(fresh.Findings) != 1 || len(fresh.Questions)+len(fresh.Unread) > 0 || !fresh.Findings[0].unplaced || fresh.Findings[0].Answer.Number == nil {
		return false
	}
	var nums []item
	for _, it := range measureUnits(spell(scan(text))) {
		if it.kind == kNum {
			nums = append(nums, it)
		}
	}
	return len(nums) == 1 && slices.ContainsFunc(measureUnits(spell(scan(q.Heard))), func(it item) bool { return it.kind == kNum && it.num.v == nums[0].num.v })
}

// bothSides asks once which side was which, where it was asked at which side of a part a number was read
// and another is said of "the other side"; nil where it is not.
func (r *Reader) bothSides(q Question, text string, ctx Context) *Question {
	low := strings.ToLower(text)
	if len(q.Choices) != 2 || len(q.Heard)+len(text) > longest-20 || !strings.Contains(low, "other side") && !strings.Contains(low, "other end") {
		return nil
	}
	both := Question{Heard: q.Heard + ", " + text}
	for i, ch := range q.Choices {
		if len(ch.Findings) != 1 || len(q.Choices[1-i].Findings) != 1 || ch.Findings[0].Answer.Number == nil {
			return nil
		}
		one, other := ch.Findings[0], q.Choices[1-i].Findings[0]
		part, _, ok := endOf(one.Measure.Red)
		if end, _, too := endOf(other.Measure.Red); !ok || !too || end != part {
			return nil
		}
		ctx.Last = []Finding{one}
		res := r.readFresh(text, ctx)
		if !res.settled() || len(res.Findings) != 1 || res.Findings[0].Measure.Red != other.Measure.Red || res.Findings[0].Answer.Number == nil {
			return nil
		}
		first, _, _ := strings.Cut(strings.TrimPrefix(q.Text, "“"), "”")
		both.Text = fmt.Sprintf("“%s; %s”: %s was the first?", first, text, whichEnd(part))
		both.Choices = append(both.Choices, Choice{Words: ch.Words, Findings: []Finding{one, res.Findings[0]}})
	}
	return &both
}

// onlyUnsure tells that nothing was said but "I don't know".
func onlyUnsure(r Result) bool {
	return len(r.Findings)+len(r.Questions)+len(r.Unread) == 0 && len(r.Commands) == 1 && r.Commands[0].Kind == CmdUnsure
}

// asksTheTest tells that a question asks which of its answers the proposed test gave.
func asksTheTest(q Question) bool {
	return len(q.Choices) > 1 && !slices.ContainsFunc(q.Choices, func(ch Choice) bool {
		return len(ch.Findings) != 1 || ch.Findings[0].Kind != KindAnswer || ch.Findings[0].Answer.Choice == ""
	})
}

// settled tells that something was taken and nothing is left to ask.
func (r *Result) settled() bool {
	return len(r.Findings) > 0 && len(r.Questions)+len(r.Unread) == 0
}

// setupAlone tells that nothing was said but how the vehicle stands.
func setupAlone(r Result) bool {
	return len(r.Findings)+len(r.Questions)+len(r.Unread) == 0 && slices.ContainsFunc(r.Commands, func(c Command) bool { return c.Kind == CmdSetup })
}

// toldOtherwise tells that a question can be left with nothing lost: it was dropped by name,
// what it was about was taken back, or its number was said again in full.
func toldOtherwise(q Question, r Result) bool {
	if slices.ContainsFunc(r.Commands, func(c Command) bool { return c.Kind == CmdNo || c.Kind == CmdUndo || c.Kind == CmdCorrect }) {
		return true
	}
	for _, it := range spell(scan(q.Heard)) {
		if it.kind == kNum && slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Answer.Number != nil && *f.Answer.Number == it.num.v }) {
			return true
		}
	}
	return false
}

// corrects tells whether what was said corrects the number of a stored reading at its
// own place: that is no answer to what was asked about another.
func corrects(fresh Result, ctx Context) bool {
	if len(fresh.Findings) == 0 || len(fresh.Questions)+len(fresh.Unread) > 0 {
		return false
	}
	for _, c := range fresh.Commands {
		for _, old := range slices.Concat(ctx.Last, ctx.Earlier) {
			if c.Kind == CmdCorrect && c.Entry == old.Entry && fresh.Findings[0].Measure == old.Measure && sameSetup(fresh.Findings[0].Setup, old.Setup) {
				return true
			}
		}
	}
	return false
}

// wantsElse tells whether a command was given instead of an answer.
func wantsElse(r Result) bool {
	return len(r.Findings) == 0 && slices.ContainsFunc(r.Commands, func(c Command) bool {
		return c.Kind != CmdYes && c.Kind != CmdNo && c.Kind != CmdSetup && c.Kind != CmdCorrect && c.Kind != CmdRepair
	})
}

// repairs tells whether something was done to the vehicle: that is no answer to a
// question about a reading.
func repairs(commands []Command) bool {
	return slices.ContainsFunc(commands, func(c Command) bool { return c.Kind == CmdRepair })
}

var ordinals = []string{"first", "second", "third", "fourth"}

// ordinal is the choice that "the second" or "the latter" names.
func ordinal(said map[string]bool, choices int) (int, bool) {
	if len(said) > 3 {
		return 0, false
	}
	for i, w := range ordinals {
		if said[w] && i < choices {
			return i, true
		}
	}
	if said["last"] || said["latter"] {
		return choices - 1, true
	}
	return 0, said["former"]
}

// unitKinds let "millivolts" choose "0.3 V", and "backwards" the leads the other way round.
var unitKinds = map[string]string{
	"v": "volts", "volt": "volts", "mv": "volts", "millivolts": "volts", "millivolt": "volts", "voltage": "volts", "meter": "volts",
	"a": "amps", "amp": "amps", "ma": "amps", "milliamps": "amps", "current": "amps",
	"backwards": "round", "reversed": "round", "swapped": "round",
	"ω": "ohms", "ohm": "ohms", "ol": "ohms", "kω": "ohms", "resistance": "ohms",
}

// pickChoice finds the one choice that the words single out.
func pickChoice(q Question, text string) *Choice {
	said := choiceWords(text)
	if len(q.Choices) == 0 || len(said) == 0 || len(said) > 8 {
		return nil
	}
	if len(q.Choices) == 1 && (onlyYes(said) || q.Choices[0].Words == "yes" && affirms(said)) {
		return &q.Choices[0]
	}
	if i, ok := ordinal(said, len(q.Choices)); ok {
		return &q.Choices[i]
	}
	return overlap(q.Choices, said)
}

func onlyYes(said map[string]bool) bool {
	return len(said) == 1 && (said["yes"] || said["yeah"] || said["yep"] || said["right"] || said["correct"])
}

// affirms tells "yep it does", "I did", "it was" from what is said besides.
func affirms(said map[string]bool) bool {
	yes := false
	for w := range said {
		yes = yes || affirming[w]
		if !affirming[w] && !pronouns[w] && w != "i" && w != "we" && w != "that" && w != "sure" {
			return false
		}
	}
	return yes
}

var affirming = set(`yes yeah yep yup right correct does did do is was were indeed saw`)

// completions are what was heard with the answer put in where it belongs: its unit, which of two
// fuses, the relay in or out, how it stood besides.
func (r *Reader) completions(q Question, fresh Result, text string) []string {
	var out []string
	said := choiceWords(text)
	if q.OfSetup && len(said) == 1 && (said["in"] || said["out"]) {
		out = append(out, q.Heard+", relay "+strings.TrimSpace(text))
	}
	if setupAlone(fresh) {
		out = append(out, q.Heard+", "+text) // "coil on the bench"
	}
	if unit := unitSaid(said); unit != "" && len(q.Choices) == 0 {
		out = append(out, inUnit(q.Heard, unit))
	}
	for _, of := range []string{"coil", "load"} {
		if which := strings.Replace(q.Heard, "fuse", of+" fuse", 1); which != q.Heard && (said[of] || said[of+"'s"]) && len(said) <= 2 {
			out = append(out, which)
		}
	}
	return out
}

// unitSaid is the unit that is all that was said, "" for none.
func unitSaid(said map[string]bool) string {
	unit := ""
	for w := range said {
		switch w {
		case "volts", "amps", "ohms":
			unit = w
		case "they're", "theyre", "in", "were", "those", "'s":
		default:
			return ""
		}
	}
	return unit
}

// inUnit puts the unit behind the first number of what was heard; "300 millis" becomes "300
// millivolts".
func inUnit(heard, unit string) string {
	words := strings.Fields(heard)
	for i, w := range words {
		if !isNumber(w) {
			continue
		}
		if next := i + 1; next < len(words) && unitNames[words[next]].dim == milli {
			words[next] = "milli" + unit
		} else {
			words[i] += " " + unit
		}
		break
	}
	return strings.Join(words, " ")
}

// overlap is the choice that shares most of the words said, leaving out words
// that all choices share; a number said must stand in it.
func overlap(choices []Choice, said map[string]bool) *Choice {
	var sets []map[string]bool
	shared := map[string]int{}
	for _, ch := range choices {
		s := choiceWords(ch.Words)
		sets = append(sets, s)
		for w := range s {
			shared[w]++
		}
	}
	best, found, tie := 0, -1, false
	for i, s := range sets {
		n := 0
		for w := range said {
			switch {
			case s[w] && shared[w] < len(choices):
				n++
			case isNumber(w) && !s[w]:
				n -= 100
			}
		}
		switch {
		case n > best:
			best, found, tie = n, i, false
		case n == best && n > 0:
			tie = true
		}
	}
	if found < 0 || tie {
		return nil
	}
	return &choices[found]
}

func isNumber(w string) bool {
	_, err := strconv.ParseFloat(w, 64)
	return err == nil
}

func choiceWords(text string) map[string]bool {
	out := map[string]bool{}
	for _, it := range spell(scan(clean(text))) {
		w := it.text
		if it.kind == kSep || w == "the" || w == "a" || w == "it" || w == "was" || w == "is" || w == "one" || w == "at" || w == "-" {
			continue
		}
		if u := unitKinds[w]; u != "" {
			w = u
		}
		out[strings.ToLower(w)] = true
	}
	return out
}
