package words

import (
	"slices"
	"strings"
)

// This file takes back what was read at the wrong place: "actually 30 has 12.6, I was on the wrong cavity".

// onWrongPlace corrects the reading stored of the one place that was said with one number, where "actually" goes
// before it or a wrong place is owned up to behind it. It tells whether that was all.
func (c *call) onWrongPlace(items []item) bool {
	rest, actually, wrong := ownedUp(items)
	if !actually && !wrong || c.lastReading() < 0 || !onePlaceOneNumber(rest) {
		return false
	}
	var stood []string
	var number item
	for _, it := range rest {
		if isSetup(it) {
			stood = append(stood, it.concept)
		}
		if it.kind == kNum {
			number = it
		}
	}
	said, clash := saidSetup(stood)
	at := rest[slices.IndexFunc(rest, func(it item) bool { return it.kind == kPlace })].place
	if clash != "" || number.num.bad || number.num.odd != "" {
		return false
	}
	fits := func(old Finding) bool {
		return c.readAt(at, old.Measure) && old.Answer.Number != nil && *old.Answer.Number != value(number.num) && fits(said, old.Setup) &&
			(number.num.unit.dim == "" || dimFits(number.num.unit.dim, old.Measure.Mode))
	}
	found := slices.DeleteFunc(slices.Clone(c.ctx.Last), func(f Finding) bool { return !fits(f) })
	if len(found) == 0 {
		found = slices.DeleteFunc(slices.Clone(c.ctx.Earlier), func(f Finding) bool { return !fits(f) })
	}
	last := c.ctx.Last[c.lastReading()]
	switch {
	case len(found) == 0 && !wrong:
		return false
	case len(found) == 0 && last.Answer.Number != nil && *last.Answer.Number == value(number.num):
		found = []Finding{last} // read there, and the place was told wrong
	case len(found) == 0:
		c.ask("Should the last reading be taken back: "+c.say(last)+"?", []Choice{{Words: "yes", Commands: []Command{{Kind: CmdCorrect, Entry: last.Entry}}}})
		return false
	}
	frames := c.segment(rest)
	if len(frames) != 1 {
		return false
	}
	if len(found) > 1 {
		c.askWhichStored(frames[0], found)
		return true
	}
	c.correctLast(&frames[0], found[0])
	return true
}

// ownedUp parts what was read from the words that take something back.
func ownedUp(items []item) (rest []item, actually, wrong bool) {
	for _, it := range items {
		raw := strings.ToLower(it.raw)
		switch {
		case it.concept == "rather" && !hasContent(rest) && raw == "actually":
			actually = true
		case it.concept == "correction" && strings.HasPrefix(raw, "wrong ") && hasContent(rest):
			wrong = true
			for len(rest) > 0 && (rest[len(rest)-1].concept == "that_was" || rest[len(rest)-1].kind == kWord && linkWords[rest[len(rest)-1].text]) {
				rest = rest[:len(rest)-1]
			}
		default:
			rest = append(rest, it)
		}
	}
	for len(rest) > 0 && rest[len(rest)-1].kind == kSep {
		rest = rest[:len(rest)-1]
	}
	return rest, actually, wrong
}

// onePlaceOneNumber tells that nothing is said but one place, what was read there and how the vehicle stood.
func onePlaceOneNumber(in []item) bool {
	places, nums := 0, 0
	for _, it := range in {
		switch {
		case it.kind == kPlace:
			places++
			if len(it.place.spots) > 1 && !it.place.pair || it.place.spots[0].ask != "" {
				return false
			}
		case it.kind == kNum:
			nums++
		case it.kind == kConcept && !isSetup(it):
			return false
		}
	}
	return places == 1 && nums == 1
}

// askWhichStored asks which of several readings stored of one place is to be another.
func (c *call) askWhichStored(f frame, found []Finding) {
	var choices []Choice
	for _, old := range found {
		g, trial := f, *c
		trial.res = Result{}
		trial.correctLast(&g, old)
		if len(trial.res.Findings) == 1 {
			choices = append(choices, Choice{Words: c.say(old), Findings: trial.res.Findings, Commands: trial.res.Commands})
		}
	}
	c.cur = &f
	c.ask("Which reading was wrong?", choices)
	c.cur = nil
}
