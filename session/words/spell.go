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

// below100 reads "eighty four", "twelve" or "ten"; not a lone digit.
func (s *speller) below100() (int, bool) {
	if v, ok := teens[s.at(0)]; ok {
		s.pos++
		return v, true
	}
	if v, ok := tens[s.at(0)]; ok {
		s.pos++
		if d, ok := units09[s.at(0)]; ok && d > 0 && !s.oneOf(v) {
			s.pos++
			return v + d, true
		}
		return v, true
	}
	return 0, false
}

// about tells that the word before start leads to a size.
func (s *speller) about(start int) bool {
	if start == 0 {
		return false
	}
	switch s.in[start-1].text {
	case "about", "around", "roughly", "nearly", "almost", "exactly", "only", "just", "is", "'s":
		return true
	}
	return false
}

// oneOf tells "the thirty one", the reading at terminal 30, from 31.
func (s *speller) oneOf(v int) bool {
	return s.at(0) == "one" && s.at(-2) == "the" && isDIN(strconv.Itoa(v)) && !unitAt(s.at(1))
}

func unitAt(w string) bool {
	_, ok := unitNames[w]
	return ok
}

// integer reads a whole number in words.
func (s *speller) integer() (num, bool) {
	if v, ok := s.hundreds(); ok {
		return num{v: float64(v), digits: strconv.Itoa(v), word: true}, true
	}
	if v, ok := s.below100(); ok {
		return num{v: float64(v), digits: strconv.Itoa(v), word: true}, true
	}
	return s.spelledOut()
}

func (s *speller) hundreds() (int, bool) {
	start, count := s.pos, 1
	if s.at(0) == "a" || s.at(0) == "an" {
		s.pos++
	} else if d, ok := units09[s.at(0)]; ok {
		count, s.pos = d, s.pos+1
	}
	scale := 0
	switch s.at(0) {
	case "hundred":
		scale = 100
	case "thousand", "grand":
		scale = 1000
	default:
		s.pos = start
		if d, ok := teens[s.at(0)]; ok && s.at(1) == "hundred" { // "eleven hundred"
			s.pos += 2
			return d * 100, true
		}
		return 0, false
	}
	s.pos++
	v := count * scale
	mark := s.pos
	if more, ok := s.hundreds(); ok && scale == 1000 && more < 1000 {
		return v + more, true
	}
	s.pos = mark
	if s.at(0) == "and" {
		s.pos++
	}
	if w, ok := s.below100(); ok {
		return v + w, true
	}
	if d, ok := units09[s.at(0)]; ok && d > 0 {
		s.pos++
		return v + d, true
	}
	s.pos = mark
	return v, true
}

// spelledOut reads digits said one by one: "eight six", "one oh seven".
func (s *speller) spelledOut() (num, bool) {
	d, ok := units09[s.at(0)]
	if !ok && s.at(0) == "oh" && s.isPoint(1) {
		d, ok = 0, true
	}
	if !ok || s.pronoun() {
		return num{}, false
	}
	digits, oh := strconv.Itoa(d), false
	if s.named() && !s.startsName() {
		s.pos++
		n := numeral(digits)
		n.word = true
		return n, true
	}
	s.pos++
	for {
		d, ok := s.digit(0)
		if !ok || s.pronoun() || s.endsName(digits) {
			break
		}
		oh = oh || s.at(0) == "oh" || s.at(0) == "zero"
		digits += strconv.Itoa(d)
		s.pos++
	}
	n := numeral(digits)
	n.word = true
	if len(digits) == 1 {
		mark := s.pos
		if v, ok := s.below100(); ok {
			if d != 0 && v >= 10 && !isDIN(strconv.Itoa(v)) {
				n = numeral(digits + strconv.Itoa(v)) // "one fifty"
				n.word, n.joined = true, [2]string{digits, strconv.Itoa(v)}
				n.odd = "that could be " + n.digits + ", or " + digits + " and then " + strconv.Itoa(v)
			} else {
				s.pos = mark
			}
		}
	} else if !isDIN(digits) && !oh && !s.isPoint(0) {
		n.odd = "the digits of " + digits + " were said one by one"
	}
	return n, true
}

// named tells whether a word such as "pin" stands before the current place: what
// follows is a mark and no more.
func (s *speller) named() bool { return terminalWords[s.at(-1)] && s.at(-1) != "number" }

// endsName stops a run of digits after a terminal's name: "eight six twelve".
func (s *speller) endsName(digits string) bool { return isDIN(digits) }

// pronoun tells whether "one" here stands for a thing and not for a number.
func (s *speller) pronoun() bool {
	if s.groupOf() {
		return true
	}
	if s.at(0) != "one" || s.at(1) == "time" || s.at(1) == "in" && numberWord(s.at(2)) {
		return false // "works one time in three"
	}
	if _, ok := s.digit(1); ok || s.isPoint(1) || s.at(1) == "hundred" {
		return false
	}
	if numberWord(s.at(-1)) || tens[s.at(-1)] > 0 || teens[s.at(-1)] > 0 {
		return false
	}
	switch s.at(-1) {
	case "a":
		return !verbs[s.at(1)] // the mark A1
	case "", "is", "'s", "at", "on", "pin", "terminal", "to", "from", "has", "got", "reads", "about", "and", "-", "of", "between", "across", "steady", "minus":
		return s.at(1) == "of"
	}
	_, unit := unitNames[s.at(1)]
	return !unit
}

// groupOf tells "those two" from a number.
func (s *speller) groupOf() bool {
	switch s.at(-1) {
	case "those", "these", "other", "last", "first", "all", "the", "us", "them":
		_, unit := unitNames[s.at(1)]
		_, more := s.digit(1)
		v := units09[s.at(0)]
		return v >= 2 && v <= 4 && s.at(1) != "ticks" && !unit && !more && !s.isPoint(1) && s.at(1) != "hundred" && !verbs[s.at(1)]
	}
	return false
}

// joinDecimal reads "twelve six" as 12.6. The other way to take it is kept for
// marks that could be the first of the two.
func (s *speller) joinDecimal(n *num) {
	if n.odd != "" || n.v < 10 || n.v > 29 || n.signed || terminalWords[s.at(-2)] {
		return
	}
	mark := s.pos
	frac := ""
	if d, ok := units09[s.at(0)]; ok && !s.pronoun() && !s.startsName() {
		frac, s.pos = strconv.Itoa(d), s.pos+1
		if d2, ok := s.digit(0); ok {
			frac, s.pos = frac+strconv.Itoa(d2), s.pos+1
		}
	} else if s.at(0) == "oh" {
		if d, ok := s.digit(1); ok {
			frac, s.pos = "0"+strconv.Itoa(d), s.pos+2
		}
	} else if v, ok := s.below100(); ok && !isDIN(strconv.Itoa(v)) {
		frac = strconv.Itoa(v)
	}
	if frac == "" || s.at(0) == "hundred" || s.at(0) == "point" {
		s.pos = mark
		return
	}
	whole := n.digits
	n.set(whole + "." + frac)
	n.joined = [2]string{whole, frac}
}
