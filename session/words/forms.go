package words

import (
	"slices"
	"strings"
)

// This file tells which forms of a word stand for one of a saying.

// pinCount is the word for how many pins a relay has, "four" of "4 pin relay"; "" for any
// other item.
func pinCount(it item) string {
	if it.kind != kNum || it.num.unit.dim != "rating" || it.num.size != "" {
		return ""
	}
	for w, v := range units09 {
		if it.num.v == float64(v) && v > 1 && v < 9 {
			return w
		}
	}
	return ""
}

// reading is how the words were taken for those of a saying.
type reading struct {
	reworded bool   // "didn't run" for "doesn't run", "was gone" for "is gone"
	asSaid   bool   // no other form of a verb may stand for it
	named    string // a part by another of its names: "horn ground" for "load ground"
	skipped  bool   // the word before was one that may stand within a saying, and ends none
}

func (as reading) past() reading {
	as.skipped = true
	return as
}

func (as reading) inOtherWords(really bool) reading {
	as.reworded = as.reworded || really
	return as
}

// mayMean keeps a saying in other words to what holds in them as well. What the load was
// doing is left to the load's own name: another kind's is a neighbour.
func (as reading) mayMean(n *node, words int) bool {
	if as.reworded && (words == 1 || concepts[n.concept] != gOutcome) {
		return false // "don't have" and "doesn't have" are not alike, nor are "blew" and "blowing"
	}
	if as.named == "load" || as.named == "control" {
		return slices.Contains(n.facts, "load_amps=number") || concepts[n.concept] == gPlace || n.concept == "load_unplugged" || n.concept == "load_plugged"
	}
	return true
}

// oneOfAKind are things that "is" is often typed onto without its mark, and of which a vehicle has one:
// "keys on", "relays out".
var oneOfAKind = set(`keys relays ignitions engines`)

// someone is where the words end that name who does something in the place of "i": "when he
// turns it on", "with my mate holding it"; i for none.
func someone(in []item, i int) int {
	switch {
	case i == 0:
		return i
	case doers[in[i].text]:
		return i + 1
	case i+1 < len(in) && determiners[in[i].text] && helpersAtHand[in[i+1].text]:
		return i + 2
	}
	return i
}

// helpersAtHand are who may work a switch for the one at the meter.
var helpersAtHand = set(`mate helper wife husband missus boss lad boy son daughter brother dad apprentice colleague assistant partner friend driver operator customer other`)

// degrees are adverbs that may stand within a saying of what something does and change
// nothing of it: "comes right on", "looks really good".
var degrees = set(`right straight really pretty properly fairly just`)

// perfect are words that may stand within a saying of what was done: "a new relay has been fitted".
var perfect = set(`has have had been`)

// present are words of being, by their past.
var present = map[string]string{"was": "is", "were": "are"}

// verbForms are the other forms of a verb that says what a load, a relay or a fuse does:
// "blowing the fuse" is "blows the fuse". Past, present, for one and for many.
var verbForms = otherVerbForms(`blow blows blowing blew/pop pops popping popped/trip trips tripping tripped/run runs running ran/
	come comes coming came/go goes going went/stop stops stopping stopped/cut cuts cutting/die dies dying died/quit quits quitting/
	pack packs packing packed/conk conks conking conked/drop drops dropping dropped/kick kicks kicking kicked/
	start starts starting started/turn turns turning turned/spin spins spinning spun/
	work works working worked/move moves moving moved/click clicks clicking clicked/keep keeps keeping kept/
	stay stays staying stayed/get gets getting got/give gives giving gave/take takes taking took/shut shuts shutting/
	switch switches switching switched/fire fires firing fired/make makes making made/eat eats eating ate/sound sounds sounding sounded`)

func otherVerbForms(verbs string) map[string][]string {
	out := map[string][]string{}
	for verb := range strings.SplitSeq(verbs, "/") {
		forms := strings.Fields(verb)
		for _, f := range forms {
			out[f] = slices.DeleteFunc(slices.Clone(forms), func(other string) bool { return other == f })
		}
	}
	return out
}

// denialForm is another way to say a denial, and how many words it takes the place of.
type denialForm struct {
	word string
	took int
}

var (
	copulaDenials = set(`isnt arent wasnt werent aint`)
	doDenials     = []string{"doesnt", "dont", "didnt", "wont", "wouldnt"}
	canDenials    = []string{"cant", "couldnt"}
	helpers       = set(`do does did will would`)
)

// denialForms are the other forms of the denial at in[i]: "isn't lit" is "not lit" too, "did
// not run" is "doesn't run", "couldn't hear" is "can't hear".
func denialForms(in []item, i int) []denialForm {
	w, took := in[i].text, 1
	switch {
	case copulaDenials[w]:
		return []denialForm{{"not", 1}}
	case w == "cannot" || slices.Contains(canDenials, w):
		return otherForms(canDenials, w, 1)
	case (w == "can" || w == "could") && i+1 < len(in) && in[i+1].text == "not":
		return otherForms(canDenials, w, 2)
	case helpers[w] && i+1 < len(in) && in[i+1].text == "not":
		took = 2
	case !slices.Contains(doDenials, w):
		return nil
	}
	return otherForms(doDenials, w, took)
}

// otherForms are the forms of a denial but the one said.
func otherForms(forms []string, said string, took int) []denialForm {
	var out []denialForm
	for _, form := range forms {
		if form != said {
			out = append(out, denialForm{form, took})
		}
	}
	return out
}

// word tells what may stand within a saying: words, and a size or a time ("takes out the
// 20 amp fuse"), which is no number that was read.
func word(it item) bool {
	return it.kind == kWord || it.kind == kNum && (it.num.unit.dim == "rating" || it.num.unit.dim == "time" || it.num.unit.dim == "percent")
}

// stem finds the word of the vocabulary that w is a form of, or "".
func stem(w string, known map[string]*node) string {
	if len(w) < 5 || w == "relays" { // of several, none is the one of the job
		return ""
	}
	for _, suffix := range []string{"s", "es", "ed", "ing", "y", "ly"} {
		base, ok := strings.CutSuffix(w, suffix)
		if !ok || len(base) < 3 {
			continue
		}
		for _, b := range []string{base, base + "e", undouble(base), undouble(base) + "s"} {
			if known[b] != nil {
				return b
			}
		}
	}
	return ""
}

func undouble(s string) string {
	if n := len(s); n > 3 && s[n-1] == s[n-2] {
		return s[:n-1]
	}
	return s
}
