package words

import (
	"slices"
	"strings"
)

// This file puts slips of the keys right.

// fixSlips corrects typing slips of words of the trade. Of the words of numbers it undoes
// two neighbouring letters changed round ("twleve"), which makes no other number; any other
// word that looks like a mistyped number is marked, so that no number near it is taken for
// certain.
func (r *Reader) fixSlips(in []item) []item {
	for i := range in {
		if in[i].kind == kWord {
			in[i].text = r.spelt(in[i].text)
		}
		if shortAnd[in[i].text] && i > 0 && i+1 < len(in) && countsOn(in[i-1]) && (countsOn(in[i+1]) || in[i+1].text == "a") {
			in[i].text = "and" // "across 86 an 85", "twelve an a half"
			continue
		}
		it := in[i]
		if it.kind == kWord && (len(it.text) == 2 || len(it.text) == 3) && isWord(it.text) && !r.known(it.text) {
			in[i].text = r.exchanged(it.text)
			if len(it.text) == 3 && in[i].text == it.text {
				in[i].text = firstText(r.missing(it.text), it.text)
			}
			continue
		}
		if it.kind != kWord || len(it.text) < 4 || !isWord(it.text) || r.known(it.text) {
			continue
		}
		if likeNumber(it.text) {
			in[i].text = firstText(exchangedNumber(it.text), badNumber)
			continue
		}
		if unit := mistypedUnit(it.text); unit != "" {
			in[i].text = unit
		} else if w := r.correct(it.text); w != "" {
			in[i].text = w
		} else {
			in[i].text = firstText(nearestLink(it.text), r.exchanged(it.text))
		}
	}
	return in
}

// nearestLink is the one word of joining or reading, of five letters and more, that w is a
// single slip from, "" for none: "reding".
func nearestLink(w string) string {
	found := ""
	for link := range linkWords {
		if len(w) < 5 || len(link) < 5 || !sameStart(w, link) || !within(w, link, 1) {
			continue
		}
		if found != "" {
			return ""
		}
		found = link
	}
	return found
}

// shortAnd are slips of "and" that are words of their own, or too short to be told by their
// letters: between two numbers they can be nothing else.
var shortAnd = set(`an nd ad anf amd und`)

func countsOn(it item) bool {
	return it.kind == kNum || it.kind == kWord && numberWord(it.text)
}

// spelt is the usual spelling of a word of dialect or haste: "nuthin", "runnin".
func (r *Reader) spelt(w string) string {
	if usual := r.respelt[w]; usual != "" {
		return usual
	}
	if full := w + "g"; strings.HasSuffix(w, "in") && len(w) > 4 && !r.known(w) && r.known(full) {
		return full
	}
	return w
}

// missing is the one word of the trade of four letters of which w lacks one, and not one of
// the first two: "ded" for dead.
func (r *Reader) missing(w string) string {
	found := ""
	for _, t := range r.targets {
		if len(t) != 4 || t[:2] != w[:2] || distance(w, t) != 1 {
			continue
		}
		if found != "" || turning[t] {
			return ""
		}
		found = t
	}
	return found
}

// exchanged undoes two letters changed round in a plain word or, of three letters, in one
// of the trade: "hsa", "adn", "kye". It gives w itself where that makes no such word, or two.
func (r *Reader) exchanged(w string) string {
	if single := undoubled(w); single != w && linkWords[single] {
		return single // "onn"
	}
	found := ""
	for i := 0; i+1 < len(w); i++ {
		if w[i] == w[i+1] || w[i] >= 0x80 || w[i+1] >= 0x80 {
			continue
		}
		t := w[:i] + string(w[i+1]) + string(w[i]) + w[i+2:]
		if plain := linkWords[t] || common[t] && !turning[t] || len(t) == 3 && r.vocab[t] && !numberWord(t); plain && found != "" {
			return w
		} else if plain {
			found = t
		}
	}
	return firstText(found, w)
}

// undoubled is w without the second of two like letters at its end.
func undoubled(w string) string {
	if n := len(w); n >= 3 && w[n-1] == w[n-2] {
		return w[:n-1]
	}
	return w
}

// badNumber stands for a word that may be a mistyped number.
const badNumber = "\x00number"

func isWord(w string) bool {
	for _, c := range w {
		if c >= '0' && c <= '9' {
			return false
		}
	}
	return true
}

// mistypedUnit is the unit that w is a slip of, "" for none: "voltts".
func mistypedUnit(w string) string {
	for _, unit := range []string{"volts", "amps", "ohms", "millivolts"} {
		if len(w) > 4 && sameStart(w, unit) && within(w, unit, 1) {
			return unit
		}
	}
	return ""
}

func likeNumber(w string) bool {
	if len(w) < 4 || len(w) > 9 {
		return false
	}
	for _, m := range []map[string]int{units09, teens, tens, {"hundred": 0, "thousand": 0, "point": 0}} {
		for n := range m {
			if len(n) >= 4 && within(w, n, 1+len(n)/8) {
				return true
			}
		}
	}
	return false
}

// exchangedNumber is the one number word that w is with two neighbouring letters changed
// round, "" for none.
func exchangedNumber(w string) string {
	found := ""
	for i := 0; i+1 < len(w); i++ {
		if t := w[:i] + string(w[i+1]) + string(w[i]) + w[i+2:]; t != w && numberWord(t) {
			if found != "" && found != t {
				return ""
			}
			found = t
		}
	}
	return found
}

// nearestNumber is the one number word that is a single slip from w, "" for none.
func nearestNumber(w string) string {
	found := ""
	for _, m := range []map[string]int{units09, teens, tens, {"hundred": 0, "thousand": 0, "point": 0}} {
		for n := range m {
			if !within(w, n, 1) {
				continue
			}
			if found != "" {
				return ""
			}
			found = n
		}
	}
	return found
}

// correct finds the one word of the vocabulary that w is a slip of. Of two
// equally near, the one with more in common at both ends; else none.
func (r *Reader) correct(w string) string {
	if t := r.exchangedWord(w); t != "" {
		return t
	}
	if _, n := r.longestStem(w); n {
		return ""
	}
	most := 1
	if len(w) >= 8 {
		most = 2
	}
	best, found, tie := most+1, "", false
	for _, t := range r.targets {
		if abs(len(t)-len(w)) > most || !sameStart(w, t) {
			continue
		}
		d := distance(w, t)
		switch {
		case d > best || d > most:
		case d < best || shared(w, t) > shared(w, found):
			best, found, tie = d, t, false
		case shared(w, t) == shared(w, found):
			tie = true
		}
	}
	if tie || best > most {
		return ""
	}
	return found
}

// exchangedWord is the one word of the trade that w is with two neighbouring letters changed
// round, "" for none.
func (r *Reader) exchangedWord(w string) string {
	found := ""
	for _, t := range r.targets {
		if len(t) == len(w) && t != w && sameStart(w, t) && distance(w, t) == 1 && sameLetters(w, t) {
			if found != "" {
				return ""
			}
			found = t
		}
	}
	return found
}

func sameLetters(a, b string) bool {
	return slices.Equal(slices.Sorted(slices.Values([]byte(a))), slices.Sorted(slices.Values([]byte(b))))
}

func (r *Reader) longestStem(w string) (string, bool) {
	s := stem(w, r.root.next)
	return s, s != ""
}
