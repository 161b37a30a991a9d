package words

import (
	"slices"
	"strings"
)

// This file parts one place that was read against both posts of the battery into two readings.

// bothPosts reads "87 was dead to both battery posts" and "87 reads zero to ground and zero to battery
// plus" as a reading of the place to each post, parted by a comma.
func bothPosts(in []item) []item {
	var out []item
	for len(in) > 0 {
		end := slices.IndexFunc(in, func(it item) bool { return it.kind == kSep })
		if end < 0 {
			end = len(in)
		}
		clause, rest := in[:end], in[end:]
		if two := toEachPost(clause); two != nil {
			clause = two
			if at := zerosAgain(rest); at > 0 && hasConcept(two, "dead") {
				rest = rest[at:]
			}
		}
		out, in = append(out, clause...), rest
		if len(in) > 0 {
			out, in = append(out, in[0]), in[1:]
		}
	}
	return out
}

// toEachPost is the clause said twice, once for each post; nil where only one was meant.
func toEachPost(clause []item) []item {
	at := slices.IndexFunc(clause, func(it item) bool { return it.kind == kPlace })
	if at < 0 || onReference(clause[at].place) {
		return nil
	}
	p := clause[at].place
	if len(p.spots) == 1 && !p.black {
		if out := onceForBoth(clause, at); out != nil {
			return out
		}
		return valueForEach(clause, at)
	}
	if p.pair && len(p.spots) == 2 && onReference(placeRef{spots: p.spots[1:]}) {
		return pairAndPost(clause, at)
	}
	return nil
}

// onceForBoth reads one value "to both posts", or "to plus and minus".
func onceForBoth(clause []item, at int) []item {
	for i := at + 1; i < len(clause); i++ {
		if clause[i].text != "to" && clause[i].text != "against" {
			continue
		}
		posts, last := postsAt(clause, i+1)
		if posts == nil {
			return nil
		}
		rest := slices.Delete(slices.Clone(clause), i, last+1)
		if values(rest) != 1 {
			return nil
		}
		return append(append(against(rest, at, posts[0]), comma), against(rest, at, posts[1])...)
	}
	return nil
}

// valueForEach reads "87 zero to ground and zero to battery plus".
func valueForEach(clause []item, at int) []item {
	and := slices.IndexFunc(clause, func(it item) bool { return it.text == "and" })
	if and < at {
		return nil
	}
	first, r1, ok1 := toPost(clause[:and], at+1)
	second, r2, ok2 := toPost(clause[and+1:], 0)
	if !ok1 || !ok2 || !acrossBattery(r1, r2) || values(first) != 1 || values(second) != 1 {
		return nil
	}
	again := append([]item{clause[at]}, second...)
	return append(append(against(first, at, r1), comma), against(again, 0, r2)...)
}

// pairAndPost reads "87 to ground 0 and to battery plus 0" and "87 to plus and minus is 0".
func pairAndPost(clause []item, at int) []item {
	p := clause[at]
	r1 := p.place.spots[1]
	if next := skipFiller(clause, at+2); neighbour(clause, at, 1).text == "and" && next < len(clause) && post(clause[next]) && values(clause) == 1 {
		r2 := clause[next].place.spots[0]
		if !acrossBattery(r1, r2) {
			return nil
		}
		one := slices.Delete(slices.Clone(clause), at+1, next+1)
		return append(append(against(one, at, r1), comma), against(one, at, r2)...)
	}
	and := slices.IndexFunc(clause, func(it item) bool { return it.text == "and" })
	if and < at {
		return nil
	}
	second, r2, ok := toPost(clause[and+1:], 0)
	if !ok || !acrossBattery(r1, r2) || values(clause[:and]) != 1 || values(second) != 1 {
		return nil
	}
	return append(append(slices.Clone(clause[:and]), comma), against(append([]item{p}, second...), 0, r2)...)
}

var comma = item{kind: kSep, text: ",", raw: ","}

// against is the clause with the place at in[at] read against a post.
func against(in []item, at int, black spot) []item {
	out := slices.Clone(in)
	out[at].place = placeRef{spots: []spot{out[at].place.spots[0], black}, pair: true}
	return out
}

// toPost takes the one "to" with a post behind it out of a clause in which no other place is named from the
// given item on.
func toPost(clause []item, from int) (rest []item, at spot, ok bool) {
	for i := from; i < len(clause); i++ {
		j := skipFiller(clause, i+1)
		if clause[i].text != "to" || j >= len(clause) || !post(clause[j]) {
			if clause[i].kind == kPlace {
				return nil, spot{}, false
			}
			continue
		}
		if slices.ContainsFunc(clause[j+1:], func(it item) bool { return it.kind == kPlace }) {
			return nil, spot{}, false
		}
		return slices.Delete(slices.Clone(clause), i, j+1), clause[j].place.spots[0], true
	}
	return nil, spot{}, false
}

// postsAt are both posts of the battery said from in[i] on, and the last item they take.
func postsAt(in []item, i int) (posts []spot, last int) {
	i = skipFiller(in, i)
	if i >= len(in) {
		return nil, 0
	}
	two := ends["battery"]
	if p := in[i].place; in[i].kind == kPlace && len(p.spots) == 2 && !p.pair && acrossBattery(p.spots[0], p.spots[1]) {
		return p.spots, i
	}
	j := skipFiller(in, i+1)
	if in[i].concept != "both" || j >= len(in) {
		return nil, 0
	}
	raw := strings.ToLower(in[j].raw)
	if in[j].concept == "battery" || raw == "posts" || raw == "poles" || raw == "battery posts" {
		if next := neighbour(in, j, 1).text; next == "posts" || next == "poles" || next == "terminals" || next == "sides" || next == "ends" {
			j++
		}
		return two[:], j
	}
	return nil, 0
}

// post tells one place that readings are taken against, or the battery's positive post.
func post(it item) bool {
	return it.kind == kPlace && len(it.place.spots) == 1 && (isPlus(it.place.spots[0]) || onReference(it.place))
}

func isPlus(s spot) bool { return s.abs == "battery.positive" }

// acrossBattery tells that one of two places is the battery's positive post and the other is ground.
func acrossBattery(a, b spot) bool {
	ground := func(s spot) bool { return !isPlus(s) && onReference(placeRef{spots: []spot{s}}) }
	return isPlus(a) && ground(b) || isPlus(b) && ground(a)
}

// values counts the values in a clause.
func values(in []item) int {
	n := 0
	for _, it := range in {
		if it.kind == kNum || it.kind == kConcept && valueWord(it) {
			n++
		}
	}
	return n
}

// zerosAgain is how many items say once more that both were zero: ", zero and zero".
func zerosAgain(rest []item) int {
	if len(rest) < 4 || rest[0].kind != kSep || rest[2].text != "and" || len(rest) > 4 && rest[4].kind != kSep {
		return 0
	}
	zero := func(it item) bool { return it.kind == kNum && it.num.v == 0 || it.concept == "nothing" }
	if !zero(rest[1]) || !zero(rest[3]) {
		return 0
	}
	return 4
}
