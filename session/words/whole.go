package words

import "strconv"

// This file spells whole numbers, and what is joined to them.

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
	case "under", "over", "below", "above": // "well under a volt, 0.12"
		return hasNumber(s.in[s.pos:])
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
