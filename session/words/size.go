package words

import "strings"

// counts tells "2 wires" and "one lamp" from a reading.
func counts(in []item, i int) bool {
	n, next := in[i].num, neighbour(in, i, 1)
	if !n.whole() || n.v < 1 || n.v > 20 || in[i].num.joined[0] != "" || i > 0 && verbs[in[i-1].text] {
		return false
	}
	switch next.concept {
	case "load", "fuse", "relay", "feed_fuse", "coil_fuse":
		return n.word && n.v == 1 || strings.HasSuffix(strings.ToLower(next.raw), "s")
	}
	return next.kind == kWord && (countable[next.text] || n.word && n.v == 1 && countable[next.text+"s"])
}

var countable = set(`wires relays fuses lamps bulbs pins terminals tests tries times connectors plugs leads clips bolts screws
	trucks vans people guys lads others things readings meters switches`)

// labels tells "fuse 12", a name, from a reading.
func labels(in []item, i int) bool {
	if i == 0 || !in[i].num.whole() || in[i].num.word && in[i].num.joined[0] != "" {
		return false
	}
	switch in[i-1].concept {
	case "load", "fuse", "relay", "feed_fuse", "control", "colour":
		return true
	}
	return in[i-1].kind == kWord && named[in[i-1].text]
}

var named = set(`page slot bay way gauge version step job unit truck van bus tractor bay room row line mode range type model stage position
	number cylinder bank gear ext extension bin box channel`)

// number files the number at in[i] as a value, unless it counts, names or sizes
// something, or is a time.
func (c *call) number(base *frame, in []item, i int) []symbol {
	it := in[i]
	if counts(in, i) {
		base.beside = append(base.beside, it.raw)
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
	case "to", "and", "-", "max", "high", "up":
		return true
	}
	return false
}
