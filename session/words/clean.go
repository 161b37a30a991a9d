package words

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// longest is the longest utterance read, in bytes. What is longer is refused
// whole: a correction may stand after the cut.
const longest = 600

// folds maps signs with one meaning to what the scanner knows.
var folds = map[rune]string{
	'’': "'", '‘': "'", 'ʼ': "'", '`': "'", '´': "'",
	'“': " ", '”': " ", '"': " ", '«': " ", '»': " ", '*': " ", '_': " ",
	'–': "-", '‐': "-", '‑': "-", '−': "-", '—': " , ", '…': " , ",
	'≈': " about ", '~': " about ", '<': " under ", '>': " over ", '≤': " under ", '≥': " over ",
	'=': " is ", '→': " to ", '&': " and ", '∞': " infinity ", '±': " plus-minus ", '%': " percent ",
	'\u2126': "Ω", '\u00b5': "u", '\u03bc': "u", '·': ".", '°': " degrees ", '@': " at ",
	'\n': " ; ", '\r': " ", '\t': " ", '½': ".5",
}

// overLimit is what a display shows for over range, in the ways it gets typed:
// never a number.
var overLimit = regexp.MustCompile(`(?i)\b[0o]\.?l\b\.?`)

// clean folds typographic variants and drops what no keyboard or recogniser
// means to send. Letter case is kept: mA and MA differ.
func clean(text string) string {
	text = overLimit.ReplaceAllString(text, "OL")
	var b strings.Builder
	for len(text) > 0 {
		r, n := utf8.DecodeRuneInString(text)
		text = text[n:]
		if s, ok := folds[r]; ok {
			b.WriteString(s)
			continue
		}
		switch {
		case r >= '０' && r <= '９':
			b.WriteRune('0' + r - '０')
		case r == utf8.RuneError, unicode.IsSpace(r), !unicode.IsPrint(r):
			b.WriteByte(' ')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// excerpt shortens a text for a message, at a rune boundary.
func excerpt(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}
