package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// counts tells "2 wires" and "one lamp" from a reading.
func counts(in []item, i int) bool {
	n, next := in[i].num, neighbour(in, i, 1)
	if !n.whole() || n.v < 1 || n.v > 20 || in[i].num.joined[0] != "" {
		return false
	}
	if next.kind == kWord && parts[next.text] || ofSeveral(in, i) {
		return true // "there are five pins"
	}
	read := i > 0 && verbs[in[i-1].text]
	switch next.concept {
	case "load", "fuse", "relay", "feed_fuse", "coil_fuse", "click":
		return n.word && n.v == 1 && !read || strings.HasSuffix(strings.ToLower(next.raw), "s")
	}
	if read {
		return false
	}
	return next.kind == kWord && (countable[next.text] || n.word && n.v == 1 && countable[next.text+"s"])
}

// ofSeveral tells "two of them are blown", "two are blown" and "there are two" from a reading.
func ofSeveral(in []item, i int) bool {
	next, after, before := neighbour(in, i, 1), neighbour(in, i, 2), neighbour(in, i, -1)
	switch {
	case next.text == "of":
		return after.text == "them" || after.text == "those" || after.text == "these" || after.text == "us" || after.text == "the" && (neighbour(in, i, 3).kind == kNum || parts[neighbour(in, i, 3).text])
	case next.text == "are" || next.text == "were":
		return true
	}
	return before.text == "are" && neighbour(in, i, -2).text == "there" && in[i].num.v < 6 && in[i].num.unit.dim == "" && ended(next)
}

var parts = set(`wires pins terminals connectors plugs leads clips bolts screws blades legs contacts`)

var countable = set(`wires relays fuses lamps bulbs pins terminals tests tries times connectors plugs leads clips bolts screws
	trucks vans people guys lads figures others things readings meters switches`)

// howOften takes "one time in three", "nine times out of ten" for what comes and goes.
func howOften(in []item) []item {
	for i, it := range in {
		j := i + 1
		times := it.num.unit.dim == "times"
		if neighbour(in, j, 0).text == "time" || neighbour(in, j, 0).text == "times" {
			times = true
			j++
		}
		of := neighbour(in, j, 0)
		times = times || it.text == "1" && it.num.word && neighbour(in, i, 2).num.word // "one in three"
		if it.kind != kNum || !times || of.text != "in" && !strings.EqualFold(of.raw, "out of") || neighbour(in, j, 1).kind != kNum {
			continue
		}
		often := item{kind: kConcept, concept: "comes_and_goes", text: "comes_and_goes", raw: rawOf(in[i : j+2])}
		return slices.Replace(slices.Clone(in), i, j+2, often)
	}
	return in
}

// minutes takes "give me five" for minutes, and "two ticks" for a moment, unless it is
// listened for ticks.
func (c *call) minutes(in []item) []item {
	for i, it := range in {
		if it.kind == kNum && it.num.whole() && i == 2 && in[0].text == "back" && (in[1].text == "at" || in[1].text == "by") {
			in[i].num.odd = "“" + rawOf(in[:3]) + "” may be a time"
		}
		if it.kind == kNum && it.num.whole() && neighbour(in, i, -1).text == "in" && neighbour(in, i, -2).text == "back" && ended(neighbour(in, i, 1)) && !slices.ContainsFunc(in[:i], func(it item) bool { return it.kind == kNum }) {
			in[i].num.unit = unitNames["minutes"] // "back in five"
		}
		if it.kind == kNum && it.num.v == 2 && neighbour(in, i, 1).text == "ticks" && !c.expects(rules.Listen) {
			in[i].num.unit = unitNames["seconds"]
			return slices.Delete(in, i+1, i+2)
		}
		given := neighbour(in, i, -1).text == "me" || neighbour(in, i, -1).text == "us"
		if it.kind == kNum && it.num.whole() && given && neighbour(in, i, -2).text == "give" && ended(neighbour(in, i, 1)) {
			in[i].num.unit = unitNames["minutes"]
		}
	}
	return in
}

// labels tells "fuse 12", a name, from a reading.
func labels(in []item, i int) bool {
	if i == 0 || !in[i].num.whole() || in[i].num.word && in[i].num.joined[0] != "" {
		return false
	}
	switch in[i-1].concept {
	case "load", "fuse", "relay", "feed_fuse", "control", "colour":
		return true
	case "socket":
		return strings.EqualFold(in[i-1].raw, "cavity") || strings.EqualFold(in[i-1].raw, "slot")
	}
	return in[i-1].kind == kWord && named[in[i-1].text]
}

var named = set(`page test slot bay way gauge version step job unit truck van bus tractor bay room row line mode range type model stage position
	number cylinder bank gear ext extension bin box channel option choice plan question entry item`)

// number files the number at in[i] as a value, unless it counts, names or sizes
// something, or is a time.
func (c *call) number(base *frame, in []item, i int) []symbol {
	it := in[i]
	if counts(in, i) {
		base.beside = append(base.beside, it.raw)
		if ofSeveral(in, i) {
			base.strays = append(base.strays, it.raw) // "three of them show 12"
		}
		c.settled(it)
		return nil
	}
	if labels(in, i) && it.num.odd == "" {
		it.num.odd = "“" + in[i-1].raw + " " + it.raw + "” could be a name"
		it.num.name = true
	}
	base.span = base.span || spans(in, i)
	switch it.num.unit.dim {
	case "rating":
		c.settled(it)
		return nil
	case "time", "times", "watt", "hertz", "bar", "rpm", "metre", "percent":
		base.unknown = append(base.unknown, it.raw)
		base.strays = append(base.strays, it.raw)
		c.settled(it)
		return nil
	}
	if it.num.negated {
		base.beside = append(base.beside, "not "+it.raw)
		c.settled(it)
		return nil
	}
	return []symbol{{false, it}}
}

// spans tells whether the number at in[i] begins a range.
func spans(in []item, i int) bool {
	if neighbour(in, i, 2).kind != kNum {
		return false
	}
	if tie := neighbour(in, i, 1); tie.concept == "aside" && strings.HasSuffix(strings.ToLower(tie.raw), " to") {
		return true // "12.5 down to 9"
	}
	switch neighbour(in, i, 1).text {
	case "to", "and", "-", "max", "high", "up", "until", "till":
		return true
	}
	return false
}
