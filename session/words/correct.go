package words

import (
	"math"
	"slices"
	"strings"
)

// segment is a run of items after a mark that what went before was wrong.
type segment struct {
	mark  string // "" for the first; correction, undo
	items []item
}

// corrections parts the utterance where it corrects itself or what went before.
func (c *call) corrections(in []item) []segment {
	segs := []segment{{}}
	if c.deniesLast(in) || c.deniesPlace(in) {
		segs[0].mark = "correction"
	} else if i := c.quoted(in); i >= 0 {
		c.settled(in[i])
		segs[0].mark, in = "correction", in[i+1:]
	}
	if should := c.shouldBe(in); should >= 0 && (segs[0].mark != "" || len(c.ctx.Last) > 0 && namesLast(in[:should])) {
		segs[0].mark, in = "correction", in[should+1:] // "the last one should be 11.6"
	}
	for i := 0; i < len(in); i++ {
		cur := &segs[len(segs)-1]
		c.actually = c.actually || strings.EqualFold(in[i].raw, "actually") && neighbour(in, i, -1).kind == kNum && !hasNumber(in[i+1:])
		mark, skip := c.markAt(cur, in, i)
		fresh := !hasContent(cur.items)
		switch {
		case (mark == "correction" || in[i].concept == "rather") && !hasSaid(in[i+1:]) && c.behind(segs, in[i].raw):
			cur.mark = "correction"
		case mark != "" && cur.mark != "" && fresh:
			cur.mark = strongest(cur.mark, mark)
		case mark != "":
			segs = append(segs, segment{mark: mark})
		case skip == 0:
			cur.items = append(cur.items, in[i])
		}
		i += max(0, skip-1)
	}
	return segs
}

// deniesLast tells "11.6 not 12", with a number near the one understood last, from a
// fresh answer.
func (c *call) deniesLast(in []item) bool {
	last := c.lastReading()
	if last < 0 || c.ctx.Last[last].Answer.Number == nil || slices.ContainsFunc(in, func(it item) bool { return it.kind == kPlace }) {
		return false
	}
	for i, it := range in {
		if i > 0 && it.concept == "not" && in[i-1].kind == kNum && c.nearLast(in[i+1:min(i+2, len(in))]) {
			return true
		}
	}
	return false
}

// deniesPlace tells "I measured at 85, not 86", with the place of the reading understood last,
// and no number.
func (c *call) deniesPlace(in []item) bool {
	last := c.lastReading()
	if last < 0 || hasNumber(in) || !hasContent(in) || in[0].concept == "not" {
		return false
	}
	for i, it := range in {
		if next := neighbour(in, i, 1); i > 0 && it.concept == "not" && next.kind == kPlace && c.readAt(next.place, c.ctx.Last[last].Measure) {
			return slices.ContainsFunc(in[:i], func(it item) bool { return it.kind == kPlace })
		}
	}
	return false
}

// shouldBe is where it is said what the number after it should be, the only one; -1 for nowhere.
func (c *call) shouldBe(in []item) int {
	at := slices.IndexFunc(in, func(it item) bool { return it.concept == "should" })
	if at < 0 || hasNumber(in[:at]) || !c.numberAlone(in[at+1:]) {
		return -1
	}
	return at
}

// namesLast tells that what was said last is named, and no more: "that last one".
func namesLast(in []item) bool {
	last := false
	for _, it := range in {
		last = last || it.text == "last" || it.text == "previous"
		if it.kind != kWord || !linkWords[it.text] && !common[it.text] && it.text != "previous" && it.text != "one" {
			return false
		}
	}
	return last
}

// nearLast tells a number whose whole part is that of the one understood last, which has to
// be there.
func (c *call) nearLast(in []item) bool {
	last := *c.ctx.Last[c.lastReading()].Answer.Number
	return slices.ContainsFunc(in, func(it item) bool { return it.kind == kNum && math.Floor(value(it.num)) == math.Floor(last) })
}

// markAt tells whether the item at in[i] takes something back, and how many
// items are no part of what is said besides.
func (c *call) markAt(cur *segment, in []item, i int) (mark string, skip int) {
	switch in[i].concept {
	case "correction":
		return "correction", 1
	case "undo":
		if next := neighbour(in, i, 1); c.isLast(next) {
			c.settled(next)
			return "correction", 2 // "forget 12.4, it was 2.4"
		}
		return "undo", 1
	case "rather":
		if hasContent(cur.items) || c.correctsPlace(cur, in[i+1:]) || c.numberAlone(in[i+1:]) || nextSaid(in, i).concept == "that_was" && len(c.ctx.Last) > 0 {
			return "correction", 1
		}
		return "", 1
	case "":
		if i == 0 && in[i].text == "wrong" && neighbour(in, 1, 0).kind == kSep && len(c.ctx.Last) > 0 {
			return "correction", 1 // "wrong, it's 11.9"
		}
		if next := neighbour(in, i, 1); (in[i].text == "that" || in[i].text == "the") && c.isLast(next) && neighbour(in, i, 2).concept == "that_was" && c.correctsPlace(cur, in[i+3:]) {
			c.settled(next)
			return "correction", 3 // "that 12.3 was on 87"
		}
	case "that_was":
		if c.correctsPlace(cur, in[i+1:]) {
			return "correction", 1
		}
		return "", 1
	case "no":
		if c.noCorrects(in, i) {
			return "correction", 1
		}
	case "not":
		if next := neighbour(in, i, 1); cur.mark == "" && !hasContent(cur.items) && c.isLast(next) {
			c.settled(next)
			return "correction", 2 // "not 12.4, 11.4"
		}
		at := 1
		for next := neighbour(in, i, at); next.kind == kWord && (preps[next.text] || terminalWords[next.text]); next = neighbour(in, i, at) {
			at++
		}
		if n := len(cur.items); neighbour(in, i, at).kind == kPlace && n > 1 && (cur.items[n-1].text == "and" || cur.items[n-1].text == "but") && slices.ContainsFunc(cur.items, lit) {
			in[i].concept, in[i].text = "dark", "dark" // "lights on 86 and not on 85"
			return "", 0
		}
		if neighbour(in, i, at).kind == kPlace { // "not 85, 86", "86 not 85", "not on 86, on 30"
			if !hasContent(cur.items) && cur.mark == "" {
				return "correction", at + 1
			}
			return "", at + 1
		}
	}
	return "", 0
}

// lit tells that a test lamp lit.
func lit(it item) bool { return it.concept == "bright" || it.concept == "dim" }

func hasSaid(in []item) bool {
	return slices.ContainsFunc(in, func(it item) bool { return it.kind != kSep })
}

// nextSaid is the item after in[i], separators left out.
func nextSaid(in []item, i int) item {
	for i++; i < len(in) && in[i].kind == kSep; {
		i++
	}
	return neighbour(in, i, 0)
}

func strongest(a, b string) string {
	if a == "undo" || b == "undo" {
		return "undo"
	}
	return a
}

// isLast tells whether a number is the one understood last.
func (c *call) isLast(it item) bool {
	i := c.lastReading()
	return it.kind == kNum && i >= 0 && c.ctx.Last[i].Answer.Number != nil && *c.ctx.Last[i].Answer.Number == value(it.num)
}

// meantThat are marks that may stand behind what they correct: "er, 85 I mean".
var meantThat = set(`i_mean i_meant i_should_say rather correction`)

// behind tells whether a mark with nothing after it corrects, by what stands before it,
// what was understood last.
func (c *call) behind(segs []segment, raw string) bool {
	said := strings.ReplaceAll(strings.ToLower(raw), " ", "_")
	if !acknowledged[said] && !holding[strings.ToLower(raw)] && len(segs) == 1 && c.numberAlone(segs[0].items) && c.nearLast(segs[0].items) {
		return true // "12.2 sorry", "12.5, I misread"
	}
	return len(segs) == 1 && segs[0].mark == "" && c.lastReading() >= 0 && (meantThat[said] ||
		said == "actually" && (pastTense(c.text) || !c.expectsNumber() && c.numberAlone(segs[0].items))) // "it was 12.3 actually", "12.3 actually" before a look
}

// correctsPlace tells "that was 85", which moves a reading, from "that was
// 12.4", which gives one.
func (c *call) correctsPlace(cur *segment, rest []item) bool {
	if cur.mark != "" && !hasContent(cur.items) {
		return true
	}
	if !hasContent(cur.items) && len(c.ctx.Last) == 0 {
		return false
	}
	for _, it := range rest {
		if it.kind == kNum || it.kind == kConcept && (valueWord(it) || concepts[it.concept] == gOutcome) {
			return false
		}
	}
	return slices.ContainsFunc(rest, func(it item) bool { return it.kind == kPlace || concepts[it.concept] == gSetup })
}

var interjections = set(`oh ah er erm um uh well damn shit bugger blast argh eh hmm`)

// noCorrects tells a "no" that takes something back from "no click" and from a
// plain answer.
func (c *call) noCorrects(in []item, i int) bool {
	prev, next := neighbour(in, i, -1), neighbour(in, i, 1)
	if isGround(next) {
		return false // "12.4 at 86, no ground at 85"
	}
	if next.text == "it" && verbs[neighbour(in, i, 2).text] {
		next = neighbour(in, i, 3) // "no it's 11.9"
	}
	if next.kind == kNum && slices.ContainsFunc(in[:i], func(it item) bool { return it.kind == kNum }) {
		return true // "12 no 11"; but "there's no 12 volts at 86"
	}
	if i > 1 && i+1 < len(in) && sawAnew(in[:i], in[i+1:]) {
		return true
	}
	if prev.kind != kSep && prev.text != "-" && !(i == 1 && interjections[prev.text]) { // "oh no, …"
		return false
	}
	if !hasContent(in[i+1:]) && !slices.ContainsFunc(in[i+1:], func(it item) bool { return concepts[it.concept] == gSetup }) {
		return false
	}
	if i <= 1 && !hasContent(in[:i]) && len(c.ctx.Last) == 0 {
		return false
	}
	switch {
	case pastTense(c.text) && slices.ContainsFunc(in[i+1:], isSetup): // "no, I'd left the relay in"
		return true
	case next.concept == "that_was", next.concept == "correction", next.kind == kPlace:
		return true
	case next.kind == kNum:
		return i > 0 || next.num.unit.dim == ""
	}
	return next.kind == kSep && c.restCorrects(in[i+1:])
}

// isGround tells the ground as such, of which there may be none.
func isGround(it item) bool {
	return it.kind == kPlace && len(it.place.spots) == 1 && it.place.spots[0].part == "ground"
}

// restCorrects tells whether what follows "no," gives something else for what
// was said, and is no fresh answer such as "no, silent".
func (c *call) restCorrects(rest []item) bool {
	return slices.ContainsFunc(rest, func(it item) bool {
		return it.kind == kNum || it.kind == kPlace || it.concept == "that_was" || it.concept == "correction" || it.concept == "undo" || concepts[it.concept] == gSetup
	})
}

// numberAlone tells "actually, 12.4" after a number was stored: it corrects that.
func (c *call) numberAlone(rest []item) bool {
	i := c.lastReading()
	if i < 0 || c.ctx.Last[i].Answer.Number == nil {
		return false
	}
	nums := 0
	for _, it := range rest {
		switch {
		case it.kind == kNum:
			nums++
		case it.kind == kSep, it.kind == kWord && (linkWords[it.text] || common[it.text]):
		default:
			return false
		}
	}
	return nums == 1
}
