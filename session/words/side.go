package words

import (
	"slices"
	"strings"
)

// This file joins a side or an end and what it is of.

// prefixes joins "socket 86", "86 in the socket" and "86 on the relay".
func (c *call) prefixes(in []item) []item {
	var out []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		if p := prefixOf(it); p != "" {
			j := skipFiller(in, i+1)
			if j < len(in) && in[j].kind == kPlace && in[j].place.spots[0].prefix == "" {
				in[j].place.spots[0].prefix = p
				if p != "back" { // "backprobed" also tells the relay is in
					i = j - 1
					continue
				}
			}
			c.prefix = p
		}
		out = append(out, it)
	}
	return out
}

func prefixOf(it item) string {
	switch it.concept {
	case "socket":
		return "socket"
	case "backprobe":
		return "back"
	case "blade":
		return "relay"
	}
	return ""
}

// sidesOf joins a side and its element, in either order.
func (c *call) sidesOf(in []item) []item {
	var out []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		if p, j, ok := c.shortSide(in, i); ok {
			out, i = append(out, asPlace(it, in[j], p)), j
			continue
		}
		if p, j, ok := c.otherEnd(out, in, i); ok {
			out, i = append(out, asPlace(it, in[j], p)), j
			continue
		}
		if p, drop, j, ok := c.feedDrop(in, i); ok {
			out, i = append(out, p, drop), j
			continue
		}
		if p, drop, j, ok := c.dropOf(in, i); ok {
			out, i = append(out, p, drop), j
			continue
		}
		j := skipFiller(in, i+1)
		if j < len(in) {
			if p, ok := c.side(it.concept, in[j].concept); ok && !(it.concept == "between" && andNext(in[j+1:])) {
				out, i = append(out, asPlace(it, in[j], p)), j
				continue
			}
			if p, ok := c.side(in[j].concept, it.concept); ok && in[j].concept != "across" && in[j].concept != "between" {
				out, i = append(out, asPlace(it, in[j], p)), j
				continue
			}
		}
		out = append(out, it)
	}
	return out
}

// dropOf reads "contact drop", "contact voltage drop" and "drop on the contacts" as the two ends of what the drop is
// over, and the drop; last is where they end.
func (c *call) dropOf(in []item, i int) (over, drop item, last int, ok bool) {
	j := skipFiller(in, i+1)
	if j < len(in) && in[j].kind == kWord && in[j].text == "over" {
		j = skipFiller(in, j+1)
	}
	if j >= len(in) {
		return item{}, item{}, 0, false
	}
	over, drop = in[i], in[j]
	if over.concept == "drop" {
		over, drop = drop, over
	}
	raw := strings.ToLower(drop.raw)
	if drop.concept != "drop" || over.concept == "battery" || raw != "drop" && !strings.HasSuffix(raw, " drop") {
		return item{}, item{}, 0, false // a battery that drops is one that sags
	}
	p, ok := c.side("across", over.concept)
	return item{kind: kPlace, raw: over.raw, glued: over.glued, place: p}, drop, j, ok
}

// andNext tells that another place is joined on: "between the motor's plug and the battery".
func andNext(rest []item) bool {
	and := slices.IndexFunc(rest, func(it item) bool { return it.text == "and" || it.kind == kSep || it.kind == kNum })
	return and >= 0 && rest[and].text == "and"
}

// shortSide reads "load out" and "load.out" as one end of the load, where it
// stands like a place: "fuse out" may also say that the fuse is pulled.
func (c *call) shortSide(in []item, i int) (p placeRef, last int, ok bool) {
	j := i + 1
	dotted := j < len(in) && in[j].kind == kSep && in[j].text == "." && in[j].glued && j+1 < len(in) && in[j+1].glued
	if dotted {
		j++
	}
	if end := in[i]; end.kind == kWord && (end.text == "in" || end.text == "out") && (neighbour(in, i, -1).kind == kNum || valueWord(neighbour(in, i, -1))) && ended(neighbour(in, i, 1)) {
		of := firstText(c.last, c.expectedElement())
		if of == "load" && neighbour(in, i, -1).kind != kNum {
			return placeRef{spots: []spot{{part: of, ask: sideUnsaid}}}, i, true // "nothing out" of a load is not said of its ground
		}
		p, ok = c.side(end.text+"_side", of) // "12.5 at the fuse in, 12.4 out"
		return p, i, ok
	}
	if j >= len(in) || in[j].kind != kWord || in[j].text != "in" && in[j].text != "out" {
		return placeRef{}, 0, false
	}
	prev, next := placeWordBefore(in, i), neighbour(in, j, 1)
	if !dotted && !preps[prev.text] && !preps[next.text] && !verbs[next.text] && next.kind != kNum && prev.kind != kNum {
		return placeRef{}, 0, false
	}
	p, ok = c.side(in[j].text+"_side", in[i].concept)
	return p, j, ok
}

// placeWordBefore is the word before in[i], articles left out.
func placeWordBefore(in []item, i int) item {
	i--
	for i >= 0 && in[i].kind == kWord && (in[i].text == "the" || in[i].text == "my") {
		i--
	}
	return neighbour(in, i, 0)
}

func asPlace(a, b item, p placeRef) item {
	return item{kind: kPlace, raw: a.raw + " " + b.raw, glued: a.glued, place: p}
}

// side is the place that a side of an element names.
func (c *call) side(side, element string) (placeRef, bool) {
	if element == "fuse" {
		element = c.whichFuse()
	}
	two, ok := ends[element]
	if element == "fuse" {
		two, ok = [2]spot{{part: "fuse"}, {part: "fuse"}}, true
		for i := range two {
			two[i].ask = "there are two fuses, the load's and the coil's"
		}
	}
	if !ok {
		return placeRef{}, false
	}
	if element == "coil" {
		two = c.coilEnds()
	}
	c.last = element
	switch side {
	case "in_side":
		return placeRef{spots: two[:1]}, true
	case "out_side":
		return placeRef{spots: two[1:]}, true
	case "one_side":
		return placeRef{spots: []spot{{part: element, ask: "which side was not said"}}}, true
	case "both_sides":
		return placeRef{spots: two[:]}, true
	case "across", "between":
		return placeRef{spots: two[:], pair: true}, true
	}
	return placeRef{}, false
}

// expectedElement is the element whose end the expected test reads, or "".
func (c *call) expectedElement() string {
	if c.ctx.Expected == nil {
		return ""
	}
	for _, p := range expectedSpots(c.ctx.Expected.Measure) {
		if r := role(p); r == "85" || r == "86" {
			return "coil"
		}
		if el, _, _ := strings.Cut(p, "."); ends[el] != [2]spot{} {
			return el
		}
	}
	return ""
}

// coilEnds are the coil's terminals, the one toward the supply first.
func (c *call) coilEnds() [2]spot {
	if c.ctx.CoilPositive == "85" {
		return [2]spot{{role: "85"}, {role: "86"}}
	}
	return ends["coil"]
}

// whichFuse is the fuse that the test asked for is about, or "fuse".
func (c *call) whichFuse() string {
	if e := c.ctx.Expected; e != nil && !c.fuseNamed {
		for _, p := range []string{e.Measure.Red, e.Measure.Black, e.Measure.At} {
			for _, f := range []string{"feed_fuse", "coil_fuse"} {
				if p == f || len(p) > len(f) && p[:len(f)+1] == f+"." {
					return f
				}
			}
		}
	}
	return "fuse"
}
