package words

import (
	"slices"
	"strings"
)

// This file reads lists: several places, and then as many values, or the other way about.

// thisPlace takes "this", and "here", beside a number and a place read before it, for the place that the
// test asks for: "the battery's 12.6 and this is 12.4".
func (c *call) thisPlace(in []item) []item {
	if !c.expectsNumber() || len(expectedSpots(c.ctx.Expected.Measure)) != 1 || c.ctx.Expected.Measure.Red == "" {
		return in
	}
	for i, it := range in {
		j := i + 1
		for j < len(in) && (in[j].text == "one" || being[in[j].text] || verbs[in[j].text]) && in[j].kind == kWord {
			j++
		}
		if (it.text != "this" && it.text != "here") || it.kind != kWord || j == i+1 || j >= len(in) || in[j].kind != kNum || !hasNumber(in[:i]) || !slices.ContainsFunc(in[:i], func(it item) bool { return it.kind == kPlace || it.concept == "battery" }) {
			continue
		}
		in = slices.Clone(in)
		in[i] = placeItem(it, c.askedSpot())
		if and := i - 1; and >= 0 && in[and].text == "and" {
			in[and] = item{kind: kSep, text: ",", raw: ",", glued: true}
		}
		return in
	}
	return in
}

// askedSpot is the one spot that the test asked for reads.
func (c *call) askedSpot() spot {
	at := expectedSpots(c.ctx.Expected.Measure)[0]
	prefix, role, _ := strings.Cut(at, ".")
	if prefix == "socket" || prefix == "back" || prefix == "relay" {
		return spot{role: role, prefix: prefix}
	}
	return spot{abs: at}
}

// lists pairs "30, 86 and 87 are 12.4, 12.3 and 0" and "12.4 and 12.3 on 30 and 86" off, place
// by place. A list of places with a list of values of another length is left alone, and nothing
// read beside it is certain.
func (c *call) lists(in []item) []item {
	var out []item
	for i := 0; i < len(in); {
		first, second, tie, end := twoLists(in, i)
		members := in[i:end]
		if len(second) > 0 {
			if paired := pairOff(first, second, tie); paired != nil {
				members = append(statesIn(tie), paired...)
			} else {
				c.muddled = c.muddled || len(second) > 1
			}
		}
		out, i = append(out, members...), end
	}
	return out
}

// twoLists are the lists of places and of values that begin at in[i], in the order said, the
// words between them, and where they end. second is empty where there are no two.
func twoLists(in []item, i int) (first, second, tie []item, end int) {
	if !opens(in, i) {
		return nil, nil, nil, i + 1
	}
	first, after := listAt(in, i)
	at := after
	for at < len(in) && (ties(in[at]) || isSetup(in[at]) || at > i && in[at].text == "," && isSetup(in[at-1])) {
		at++
	}
	second, end = listAt(in, at)
	switch {
	case len(first) < 2, len(second) == 0, listed(first) == listed(second), !listEnds(in, end):
		return nil, nil, nil, max(after, i+1)
	case at == after && (!listed(first) || len(first) != len(second)):
		return nil, nil, nil, max(after, i+1) // "12.4, 12.3 30 ..." is no list of both
	}
	return first, second, in[after:at], end
}

// statesIn are the states said between the lists, of which all was read: "86 and 85 with it commanded,
// 12.2 and 0.2".
func statesIn(tie []item) []item {
	var out []item
	for _, it := range tie {
		if isSetup(it) {
			out = append(out, it, item{kind: kSep, text: ",", raw: ",", glued: true})
		}
	}
	return out
}

// opens tells that no value goes before in the same clause: the places of "12.4 at 30, 86 and
// 85 are dead" are no one list.
func opens(in []item, i int) bool {
	for j := i - 1; j >= 0 && in[j].kind != kSep; j-- {
		if in[j].kind == kNum || in[j].kind == kPlace || in[j].kind == kConcept && valueWord(in[j]) {
			return false
		}
	}
	return true
}

// listed tells a list of places from one of values.
func listed(list []item) bool { return list[0].kind == kPlace }

// listAt is the list that begins at in[i], and where it ends: places or values, with commas or
// "and" between them.
func listAt(in []item, i int) (list []item, end int) {
	member := func(it item) bool { return it.kind == kPlace && !it.place.pair && len(it.place.spots) > 0 }
	if i < len(in) && !member(in[i]) {
		member = func(it item) bool {
			return it.kind == kNum && it.num.unit.dim != "time" || it.concept == "dead" || it.concept == "nothing"
		}
	}
	for j := i; j < len(in) && member(in[j]); j++ {
		list, end = append(list, eachSpot(in[j])...), j+1
		for j+1 < len(in) && (in[j+1].text == "," || in[j+1].text == "and") {
			j++
		}
	}
	return list, max(end, i)
}

// eachSpot parts "86 and 87" into its two places.
func eachSpot(it item) []item {
	var out []item
	for _, s := range it.place.spots {
		one := it
		one.place = placeRef{spots: []spot{s}}
		out = append(out, one)
	}
	if len(out) < 2 {
		return []item{it}
	}
	return out
}

// ties tells a word that may stand between a list of places and one of values.
func ties(it item) bool {
	return it.kind == kWord && linkWords[it.text] && it.text != "and" && it.text != "to" || it.kind == kSep && (it.text == ":" || it.text == "-") || it.concept == "both" || it.concept == "respectively"
}

// listEnds tells that no place or value goes on where a list ends.
func listEnds(in []item, end int) bool {
	for _, it := range in[min(end, len(in)):] {
		switch {
		case it.kind == kPlace || it.kind == kNum:
			return false
		case it.kind == kSep || it.kind == kConcept:
			return true
		}
	}
	return true
}

var plural = set(`are were have had read show all both`)

// pairOff puts each place beside its value; of one value, beside each of the places that have it
// by a plural verb; nil where they do not pair off.
func pairOff(first, second, between []item) []item {
	places, values := first, second
	if listed(second) {
		places, values = second, first
	}
	if all := slices.ContainsFunc(between, func(it item) bool { return plural[it.text] }); len(values) == 1 && len(places) > 2 && all {
		values = slices.Repeat(values, len(places))
	}
	if len(places) != len(values) {
		return nil
	}
	var out []item
	for i := range places {
		if i > 0 {
			out = append(out, item{kind: kSep, text: ",", raw: ",", glued: true})
		}
		out = append(out, places[i], values[i])
	}
	return out
}
