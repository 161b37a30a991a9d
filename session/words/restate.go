package words

import (
	"slices"
	"strings"
)

// This file takes what was said before in the same breath, or is quoted, for corrected by what
// is said anew of it: of what was seen, of how the vehicle stands, of a number.

// takenBack turns round what was seen and is denied again: "it works, no it doesn't".
func takenBack(in []item) []item {
	for i := 1; i+1 < len(in); i++ {
		if in[i].concept != "no" || in[i-1].kind != kSep {
			continue
		}
		j := i + 1
		for j+1 < len(in) && (in[j].kind == kSep || in[j].kind == kWord && linkWords[in[j].text]) {
			j++
		}
		if in[j].concept != "not" || !ended(neighbour(in, j, 1)) {
			continue
		}
		for k := i - 2; k >= 0; k-- {
			if o := opposite[in[k].concept]; o != "" && concepts[in[k].concept] == gOutcome {
				in = slices.Clone(in)
				in[k].concept, in[k].text = o, o
				return slices.Delete(in, i-1, j+1)
			}
		}
	}
	return in
}

// sinceThen drops a state that something was in before and is no more, as the number after it tells:
// "oh wait, the key was off, now it's 12.3".
func (c *call) sinceThen(in []item) []item {
	state := slices.IndexFunc(in, isSetup)
	if state < 0 || len(c.ctx.Last) > 0 || hasNumber(in[:state]) || !pastState(in, state) {
		return in
	}
	now := state + 1 + slices.IndexFunc(in[state+1:], func(it item) bool { return it.text == "now" })
	if now <= state || !hasNumber(in[now:]) || hasNumber(in[state:now]) || slices.ContainsFunc(in[state+1:], isSetup) {
		return in
	}
	for _, it := range in[:now] {
		if it.kind != kSep && it.kind != kWord && it.concept != "correction" && it.concept != "wait" && !isSetup(it) {
			return in
		}
	}
	return in[now:]
}

// pastState tells "the key was off" from "the key is off".
func pastState(in []item, i int) bool {
	return slices.ContainsFunc(strings.Fields(strings.ToLower(rawOf(in[:i+1]))), func(w string) bool { return w == "was" || w == "had" || w == "forgot" || w == "left" })
}

var pronouns = set(`it she he they`)

// sawAnew tells that what was seen is said anew after a "no": "it buzzes, no, it clicks".
func sawAnew(before, after []item) bool {
	saw := func(it item) bool { return concepts[it.concept] == gOutcome }
	names := func(it item) bool { return concepts[it.concept] == gPlace }
	again := after[0].kind == kSep || pronouns[after[0].text]
	return again && slices.ContainsFunc(before, saw) && slices.ContainsFunc(after, saw) && !slices.ContainsFunc(after, names)
}

// restated drops the states said before that are said anew from the given one on, and tells
// whether there were any: "key on, no, key off".
func (c *call) restated(all []frame, from int) bool {
	fresh := slices.Clone(c.setups[from:])
	anew := func(s string) bool {
		return slices.ContainsFunc(fresh, func(f string) bool { return setupField(f) == setupField(s) })
	}
	found := slices.ContainsFunc(c.setups[:from], anew)
	c.setups = append(slices.DeleteFunc(c.setups[:from], anew), fresh...)
	for i := range all {
		for _, said := range []*[]string{&all[i].setups, &all[i].before, &all[i].after} {
			found = found || slices.ContainsFunc(*said, anew)
			*said = slices.DeleteFunc(slices.Clone(*said), anew)
		}
	}
	return found
}

// ofSameThing takes a bare "off" for the state of what was said to be on: "switched on, I mean off".
func (c *call) ofSameThing(all []frame, in []item) []item {
	said := c.setups
	if n := len(all); n > 0 && len(all[n-1].setups) > 0 {
		said = all[n-1].setups
	}
	if len(said) == 0 {
		return in
	}
	thing, _, _ := strings.Cut(said[len(said)-1], "_")
	for i, it := range in {
		state := thing + "_" + strings.ToLower(it.raw)
		if concepts[state] == gSetup && !hasSaid(in[:i]) && !hasSaid(in[i+1:]) {
			return []item{{kind: kConcept, concept: state, text: state, raw: it.raw}}
		}
	}
	return in
}

// amending are words with which a number said before is quoted that is to be another.
var amending = set(`said say told put gave change changed wrong mistyped typed`)

// quoted is where the number understood last is named for which another is put, -1 for
// nowhere: "I said 12.6 but it's 12.2".
func (c *call) quoted(in []item) int {
	at, nums, amends := -1, 0, false
	for i, it := range in {
		switch {
		case it.kind == kPlace:
			return -1
		case it.kind == kNum:
			if nums++; nums == 1 {
				at = i
			}
		}
		amends = amends || nums == 1 && (it.concept == "should" || strings.HasPrefix(it.raw, "should")) || amending[it.text] || amending[firstWord(it.raw)] && it.concept == "correction"
	}
	if nums != 2 || !amends || !c.isLast(in[at]) {
		return -1
	}
	return at
}

// wasOtherwise corrects what is stored of a place by what is said to have been read there: "86
// was 12.2", after 12.3. It returns the frames that are left.
func (c *call) wasOtherwise(all []frame) []frame {
	return slices.DeleteFunc(all, func(f frame) bool {
		if !f.wholeReading() || len(f.nums) != 1 || f.is("past", "should") || !slices.Contains(strings.Fields(strings.ToLower(f.raw)), "was") {
			return false
		}
		old := c.storedAt(&f)
		if old == nil || old.Answer.Number == nil || *old.Answer.Number == value(f.nums[0].num) {
			return false
		}
		c.correctLast(&f, *old)
		return true
	})
}
