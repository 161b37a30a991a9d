package words

import (
	"slices"
	"strings"
)

// This file reads the many names a load goes by: what kind of pump or light it is, the
// switch called after it, and "the work lights are on".

// controls are what a load is switched by, called after it: "the horn button".
var controls = set(`button switch rocker lever pedal`)

// ownSwitch takes the load's name off its switch: "the horn button" is the button.
func (r *Reader) ownSwitch(in []item) []item {
	var out []item
	for i := 0; i < len(in); i++ {
		n, took, _ := r.longest(in[i:])
		if took > 0 && n.concept == "load" && controls[neighbour(in, i+took-1, 1).text] {
			i += took - 1
			continue
		}
		out = append(out, in[i])
	}
	return out
}

// fullNames joins a word that means nothing here to the load it stands before: "bilge
// pump", "deck lights"; and to a load its own coil: "the clutch coil" is no relay's.
func (r *Reader) fullNames(in []item) []item {
	var out []item
	for i, it := range in {
		if n := len(out); n > 0 && it.concept == "coil" && out[n-1].concept == "load" {
			out[n-1].raw += " " + it.raw
			continue
		}
		if n := len(out); n > 0 && it.concept == "load" && out[n-1].kind == kWord && !r.known(out[n-1].text) && isWord(out[n-1].text) && out[n-1].text != badNumber {
			it.raw, it.glued = out[n-1].raw+" "+it.raw, out[n-1].glued
			out[n-1] = it
			continue
		}
		out = append(out, in[i])
	}
	return out
}

// loadStates takes "the work lights are on" for a load that runs, and "both lamps are out"
// for one that does not, where it is said of the load and not of when something was read.
func loadStates(in []item) []item {
	for i := 0; i < len(in); i++ {
		if in[i].concept != "load" || when[placeWordBefore(in, i).text] {
			continue
		}
		state, end, said := loadState(in, i)
		if said {
			in = slices.Replace(slices.Clone(in), i+1, end+1, item{kind: kConcept, concept: state, text: state, raw: rawOf(in[i+1 : end+1])})
		}
	}
	return in
}

// switchedToo takes "with the relay in and on", where one state was said before it, for
// switched on, and "with the relay in and the fan on" for the load under way.
func switchedToo(in []item) []item {
	for i := 2; i < len(in); i++ {
		if on, last := onAgain(in, i); on != "" {
			in = slices.Replace(slices.Clone(in), i-2, last+1, item{kind: kConcept, concept: on, text: on, raw: rawOf(in[i-2 : last+1])})
			i -= 2
			continue
		}
		if start := loadOnToo(in, i); start > 0 {
			in = slices.Replace(slices.Clone(in), start, i+1, item{kind: kConcept, concept: "loaded", text: "loaded", raw: rawOf(in[start : i+1])})
			continue
		}
		if w := in[i].text; w == "on" && in[i].kind == kWord && in[i-1].text == "and" && isSetup(in[i-2]) && !strings.HasSuffix(in[i-2].raw, "on") && ended(neighbour(in, i, 1)) {
			in[i] = item{kind: kConcept, concept: "command_on", text: "command_on", raw: in[i].raw}
		}
	}
	return in
}

// onAgain is the state of what was turned off "and back on", and where it is said; "" for none.
func onAgain(in []item, i int) (state string, last int) {
	if thing, on := strings.CutSuffix(in[i-2].concept, "_on"); on && in[i-1].text == "then" && strings.EqualFold(in[i].raw, "off") && ended(neighbour(in, i, 1)) && !hasNumber(in) && concepts[thing+"_off"] == gSetup {
		return thing + "_off", i // "key on then off"
	}
	thing, off := strings.CutSuffix(in[i-2].concept, "_off")
	if !off || in[i-1].text != "and" || concepts[thing+"_on"] != gSetup {
		return "", i
	}
	switch {
	case in[i].concept == "runs" && (strings.EqualFold(in[i].raw, "back on") || strings.EqualFold(in[i].raw, "on again")):
		return thing + "_on", i
	case in[i].text == "on" && neighbour(in, i, 1).text == "again", in[i].text == "back" && neighbour(in, i, 1).text == "on":
		return thing + "_on", i + 1
	}
	return "", i
}

// loadOnToo is where "the fan on" begins that ends at in[i], after a state and an "and"; 0 for nowhere.
func loadOnToo(in []item, i int) int {
	start := i - 1
	if in[i].text != "on" || in[start].concept != "load" || !ended(neighbour(in, i, 1)) {
		return 0
	}
	if in[start-1].text == "the" {
		start--
	}
	if start > 1 && in[start-1].text == "and" && isSetup(in[start-2]) {
		return start
	}
	return 0
}

// offThenOn takes "12.1 off, 0.2 on" for two numbers, each with the state of the switch it
// was read in.
func offThenOn(in []item) []item {
	var at []int
	for i := 1; i < len(in); i++ {
		if w := strings.ToLower(in[i].raw); (w == "on" || w == "off") && in[i-1].kind == kNum && (ended(neighbour(in, i, 1)) || neighbour(in, i, 1).text == "then") {
			at = append(at, i)
		}
	}
	if len(at) != 2 || strings.EqualFold(in[at[0]].raw, in[at[1]].raw) {
		return in
	}
	for _, i := range at {
		concept := "command_" + strings.ToLower(in[i].raw)
		in[i] = item{kind: kConcept, concept: concept, text: concept, raw: in[i].raw}
	}
	return in
}

// loadDid takes a verb at the end of a clause, in whatever form, for what the load named
// before it did: "the fan turned".
func (r *Reader) loadDid(in []item) []item {
	for i, it := range in {
		if it.kind != kWord || !afterLoad(in, i) || neighbour(in, i, 1).kind != kSep {
			continue
		}
		for _, form := range verbForms[it.text] {
			if n := r.root.next[form]; n != nil && concepts[n.concept] == gOutcome {
				in[i].kind, in[i].concept, in[i].text = kConcept, n.concept, n.concept
				break
			}
		}
	}
	return in
}

// fuseEnds are verbs of how a fuse ends.
var fuseEnds = set(`blow blows blew blowing pop pops popped popping melt melts`)

// fuseDid takes "the fuel pump fuse keeps blowing" for a fuse that goes: of a fan it would
// be said that it runs on.
func fuseDid(in []item) []item {
	for i, it := range in {
		if !ofAFuse[it.concept] {
			continue
		}
		j := i + 1
		if in[min(j, len(in)-1)].kind == kNum && j+1 < len(in) && in[j+1].kind != kSep {
			j++ // "fuse 12 keeps blowing"
		}
		for j < len(in) && (in[j].kind == kWord && (perfect[in[j].text] || degrees[in[j].text] || in[j].text == "always" || in[j].text == "'s")) {
			j++
		}
		if j == len(in) || in[j].kind == kNum {
			continue
		}
		said := strings.Fields(strings.ToLower(in[j].raw))
		if n := len(said); n == 1 && fuseEnds[said[0]] || n > 1 && strings.HasPrefix(said[0], "keep") && fuseEnds[said[n-1]] {
			in[j] = item{kind: kConcept, concept: "trips", text: "trips", raw: in[j].raw}
		}
	}
	return in
}

var ofAFuse = set(`fuse feed_fuse coil_fuse`)

// pluggedLoad takes "the fan's not plugged in" for a load unplugged, and "the fan's plugged in" for
// one that is not: of the relay they say nothing.
func pluggedLoad(in []item) []item {
	for i, it := range in {
		if it.concept != "relay_in" || !strings.HasPrefix(strings.ToLower(it.raw), "plugged") {
			continue
		}
		denied, j := false, i-1
		for j > 0 && (in[j].concept == "not" || in[j].kind == kWord && being[in[j].text]) {
			denied = denied || in[j].concept == "not"
			j--
		}
		if j < 0 || in[j].concept != "load" {
			continue
		}
		state := "load_plugged"
		if denied {
			state = "load_unplugged"
		}
		return slices.Replace(slices.Clone(in), j+1, i+1, item{kind: kConcept, concept: state, text: state, raw: rawOf(in[j+1 : i+1])})
	}
	return in
}

// when are words after which a state tells when something was read.
var when = set(`with when while whilst if once until till unless after before without`)

// being are words between a load and how it is.
var being = set(`is are 's was were re now still both all stay stays stayed come comes came go goes went`)

// loadState reads how the load at in[i] is said to be: on, off or out.
func loadState(in []item, i int) (state string, end int, said bool) {
	denied, verb := false, false
	for j := i + 1; j < len(in); j++ {
		switch it := in[j]; {
		case it.concept == "not":
			denied, verb = true, true
		case it.kind == kWord && being[it.text]:
			verb = verb || it.text != "both" && it.text != "all" && it.text != "now" && it.text != "still"
		default:
			next := neighbour(in, j, 1)
			on := it.text == "on" && it.kind == kWord || it.text == "going" && ended(next)
			out := it.text == "out" && it.kind == kWord && slices.Contains(in[i].facts, "load_kind=lamp") || it.concept == "off" && strings.EqualFold(it.raw, "off")
			if !verb || !on && !out || next.kind == kNum || next.text == "the" || next.text == "a" {
				return "", 0, false
			}
			if on != denied {
				return "runs", j, true
			}
			return "off", j, true
		}
	}
	return "", 0, false
}
