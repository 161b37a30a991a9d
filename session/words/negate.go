package words

import (
	"slices"
	"strings"
)

// This file reads denials: of what is seen, of how the vehicle stands.

// negate applies "not" and "no" to what they stand before.
func negate(in []item) []item {
	in = slices.Clone(in)
	var out []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		if it.concept == "nothing" && strings.HasPrefix(neighbour(in, i, 1).concept, "command_") && !when[firstWord(in[i+1].raw)] && negated(&in[i+1], false) {
			continue // "nothing switched on"
		}
		if it.concept == "nothing" && damage[neighbour(in, i, 1).concept] && !strings.Contains(in[i+1].raw, " ") {
			out = append(out, item{kind: kConcept, concept: "sound", text: "sound", raw: it.raw + " " + in[i+1].raw}) // "nothing burnt"
			i++
			continue
		}
		if it.concept == "no" && neighbour(in, i, 1).concept == "load" && !strings.Contains(in[i+1].raw, "load") && (ended(neighbour(in, i, 2)) || ofWhichVehicle(in, i+2)) {
			out = append(out, item{kind: kConcept, concept: "off", text: "off", raw: it.raw + " " + in[i+1].raw}) // "no fan"
			i++
			continue
		}
		if it.concept == "not" || it.concept == "no" && strings.EqualFold(it.raw, "no") {
			j := i + 1
			most := i + 3
			if strings.EqualFold(it.raw, "neither") {
				most = i + 5 // "neither of the two horns makes a sound"
			}
			for j < len(in) && j <= most && (in[j].kind == kWord || in[j].concept == "relay" || in[j].concept == "load") && !linkPrep(in[j].text) && !(it.concept == "no" && linkWords[in[j].text]) {
				j++
			}
			if j < len(in) && negated(&in[j], it.concept == "no" && j > i+1) {
				in[j].raw = it.raw + " " + in[j].raw
				in[i+1].so, in[i+1].but = in[i+1].so || it.so, in[i+1].but || it.but
				continue
			}
			if n := len(out) - 1; it.concept == "not" && i+1 == len(in) && n >= 0 && concepts[out[n].concept] == gOutcome && negated(&out[n], false) {
				continue // "it turns not"
			}
			if o := trailing(in, i); o != "" {
				it.concept, it.text = o, o
			}
		}
		out = append(out, it)
	}
	return out
}

// ofWhichVehicle tells that a vehicle or a moment is named next and nothing that was read: "no horn on
// this van", "no fan since Monday".
func ofWhichVehicle(in []item, i int) bool {
	switch neighbour(in, i, 0).text {
	case "since", "today", "now", "again", "anymore", "any":
		return true
	case "on", "in", "for":
		next := neighbour(in, i, 1)
		return (determiners[next.text] || next.text == "a" || next.text == "an") && !slices.ContainsFunc(in[i:], func(it item) bool { return it.kind == kPlace || it.kind == kNum })
	}
	return false
}

// damage is what a part may show that is looked at.
var damage = set(`burnt corroded loose wet blown`)

// trailing is what a denial at the end denies of what was seen before it: "left one works
// right one doesn't".
func trailing(in []item, i int) string {
	if i+1 < len(in) || in[i].concept != "not" {
		return ""
	}
	for j := i - 2; j >= 0; j-- {
		if o := opposite[in[j].concept]; o != "" && concepts[in[j].concept] == gOutcome {
			return o
		}
	}
	return ""
}

func linkPrep(w string) bool { return w == "at" || w == "to" || w == "from" }

func negated(it *item, far bool) bool {
	if it.kind == kNum && !far {
		it.num.negated = true
		return true
	}
	o, ok := opposite[it.concept]
	if it.kind == kConcept && !ok && concepts[it.concept] == gSetup {
		o, ok = "unkept_state", true // "the load isn't unplugged": what is it then?
	}
	if !ok || it.kind != kConcept {
		return false
	}
	if o == "" {
		o = "unclear"
	}
	it.concept, it.text = o, o
	return true
}

// denied are words beside a denial, with what both say together; in dialect "don't hear nothing"
// denies once.
var denied = map[string]string{"any": "no", "anything": "nothing", "nothing": "nothing"}

// deniedAny reads "not getting anything" as nothing, and "doesn't make any noise" as no
// noise, where that is a saying.
func (r *Reader) deniedAny(in []item) (end *node, took int) {
	if len(in) == 0 || in[0].kind != kWord || !denials[in[0].text] && !slices.Contains(doDenials, in[0].text) {
		return nil, 0
	}
	for i := 1; i <= 3 && i < len(in) && in[i].kind == kWord; i++ {
		none := denied[in[i].text]
		if none == "" {
			continue
		}
		said := append([]item{{kind: kWord, text: none, raw: none}}, in[i+1:]...)
		if end, n, _ := r.longest(said); n > 0 && (none == "nothing" || n > 1) && end.concept != "no" {
			return end, i + n
		}
		return nil, 0
	}
	return nil, 0
}

// without are words that say, before a tool, that it is not at hand; lackWords may stand
// between them and it.
var (
	without   = set(`no not havent hasnt dont didnt aint without lost left forgot`)
	lackWords = set(`no not havent hasnt dont didnt aint without lost left forgot i ive have got do own any a an the my brought bring`)
)

// lacking reads "not got a spare" as "no spare", where that tells of a tool.
func (r *Reader) lacking(in []item) (end *node, took int) {
	denied := false
	for i := 0; i < 5 && i+1 < len(in) && in[i].kind == kWord && lackWords[in[i].text]; i++ {
		denied = denied || without[in[i].text]
		if !denied {
			continue
		}
		end, n, _ := r.longest(append([]item{{kind: kWord, text: "no", raw: "no"}}, in[i+1:]...))
		if n > 1 && strings.HasPrefix(strings.Join(append(slices.Clone(end.facts), end.concept), " "), "has_") {
			return end, i + n
		}
	}
	return nil, 0
}
