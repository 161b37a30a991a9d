package words

import (
	"slices"
	"strings"
)

// This file tells words that mean nothing here from those that may change what is said beside
// them: a condition, a place that is none, another load.

// conditional words begin what a reading was taken under.
var conditional = set(`when whenever while whilst if unless until till except without once after before`)

// ending are those before what put an end to it.
var ending = set(`until unless till`)

// doers are who may have done something since: what was seen before that is not so now.
var doers = set(`i we you he she they somebody someone`)

// condition marks what was said under a condition that means nothing here: "clicks when I
// let go of it", "while my mate holds the switch 86 is 12.2".
func (f *frame) condition(clause []item) {
	for i, it := range clause {
		if it.kind != kWord || !conditional[it.text] || i+1 == len(clause) {
			continue
		}
		under := clause[i+1:]
		if it.text == "before" && doers[under[0].text] {
			f.onlyIf, f.strays = true, append(f.strays, rawOf(clause[i:])) // "it worked before I touched it"
			return
		}
		if ending[it.text] && (!hasNumber(clause) || slices.ContainsFunc(under, func(it item) bool { return concepts[it.concept] == gAct })) {
			f.onlyIf, f.strays = true, append(f.strays, rawOf(clause[i:])) // "nothing until I wiggle it"
			return
		}
		if read := slices.IndexFunc(under, func(it item) bool { return it.kind == kNum || it.kind == kPlace }); read >= 0 {
			under = under[:read]
		}
		if slices.ContainsFunc(under, meansSomething) || !slices.ContainsFunc(under, func(it item) bool { return it.kind != kWord || !linkWords[it.text] }) {
			continue
		}
		f.onlyIf = true
		f.strays = append(f.strays, rawOf(clause[i:i+1+len(under)]))
		return
	}
}

// briefly are words for a time too short to say that something runs: "ran for a second".
var briefly = set(`moment second sec bit few couple instant flash tick`)

// ranBriefly tells that what was seen was seen for less than a minute, or once: "it ran for 5 seconds".
func ranBriefly(clause []item) bool {
	for i, it := range clause {
		if it.text == "once" && it.kind == kWord && i+1 == len(clause) {
			return true // "it ran once"
		}
		if it.text != "for" || it.kind != kWord {
			continue
		}
		j := i + 1
		for neighbour(clause, j, 0).text == "a" || neighbour(clause, j, 0).text == "like" || neighbour(clause, j, 0).text == "just" {
			j++
		}
		if how := neighbour(clause, j, 0); briefly[how.text] || how.num.unit.dim == "time" && how.num.v*how.num.unit.scale < 1 {
			return true
		}
	}
	return false
}

// sides name one of several like parts: "the left one"; hands, one of a pair of loads, as front
// and rear do not; speeds, one way of several to run.
var (
	hands  = set(`left right nearside offside`)
	sides  = set(`left right front rear back nearside offside top bottom inner outer`)
	speeds = set(`high low fast slow full half first second third speed`)
)

// oneOfSeveral is the part of a clause that names one of several like parts, or one of the
// load's speeds, "" for none: what is seen of it is not seen of all.
func oneOfSeveral(clause []item) string {
	only := hasText(clause, "only")
	for i, it := range clause {
		next := neighbour(clause, i, 1)
		switch {
		case sides[it.text] && next.text == "one", hands[strings.ToLower(it.raw)] && next.concept == "load", it.text == "one" && next.text == "of",
			it.kind == kNum && strings.EqualFold(next.raw, "out of") && neighbour(clause, i, 2).kind == kNum, only && speeds[it.text] && it.kind == kWord:
			return it.raw + " " + next.raw
		case it.concept == "one_side":
			return it.raw
		}
	}
	return ""
}

// either tells "whether the key is on or off", which says neither.
func either(clause []item) bool {
	for i, it := range clause {
		if it.text == "or" && isSetup(neighbour(clause, i, -1)) {
			return true // "key on or off"
		}
	}
	return hasConcept(clause, "unsure") && slices.ContainsFunc(clause, isSetup) ||
		slices.ContainsFunc(clause, func(it item) bool { return it.text == "whether" })
}

// meansSomething tells what a condition may be read from.
func meansSomething(it item) bool {
	switch concepts[it.concept] {
	case gSetup, gAct, gOutcome:
		return true
	}
	return false
}

// foreign are the words in the place of a * that are neither plain nor the load: "with
// the lot running" may mean other loads.
func (r *Reader) foreign(it item) []string {
	if concepts[it.concept] != gSetup {
		return nil
	}
	var out []string
	for _, w := range it.loose {
		if it.concept == "heat_soaked" && w.num.unit.dim == "time" && !soaks(w.num) {
			return []string{it.raw}
		}
		n := r.root.next[w.text]
		if !linkWords[w.text] && !(n != nil && n.concept == "load") {
			out = append(out, w.raw)
		}
	}
	return out
}

// nth are words that name one terminal of several, and not by its mark.
var nth = set(`first second third fourth fifth next last middle`)

// soaks tells whether a time is long enough for heat to reach a joint: the ten minutes that
// the tests of hot circuits ask for.
func soaks(n num) bool { return n.v*n.unit.scale >= 10 }

// word files a word that is no concept: harmless, or a place that is none.
func (f *frame) word(clause []item, i int, r *Reader) {
	w := clause[i].text
	if (w == "on" || w == "off") && i > 0 && (clause[i-1].concept == "load" || clause[i-1].kind == kWord && plainly(clause[i-1].text)) && neighbour(clause, i, 1).kind != kPlace && neighbour(clause, i, 1).kind != kNum {
		f.strays = append(f.strays, clause[i-1].raw+" "+w) // a load's state: this job's load, or a neighbour
	}
	if nth[w] && terminalWords[neighbour(clause, i, 1).text] {
		f.strays = append(f.strays, clause[i].raw+" "+clause[i+1].raw) // "12.4 on the second pin": which is that?
	}
	if linkWords[w] || w == "-" || w == "ish" || terminalWords[w] {
		if w == "ish" {
			f.hedges = append(f.hedges, "-ish")
		}
		return
	}
	if after := neighbour(clause, i, 1).text; w == "other" && (after == "side" || after == "end") && !hasConcept(clause, "same") {
		f.sideOnly = true
		return
	}
	if (w == "until" || w == "till") && neighbour(clause, i, -1).kind == kNum && neighbour(clause, i, 1).kind == kNum {
		return // "from 9 until 12"
	}
	if w == "next" && neighbour(clause, i, 1).text == "to" {
		f.onlyIf, f.strays = true, append(f.strays, "next to") // "12.4 on the one next to it"
	}
	if (w == "as" || w == "after") && stateNext(clause[i+1:]) || w == "instead" && neighbour(clause, i, -1).kind == kPlace && neighbour(clause, i, 1).text != "of" {
		return
	}
	if f.nowhere == "" && locative(clause, i) && !harmless[w] && !r.filler[w] {
		f.nowhere = clause[i].raw
	}
	if r.filler[w] {
		return
	}
	if !common[w] && !r.vocab[w] {
		f.unknown = append(f.unknown, clause[i].raw)
	}
	if !common[w] && !harmless[w] && !interjections[w] && !counting(w) || turning[w] {
		f.strays = append(f.strays, clause[i].raw)
	}
}

// plainly tells a word that names a thing: it is none of those that join or soften.
func plainly(w string) bool { return !linkWords[w] && !common[w] && !harmless[w] }

// stateNext tells "as it is switched on", a state, from "as I had on 30".
func stateNext(rest []item) bool {
	for _, it := range rest {
		if it.kind != kWord || !linkWords[it.text] {
			return concepts[it.concept] == gSetup
		}
	}
	return false
}

// harmless nouns may follow "on the" without naming a place of the circuit.
var harmless = set(`meter multimeter screen display dmm gauge scale range reading moment first second third go guess
	average time money button nose head face test tester way whole most least times least last low high
	them it those these both
	vehicle truck van job same other next both all one ones end back phone mine mate him her me you us again once`)

// locative tells whether the word names where something was measured.
func locative(clause []item, i int) bool {
	j := i - 1
	for j >= 0 && clause[j].kind == kWord && (clause[j].text == "the" || clause[j].text == "a" || clause[j].text == "my" || clause[j].text == "its" || common[clause[j].text] && !preps[clause[j].text] && j > 0) {
		j--
	}
	if j < 0 {
		return false
	}
	switch clause[j].text {
	case "at", "on", "across", "between", "from", "off":
		return true
	case "to":
		return j != i-1
	}
	return false
}
