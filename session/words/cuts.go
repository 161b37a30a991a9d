package words

import (
	"slices"
	"strings"
)

// This file tells sayings that would cut a longer name or fact that begins within them.

// onTheThing tells "on the trailer", a place, from "comes on the moment I switch it on".
func onTheThing(in []item) bool {
	return in[0].text == "on" && (in[1].text == "the" || in[1].text == "my" || in[1].text == "our") && len(in) > 2 && !moments[in[2].text]
}

var moments = set(`moment second minute instant first whole other key ignition switch`)

// onPart tells "dead on the load side" from "dead on, 12.4": a part or a side is named next.
func (r *Reader) onPart(in []item) bool {
	if len(in) > 1 && in[0].text == "on" && (in[1].text == "this" || in[1].text == "that") {
		return true // "dead on this coach"
	}
	if len(in) < 3 || !onTheThing(in) {
		return false
	}
	n, _, _ := r.longest(in[2:])
	return n != nil && (concepts[n.concept] == gPlace || concepts[n.concept] == gSide)
}

// startsPart tells that a part of more words than one is named: a saying that ends in the
// first of them would cut it, as "supply side of the coil" the coil fuse.
func (r *Reader) startsPart(in []item) bool {
	n, took, _ := r.longest(in)
	return took > 1 && concepts[n.concept] == gPlace
}

// cutsFact tells that a state of so many words would cut a fact that begins within it: "the
// relay's in the cab", "it's switched on the earth side".
func (r *Reader) cutsFact(state *node, in []item, words int) bool {
	if concepts[state.concept] != gSetup {
		return false
	}
	for i := 1; i < words; i++ {
		n, took, _ := r.longest(in[i:])
		if i+took > words && slices.ContainsFunc(n.facts, ofRelayItself) {
			return true
		}
	}
	return false
}

// ofRelayItself tells a fact of where the relay is, or of what switches it.
func ofRelayItself(fact string) bool {
	return strings.HasPrefix(fact, "mounting=") || strings.HasPrefix(fact, "control_side=")
}
