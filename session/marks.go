package session

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// marksOf gives the mark on the relay for each DIN role under a labelling
// scheme: the numbers 1–5, or the marks of EN 50005. Under any other scheme the
// roles are the marks, or there are none.
func marksOf(labels string) map[string]string {
	switch labels {
	case "numbers":
		return map[string]string{"86": "1", "85": "2", "30": "3", "87a": "4", "87": "5"}
	case "en":
		return map[string]string{"86": "A1", "85": "A2", "30": "11", "87a": "12", "87": "14"}
	}
	return nil
}

// withMarks puts the job's own mark beside every terminal named in text: "86"
// becomes "86 (marked 1)". A number with a unit or a decimal is no terminal, and
// none that stands like an amount: "a coil of 85", "about 85", "30 to 87 ohms".
func withMarks(text, labels string) string {
	marks := marksOf(labels)
	if marks == nil {
		return text
	}
	var b strings.Builder
	for done := 0; done < len(text); {
		start, end := nextNumber(text[done:])
		start, end = done+start, done+end
		b.WriteString(text[done:end])
		before, after := text[:start], text[end:]
		mark, ok := marks[text[start:end]]
		if ok && !joinedNumber(before, after) && !hasUnit(after) && !amount(before) && !strings.HasPrefix(after, " (marked ") {
			b.WriteString(" (marked " + mark + ")")
		}
		done = end
	}
	return b.String()
}

// amount reports that the words before a number make it an amount.
func amount(before string) bool {
	before = strings.TrimRight(before, " \u00a0")
	start := strings.LastIndexFunc(before, func(r rune) bool { return !unicode.IsLetter(r) }) + 1
	return amountWords[strings.ToLower(before[start:])]
}

var amountWords = map[string]bool{"of": true, "about": true, "around": true, "roughly": true, "nearly": true, "over": true, "under": true, "above": true,
	"below": true, "than": true, "least": true, "most": true, "every": true, "by": true, "within": true, "some": true, "rated": true}

// nextNumber finds the next run of letters and digits that starts with a digit
// and is no part of a longer word. Both ends are the text's end when there is none.
func nextNumber(text string) (start, end int) {
	word := -1
	for i, r := range text {
		inWord := unicode.IsLetter(r) || unicode.IsDigit(r) || r == '_'
		switch {
		case inWord && word < 0:
			word = i
		case !inWord && word >= 0:
			if unicode.IsDigit(rune(text[word])) {
				return word, i
			}
			word = -1
		}
	}
	if word >= 0 && unicode.IsDigit(rune(text[word])) {
		return word, len(text)
	}
	return len(text), len(text)
}

// joinedNumber reports a number that is part of another or of a name: 12.30,
// 30.5, -30, terminal_86. A hyphen between two of them joins two terminals.
func joinedNumber(before, after string) bool {
	if len(after) > 1 && (after[0] == '.' || after[0] == ',') && unicode.IsDigit(rune(after[1])) {
		return true
	}
	if before == "" {
		return false
	}
	last, start := utf8.DecodeLastRuneInString(before)
	afterDigit := start > 0 && unicode.IsDigit(rune(before[start-1]))
	switch last {
	case '.', ',':
		return afterDigit
	case '-', '+':
		return !afterDigit
	}
	return strings.ContainsRune("_−±<>≤≥=", last)
}

var units = []string{"v", "volt", "volts", "a", "amp", "amps", "ampere", "amperes", "ohm", "ohms", "ω", "kω", "mω",
	"w", "watt", "watts", "min", "minute", "minutes", "s", "seconds", "second", "cm", "mm", "k", "°c", "°", "degrees", "percent", "%", "mv", "ma", "times", "jobs"}

// hasUnit reports whether what follows a number makes it a quantity.
func hasUnit(after string) bool {
	trimmed := strings.TrimLeft(after, " \u00a0")
	end := strings.IndexFunc(trimmed, func(r rune) bool { return !unicode.IsLetter(r) && r != '%' && r != '°' })
	if end < 0 {
		end = len(trimmed)
	}
	word := strings.ToLower(trimmed[:end])
	if slices.Contains(units, word) {
		return true
	}
	if word != "to" && word != "or" && !strings.HasPrefix(trimmed, "–") && !strings.HasPrefix(trimmed, "-") {
		return false
	}
	// A range takes its unit from its end: "30 to 87 ohms".
	rest := strings.TrimLeft(trimmed[end:], "–- ")
	upper := strings.IndexFunc(rest, func(r rune) bool { return !unicode.IsDigit(r) && r != '.' })
	return upper > 0 && !strings.HasPrefix(rest, "87a") && hasUnit(rest[upper:])
}
