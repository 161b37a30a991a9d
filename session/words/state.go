package words

import (
	"slices"
	"strings"
)

// beingWords may stand between a thing and the state it is in: "the key was still on".
var beingWords = set(`is 's was were been being are now still just already also again back then got left`)

// denials among them turn the state round: "the relay wasn't in".
var denials = set(`not isnt wasnt arent werent aint never`)

// state finds a state of the vehicle that in begins with, said with words of being between
// the thing and how it stands, of which no saying need speak. not tells that it was denied.
func (r *Reader) state(in []item) (end *node, took int, not bool) {
	if len(in) == 0 || r.root.next[in[0].text] == nil {
		return nil, 0, false
	}
	for thing := 1; thing <= 3 && thing < len(in) && in[thing-1].kind == kWord; thing++ {
		if end, took, not = r.stateOf(in, thing); took > 0 {
			return end, took, not
		}
	}
	return nil, 0, false
}

// stateOf is state for a thing named in so many words.
func (r *Reader) stateOf(in []item, thing int) (end *node, took int, not bool) {
	skip := thing
	for skip < len(in) && skip < thing+3 && in[skip].kind == kWord && (beingWords[in[skip].text] || denials[in[skip].text]) {
		not = not || denials[in[skip].text]
		skip++
	}
	if skip == thing {
		return nil, 0, false
	}
	end, n, _ := r.longest(slices.Concat(in[:thing], in[skip:min(skip+3, len(in))])) // a state has few words
	if n <= thing || r.cutsFact(end, in, n+skip-thing) || concepts[end.concept] != gSetup || not && opposite[end.concept] == "" {
		return nil, 0, false
	}
	return end, n + skip - thing, not
}

// itsState takes "with it off" for the key, where it was the key that was spoken of: "12.4
// with the key on and 0 with it off".
func itsState(in []item) []item {
	key := false
	for i, it := range in {
		state, ofSwitch := strings.CutPrefix(it.concept, "command_")
		switch {
		case strings.HasPrefix(it.concept, "key_"):
			key = true
		case ofSwitch && key && strings.EqualFold(it.raw, "with it "+state):
			in[i].concept, in[i].text = "key_"+state, "key_"+state
		case ofSwitch:
			key = false
		}
	}
	return in
}

// neighbours takes "with the blower and lights on", where one of them is no load of the
// job's kind, for other loads that were on; with loads of its kind alone, for the load under way.
func (c *call) neighbours(in []item) []item {
	for i := range in {
		if in[i].text != "with" {
			continue
		}
		j := i + 1
		for j < len(in) && (in[j].concept == "load" || in[j].text == "the" || in[j].text == "and" || in[j].text == "both") {
			j++
		}
		on := j < len(in) && (in[j].text == "on" || in[j].concept == "runs" && strings.HasSuffix(in[j].raw, " on"))
		if !on || c.ctx.LoadKind == "" || !hasConcept(in[i:j], "load") {
			continue
		}
		state, said := "loaded", rawOf(in[i:j+1])
		if c.otherKind(said) != "" {
			state = "neighbours_on"
		}
		return slices.Replace(slices.Clone(in), i, j+1, item{kind: kConcept, concept: state, text: state, raw: said})
	}
	return in
}
