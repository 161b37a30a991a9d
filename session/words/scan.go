package words

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

type kind uint8

const (
	kWord kind = iota
	kNum
	kSep     // , ; . ? ( )
	kConcept // a word of the trade, by its canonical name
	kPlace   // one or more places a lead can touch
)

// item is one piece of the utterance. The stages rewrite a list of items, each
// joining some into one of a higher kind.
type item struct {
	kind    kind
	text    string // lower case
	raw     string
	so      bool // "so" went before it
	but     bool // "but" went before it
	then    bool // "then" went before it
	glued   bool // no space before it
	noun    bool // begins a saying, as the "one" of "one side": no part of a number
	num     num
	unit    []item // the words of its unit, as said
	concept string
	loose   []item   // the words in a saying that stood for a *
	facts   []string // told by the words beside their concept, where the circuit is described
	place   placeRef
}

// num is a number as said, in the unit as said.
type num struct {
	v       float64
	digits  string // as typed or as it would be typed: "30", "12.4"
	word    bool   // said in words
	odd     string // why it could be another number; "" = clear
	name    bool   // could be a name: "fuse 12"
	bad     bool   // no number a meter shows
	joined  [2]string
	unit    unit
	signed  bool
	negated bool   // "not 12.4"
	id      int    // counts the numbers of an utterance, from 1; 0 = not counted
	size    string // of a rating ("10 amp fuse"): its quantity
}

// whole tells whether the number could be a mark on a relay.
func (n num) whole() bool {
	return n.unit.dim == "" && !n.signed && !strings.ContainsAny(n.digits, ".e")
}

// scan splits a cleaned text into words, numbers and separators.
func scan(text string) []item {
	out := make([]item, 0, strings.Count(text, " ")+1)
	glued := false
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		switch {
		case r == ' ':
			glued = false
			i += n
			continue
		case r == '-' || r == '/':
			i += n
			out = append(out, dash(text, i, glued, r, out)...)
		case r == '+' && i+1 < len(text) && isDigit(text[i+1]):
			i += n
		case isDigit(text[i]) || r == '.' && i+1 < len(text) && isDigit(text[i+1]):
			end := numberEnd(text, i)
			out = append(out, numerals(text[i:end], glued)...)
			i = end
		case unicode.IsLetter(r) || r == '\'' && i+1 < len(text):
			end := wordEnd(text, i)
			out = appendWord(out, text[i:end], glued)
			i = end
		default:
			i += n
			out = append(out, item{kind: kSep, text: string(r), raw: string(r), glued: glued})
		}
		glued = true
	}
	return signs(out)
}

func isDigit(b byte) bool { return b >= '0' && b <= '9' }

// dash tells apart a hyphen in a word, a minus sign and a dash between two
// things. pos is just past the sign.
func dash(text string, pos int, glued bool, r rune, before []item) []item {
	after := pos < len(text) && text[pos] != ' '
	digit := after && (isDigit(text[pos]) || text[pos] == '.' && pos+1 < len(text) && isDigit(text[pos+1]))
	switch {
	case r == '-' && digit && !glued:
		return []item{{kind: kWord, text: "minus", raw: "-"}}
	case glued && after && len(before) > 0 && before[len(before)-1].kind == kWord && !digit:
		return nil // eighty-six, two-ish
	}
	return []item{{kind: kWord, text: "-", raw: string(r), glued: glued}}
}

// numberEnd finds the end of a run of digits, points and commas with what may
// follow it: an exponent.
func numberEnd(text string, i int) int {
	for i < len(text) {
		c := text[i]
		inside := (c == '.' || c == ',' || c == ':') && i+1 < len(text) && isDigit(text[i+1])
		if !isDigit(c) && !inside {
			break
		}
		i++
	}
	if i < len(text) && (text[i] == 'e' || text[i] == 'E') {
		j := i + 1
		if j < len(text) && (text[j] == '+' || text[j] == '-') {
			j++
		}
		k := j
		for k < len(text) && isDigit(text[k]) {
			k++
		}
		if k > j && (k == len(text) || !isLetterAt(text, k)) {
			return k
		}
	}
	return i
}

func isLetterAt(text string, i int) bool {
	r, _ := utf8.DecodeRuneInString(text[i:])
	return unicode.IsLetter(r)
}

func wordEnd(text string, i int) int {
	first := i
	for i < len(text) {
		r, n := utf8.DecodeRuneInString(text[i:])
		inner := r == '\'' && (i == first || i+1 < len(text) && isLetterAt(text, i+1))
		if !unicode.IsLetter(r) && !inner {
			break
		}
		i += n
	}
	if i == first {
		_, n := utf8.DecodeRuneInString(text[i:])
		return i + n
	}
	return i
}

// numerals reads one run of digits with points and commas. A comma may be a
// decimal mark or a list; where both could be, the number is marked odd.
func numerals(s string, glued bool) []item {
	if strings.Count(s, ".") > 1 && !strings.Contains(s, ",") {
		return []item{{kind: kWord, text: s, raw: s, glued: glued}}
	}
	if left, right, ok := strings.Cut(s, ":"); ok {
		if strings.ContainsAny(right, ":,.") && strings.Count(right, ".") != 1 || clock(left, right) {
			return []item{{kind: kWord, text: s, raw: s, glued: glued}}
		}
		out := numerals(left, glued)
		out = append(out, item{kind: kWord, text: "is", raw: ":", glued: true})
		return append(out, numerals(right, false)...)
	}
	parts := strings.Split(s, ",")
	if len(parts) == 2 && !strings.Contains(s, ".") && len(parts[1]) <= 3 {
		if !isDIN(parts[0]) || !isDIN(parts[1]) {
			n := numeral(parts[0] + "." + parts[1])
			if len(parts[1]) == 3 || isDIN(parts[0]) {
				n.odd = "the comma in " + s + " can be read in two ways"
			}
			return []item{{kind: kNum, text: s, raw: s, glued: glued, num: n}}
		}
	}
	var out []item
	for i, p := range parts {
		if i > 0 {
			out = append(out, item{kind: kSep, text: ",", raw: ",", glued: true})
		}
		out = append(out, item{kind: kNum, text: p, raw: p, glued: glued && i == 0, num: numeral(p)})
	}
	return out
}

// clock tells 10:30, a time, from 86:12.4, a terminal and its reading.
func clock(left, right string) bool {
	return len(right) == 2 && len(left) <= 2 && left < "25" && !isDIN(left)
}

func isDIN(s string) bool { return s == "30" || s == "85" || s == "86" || s == "87" || s == "87a" }

func numeral(s string) num {
	v, err := strconv.ParseFloat(s, 64)
	return num{v: v, digits: s, bad: err != nil || math.IsInf(v, 0) || math.IsNaN(v)}
}

// appendWord splits off a possessive or "is" ('s), so that a name before it is
// recognised.
func appendWord(to []item, s string, glued bool) []item {
	low := strings.ToLower(s)
	if low == "'s" {
		return append(to, item{kind: kWord, text: "'s", raw: s, glued: glued})
	}
	if base, ok := strings.CutSuffix(low, "'s"); ok && base != "" {
		return append(to,
			item{kind: kWord, text: plain(base), raw: s[:len(base)], glued: glued},
			item{kind: kWord, text: "'s", raw: "'s", glued: true})
	}
	if base, ok := strings.CutSuffix(low, "s"); ok && asksShort[base] {
		return append(to, item{kind: kWord, text: base, raw: s, glued: glued}, item{kind: kWord, text: "'s", glued: true})
	}
	low = plain(low)
	if low == "" {
		return to
	}
	return append(to, item{kind: kWord, text: low, raw: s, glued: glued})
}

// asksShort are words that "is" is often typed onto without its mark: "wheres that fuse".
var asksShort = set(`where what wot how who why when it that there she`)

func plain(s string) string { return strings.ReplaceAll(s, "'", "") }

// signs joins what belongs to a number or a mark: minus signs, 87a, 4k7, A1 and
// words with a number stuck to them.
func signs(in []item) []item {
	if !slices.ContainsFunc(in, func(it item) bool { return it.kind == kNum }) {
		return in
	}
	var out []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		next := func(d int) item {
			if i+d < len(in) {
				return in[i+d]
			}
			return item{kind: kSep}
		}
		switch {
		case it.kind == kWord && it.text == "minus" && next(1).kind == kNum:
			n := next(1)
			n.num.v, n.num.digits, n.num.signed = -n.num.v, "-"+n.num.digits, true
			out, i = append(out, n), i+1
		case it.kind == kNum && next(1).glued && ordinalEnd[next(1).text]:
			out, i = append(out, item{kind: kWord, text: it.text + next(1).text, raw: it.raw + next(1).raw, glued: it.glued}), i+1
		case it.kind == kNum && it.text == "87" && next(1).glued && next(1).text == "a":
			out, i = append(out, item{kind: kWord, text: "87a", raw: "87a", glued: it.glued}), i+1
		case it.kind == kNum && infix(it, next(1), next(2)):
			n := numeral(it.text + "." + next(2).text)
			unitWord := next(1)
			out = append(out, item{kind: kNum, text: n.digits, raw: it.raw + unitWord.raw + next(2).raw, num: n}, unitWord)
			i += 2
		case it.kind == kWord && next(1).kind == kNum && next(1).glued && it.text != "-":
			out, i = append(out, gluedNumber(it, next(1))...), i+1
		default:
			out = append(out, it)
		}
	}
	return out
}

var ordinalEnd = map[string]bool{"st": true, "nd": true, "rd": true, "th": true, "x": true}

// infix is the way of writing 4.7 kΩ as 4k7 and 12.4 V as 12v4.
func infix(a, mid, b item) bool {
	return mid.glued && b.glued && b.kind == kNum && !strings.Contains(a.text+b.text, ".") &&
		(mid.text == "k" || mid.text == "v" || mid.text == "r")
}

// gluedNumber keeps "f12" one word, so that a fuse's number is no reading, and
// parts "pin3" and "at12.4".
func gluedNumber(w, n item) []item {
	switch w.text {
	case "pin", "pins", "t", "terminal", "term", "cavity", "at", "is", "on", "to", "about", "'s":
		return []item{w, n}
	}
	return []item{{kind: kWord, text: w.text + n.text, raw: w.raw + n.raw, glued: w.glued}}
}
