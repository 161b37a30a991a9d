package words

import (
	"slices"
	"strings"
)

// twoEnded are the parts of which a reading at one end calls the other "the other side".
var twoEnded = []string{"feed_fuse", "coil_fuse", "control", "load", "battery"}

// otherEnd reads "the other side" and "the other end of the fuse" as the end of a part that is not the
// one named before in the utterance or, where none was, read last. last is the place in in of its last word.
func (c *call) otherEnd(before, in []item, i int) (p placeRef, last int, ok bool) {
	next := neighbour(in, i, 1)
	if side := slices.Index([]string{"in", "out"}, in[i].text); side >= 0 && next.kind == kNum && neighbour(in, i, -1).kind == kSep {
		if part, end, earlier, ok := c.endBefore(before); ok && !earlier && end != side {
			return placeRef{spots: []spot{ends[part][side]}}, i, true // "fuse in 12.6, out 12.5"
		}
	}
	if in[i].text != "other" || !strings.EqualFold(next.raw, "side") && !strings.EqualFold(next.raw, "end") {
		return placeRef{}, 0, false
	}
	part, end, earlier, ok := c.endBefore(before)
	if !ok {
		return placeRef{}, 0, false
	}
	last = i + 1
	if j := skipFiller(in, last+1); j < len(in) && in[j].concept != "" && concepts[in[j].concept] == gPlace {
		if in[j].concept != part && !(in[j].concept == "fuse" && (part == "feed_fuse" || part == "coil_fuse")) {
			return placeRef{}, 0, false // "the other side of the relay", after a fuse
		}
		last = j
	} else if j < len(in) && in[j].kind == kWord && atPart[in[j].text] {
		last = j // "the other side of the plug", which is that part's
	}
	return placeRef{spots: []spot{ends[part][1-end]}, other: earlier}, last, true
}

// atPart are names of what is at either end of a part.
var atPart = set(`plug connector holder`)

// endBefore is the part whose end was named before or, where no place was, read earlier, last of all and
// to the battery's negative; and which of its ends that was.
func (c *call) endBefore(before []item) (part string, end int, earlier, ok bool) {
	for _, it := range slices.Backward(before) {
		if it.kind == kPlace {
			if it.place.pair || len(it.place.spots) != 1 {
				return "", 0, false, false
			}
			part, end, ok = endOf(it.place.spots[0].abs)
			return part, end, false, ok
		}
	}
	i := c.lastReading()
	if i < 0 || c.ctx.Last[i].Measure.Black != "battery.negative" {
		return "", 0, false, false
	}
	part, end, ok = endOf(c.ctx.Last[i].Measure.Red)
	return part, end, true, ok
}

// endOf finds the part that has an end at a place.
func endOf(place string) (part string, end int, ok bool) {
	for _, part := range twoEnded {
		two := ends[part]
		if end := slices.Index(two[:], spot{abs: place}); end >= 0 {
			return part, end, true
		}
	}
	return "", 0, false
}

// likeLast tells that something was read in the state of the reading before it.
func (f *frame) likeLast() bool {
	return f.also || slices.ContainsFunc(f.places, func(p placeRef) bool { return p.other })
}
