// Package speech holds what a voice says and what it may hear: text as people say it,
// the same as SSML, and grammars for a recogniser. It is pure and knows nothing of
// jobs: the caller says what may be said at the moment.
package speech

import (
	"encoding/xml"
	"regexp"
	"strings"
)

// piece is one part of a text: as shown, and as said where that differs.
type piece struct{ shown, said string }

// token finds what is said otherwise than it is written: a numeral with its unit, a
// mark such as 87a or A1, and signs.
var token = regexp.MustCompile(`-?\d+(?:\.\d+)?(?:\s?(?:mV|kV|V|mΩ|kΩ|MΩ|Ω|mA|A|°C|W|%|min|s|h)(?:\b|$|\W)|a\b)?|\b[A-Z]\d\b|\(OL\)|\bOL\b|[“”"()]|[–—]|\s-\s|\s·\s|/|_|\n+|%`)

// units are said in the singular after 1 and in the plural after all else.
var units = map[string][2]string{
	"V": {"volt", "volts"}, "mV": {"millivolt", "millivolts"}, "kV": {"kilovolt", "kilovolts"}, "Ω": {"ohm", "ohms"}, "mΩ": {"milliohm", "milliohms"},
	"kΩ": {"kilohm", "kilohms"}, "MΩ": {"megohm", "megohms"}, "A": {"amp", "amps"}, "mA": {"milliamp", "milliamps"},
	"°C": {"degree celsius", "degrees celsius"}, "W": {"watt", "watts"}, "%": {"percent", "percent"},
	"min": {"minute", "minutes"}, "s": {"second", "seconds"}, "h": {"hour", "hours"},
}

// signs are said as words, or not at all.
var signs = map[string]string{"(OL)": "", "OL": "over range", "“": "", "”": "", `"`: "", "(": ", ", ")": "", "–": " to ", "—": ", ", "-": ", ", "·": ", ", "/": " or ", "_": " ", "%": "percent"}

// Say puts a text into the words that people say: "12.4 V at 86" is "twelve point four
// volts at eighty six".
func Say(text string) string {
	var b strings.Builder
	for _, p := range pieces(text) {
		b.WriteString(p.said)
	}
	return tidy(b.String())
}

// tidy closes the gaps that signs without sound leave.
func tidy(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	s = strings.NewReplacer(" ,", ",", " .", ".", ",,", ",", ",.", ".", ".,", ".", ":,", ":", " ?", "?", " :", ":").Replace(s)
	return strings.TrimSpace(strings.TrimPrefix(s, ","))
}

func pieces(text string) []piece {
	var out []piece
	for at := 0; ; {
		m := token.FindStringIndex(text[at:])
		if m == nil {
			return append(out, piece{text[at:], text[at:]})
		}
		from, to := at+m[0], at+m[1]
		shown := text[from:to]
		if last := len(shown) - 1; last > 0 && shown[0] >= '-' && shown[0] <= '9' && strings.ContainsRune(" .,;:!?)\n", rune(shown[last])) {
			shown, to = shown[:last], to-1 // the regexp looked one sign ahead
		}
		if from > at {
			out = append(out, piece{text[at:from], text[at:from]})
		}
		out = append(out, piece{shown, said(shown, from > 0 && letter(text[from-1]))})
		at = to
	}
}

func letter(b byte) bool { return b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' }

// said is how one token sounds.
func said(shown string, glued bool) string {
	if strings.Trim(shown, "\n") == "" {
		return " "
	}
	if words, ok := signs[strings.TrimSpace(shown)]; ok {
		return words
	}
	if len(shown) == 2 && shown[0] >= 'A' && shown[0] <= 'Z' {
		n, _ := numberWords(shown[1:])
		return shown[:1] + " " + n
	}
	end := 0
	for end < len(shown) && (shown[end] >= '0' && shown[end] <= '9' || shown[end] == '.' || shown[end] == '-' && end == 0) {
		end++
	}
	numeral := shown[:end]
	if glued && strings.HasPrefix(numeral, "-") {
		numeral = numeral[1:] // "pin-85": a hyphen, no minus
	}
	words, ok := numberWords(numeral)
	if !ok {
		return shown
	}
	rest := strings.TrimSpace(shown[end:])
	switch name, unit := units[rest]; {
	case rest == "a":
		return words + " A"
	case unit && (numeral == "1" || numeral == "-1"):
		return words + " " + name[0]
	case unit:
		return words + " " + name[1]
	}
	return words + rest
}

// Of is one thing that a voice says, with what it is.
type Of struct {
	Text    string
	Caution bool // said with emphasis
}

// SSML writes sentences as a document of SSML 1.1 (W3C, 2010): one s element a part,
// with sub for what is said otherwise than it is written, emphasis on cautions and a
// pause between parts.
func SSML(parts ...Of) string {
	var b strings.Builder
	b.WriteString(`<speak version="1.1" xmlns="http://www.w3.org/2001/10/synthesis" xml:lang="en">`)
	first := true
	for _, p := range parts {
		if strings.TrimSpace(p.Text) == "" {
			continue
		}
		if !first {
			b.WriteString(`<break time="300ms"/>`)
		}
		first = false
		b.WriteString("<s>")
		if p.Caution {
			b.WriteString(`<emphasis level="strong">`)
		}
		writePieces(&b, p.Text)
		if p.Caution {
			b.WriteString("</emphasis>")
		}
		b.WriteString("</s>")
	}
	b.WriteString("</speak>")
	return b.String()
}

func writePieces(b *strings.Builder, text string) {
	for _, p := range pieces(strings.TrimSpace(text)) {
		switch {
		case p.said == p.shown:
			escape(b, p.shown)
		case strings.Trim(p.said, " ,") == "":
			escape(b, p.said)
		default:
			b.WriteString(`<sub alias="`)
			escape(b, strings.TrimSpace(p.said))
			b.WriteString(`">`)
			escape(b, strings.TrimSpace(p.shown))
			b.WriteString("</sub>")
		}
	}
}

// escape writes text that XML may hold; what it may not becomes U+FFFD.
func escape(b *strings.Builder, text string) { _ = xml.EscapeText(b, []byte(text)) }
