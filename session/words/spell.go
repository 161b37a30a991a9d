package words

import (
	"slices"
	"strconv"
	"strings"
)

var units09 = map[string]int{
	"zero": 0, "nought": 0, "naught": 0, "one": 1, "two": 2, "three": 3, "four": 4,
	"five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "niner": 9,
}

var teens = map[string]int{
	"ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15,
	"sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}

var tens = map[string]int{
	"twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60,
	"seventy": 70, "eighty": 80, "ninety": 90,
}

// numberWord tells whether a word may only be part of a number. Such words are
// never the outcome of correcting a slip, and a slip of one is never dropped.
func numberWord(w string) bool {
	_, a := units09[w]
	_, b := teens[w]
	_, c := tens[w]
	_, d := fractions[w]
	return a || b || c || d || w == "hundred" || w == "thousand" || w == "point"
}

// fractions are the parts of one that are said of a unit: "a quarter of a volt".
var fractions = map[string]float64{
	"half": 0.5, "quarter": 0.25, "quarters": 0.25, "tenth": 0.1, "tenths": 0.1, "hundredth": 0.01, "hundredths": 0.01,
	"thousandth": 0.001, "thousandths": 0.001,
}

// speller joins number words into numbers.
type speller struct {
	in  []item
	pos int
}

func spell(in []item) []item {
	s := speller{in: in}
	var out []item
	for s.pos < len(s.in) {
		if n, ok := s.number(); ok {
			out = append(out, n)
			continue
		}
		out = append(out, s.in[s.pos])
		s.pos++
	}
	return out
}

func (s *speller) at(d int) string {
	if i := s.pos + d; i >= 0 && i < len(s.in) && s.in[i].kind == kWord && !s.in[i].noun {
		return s.in[i].text
	}
	return ""
}

func (s *speller) numAt(d int) (num, bool) {
	if i := s.pos + d; i >= 0 && i < len(s.in) && s.in[i].kind == kNum {
		return s.in[i].num, true
	}
	return num{}, false
}

// number reads one number at the current place, in words or mixed.
func (s *speller) number() (item, bool) {
	start := s.pos
	neg := s.sign()
	it, ok := s.value()
	if !ok {
		s.pos = start
		return item{}, false
	}
	if neg && !it.num.signed {
		it.num.v, it.num.digits, it.num.signed = -it.num.v, "-"+it.num.digits, true
	}
	var raw []string
	for _, x := range s.in[start:s.pos] {
		raw = append(raw, x.raw)
	}
	it.kind, it.raw, it.text = kNum, strings.Join(raw, " "), it.num.digits
	it.glued = s.in[start].glued
	return it, true
}

func (s *speller) sign() bool {
	switch s.at(0) {
	case "minus":
		s.pos++
		return true
	case "negative":
		switch s.at(-1) {
		case "battery", "bat", "batt", "the", "to", "on", "at":
			return false
		}
		s.pos++
		return true
	}
	return false
}

func (s *speller) value() (item, bool) {
	start := s.pos
	if n, ok := s.numAt(0); ok {
		it := s.in[s.pos]
		s.pos++
		if s.at(0) == "hundred" && n.whole() && n.v < 10 {
			s.pos++
			it.num = numeral(n.digits + "00")
		} else if s.at(0) == "thousand" {
			s.pos++
			it.num.v, it.num.digits = n.v*1000, strconv.FormatFloat(n.v*1000, 'g', -1, 64)
		} else if n.whole() {
			s.fraction(&it.num)
		}
		return it, true
	}
	var it item
	switch {
	case s.isPoint(0):
		it.num = num{digits: "0", word: true}
	default:
		if n, ok := s.partOfUnit(); ok {
			it.num = n
			return it, true
		}
		n, ok := s.integer()
		if !ok {
			return it, false
		}
		it.num = n
	}
	if !s.fraction(&it.num) {
		s.joinDecimal(&it.num)
	}
	if s.at(0) == "point" && !s.isPoint(0) {
		it.num.odd = "the number breaks off after the point"
	}
	s.misheard(&it.num, start)
	return it, true
}

// homophones sound like a digit.
var homophones = map[string]string{"for": "four", "fore": "four", "too": "two", "to": "two", "won": "one", "ate": "eight", "tree": "three", "sex": "six", "tin": "ten"}

// misheard marks a number in words that a recogniser may have cut short: "twelve for", "won
// point two".
func (s *speller) misheard(n *num, start int) {
	next, before := homophones[s.at(0)], ""
	if start > 0 && s.in[start].text == "point" {
		if w := s.in[start-1].text; w != "to" && w != "for" || start == 1 {
			before = homophones[w]
		}
	}
	_, unit := unitNames[s.at(1)]
	ends := s.pos+1 == len(s.in) || s.in[min(s.pos+1, len(s.in)-1)].kind == kSep || unit
	switch {
	case before != "":
		n.odd = "“" + s.in[start-1].raw + "” before it may have been " + before
	case next != "" && ends && n.word:
		n.odd = "“" + s.in[s.pos].raw + "” after it may have been " + next
	}
}

func (s *speller) isPoint(d int) bool {
	w := s.at(d)
	if w != "point" && w != "dot" && w != "decimal" {
		return false
	}
	_, digit := s.digit(d + 1)
	_, tee := teens[s.at(d+1)]
	_, ten := tens[s.at(d+1)]
	n, num := s.numAt(d + 1)
	return digit || tee || ten || num && n.whole()
}

// partOfUnit reads "half a volt", "a quarter of an amp", "six tenths of a volt" and "six
// tenths"; the unit itself is left to follow.
func (s *speller) partOfUnit() (num, bool) {
	start, count := s.pos, 1
	if d, ok := units09[s.at(0)]; ok {
		count, s.pos = d, s.pos+1
	} else if s.at(0) == "a" || s.at(0) == "an" {
		s.pos++
	}
	if s.pos > start && unitAt(s.at(0)) && count == 1 && s.at(1) == "and" && s.at(2) == "a" && s.at(3) == "half" {
		s.in = slices.Delete(slices.Clone(s.in), s.pos+1, s.pos+4)
		return num{v: 1.5, digits: "1.5", word: true}, true // "a volt and a half"
	}
	if s.pos > start && s.at(-1) == "a" && (s.at(0) == "full" || s.at(0) == "whole") && unitAt(s.at(1)) {
		s.pos++
		return num{v: 1, digits: "1", word: true}, true // "a full volt"
	}
	if s.pos > start && s.at(-1) == "a" && unitAt(s.at(0)) && s.about(start) {
		return num{v: 1, digits: "1", word: true}, true // "about a volt"
	}
	part, ok := fractions[s.at(0)]
	named := s.pos > start
	s.pos++
	if s.at(0) == "of" {
		s.pos++
	}
	if s.at(0) == "a" || s.at(0) == "an" {
		s.pos++
	}
	_, unit := unitNames[s.at(0)]
	if !unit && ok && named && part <= 0.1 {
		s.pos, unit = start+2, true
	}
	if !ok || !unit {
		s.pos = start
		return num{}, false
	}
	v, _ := parse12(float64(count) * part)
	return num{v: v, digits: strconv.FormatFloat(v, 'f', -1, 64), word: true}, true
}

func (s *speller) digit(d int) (int, bool) {
	w := s.at(d)
	if w == "oh" || w == "o" {
		return 0, true
	}
	v, ok := units09[w]
	return v, ok
}

// fraction reads "point three five", "point oh five", "and a half".
func (s *speller) fraction(n *num) bool {
	if s.isPoint(0) {
		s.pos++
		frac := ""
		if m, ok := s.numAt(0); ok {
			frac, s.pos = m.digits, s.pos+1
		}
		for frac == "" || !strings.HasPrefix(frac, "#") {
			d, ok := s.digit(0)
			if ok && !(frac != "" && s.startsName()) {
				frac, s.pos = frac+strconv.Itoa(d), s.pos+1
				continue
			}
			if frac == "" {
				if v, ok := s.below100(); ok {
					frac = strconv.Itoa(v)
				}
			}
			break
		}
		n.set(n.digits + "." + frac)
		return true
	}
	if s.at(0) == "and" && s.at(1) == "a" && (s.at(2) == "half" || s.at(2) == "quarter") {
		n.set(n.digits + map[string]string{"half": ".5", "quarter": ".25"}[s.at(2)])
		s.pos += 3
		return true
	}
	if d, ok := units09[s.at(1)]; ok && s.at(0) == "and" && (s.at(2) == "tenths" || s.at(2) == "tenth") {
		s.pos += 3
		n.set(n.digits + "." + strconv.Itoa(d))
		return true
	}
	if s.at(0) == "and" && s.at(1) == "three" && (s.at(2) == "quarters" || s.at(2) == "quarter") {
		s.pos += 3
		n.set(n.digits + ".75")
		return true
	}
	return false
}

// startsName tells whether the digit word here begins a terminal said digit by
// digit ("eight six"), which belongs to no fraction before it.
func (s *speller) startsName() bool {
	a, _ := s.digit(0)
	b, ok := s.digit(1)
	_, more := s.digit(2)
	return ok && !more && isDIN(strconv.Itoa(a)+strconv.Itoa(b))
}

func (n *num) set(digits string) {
	odd := n.odd
	*n = numeral(digits)
	n.word, n.odd = true, odd
}
