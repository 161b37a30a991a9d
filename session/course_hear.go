package session

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// quantitySaid is a number with its unit, in digits.
var quantitySaid = regexp.MustCompile(`(?i)(-?\d+(?:\.\d+)?)\s*(degrees f(?:ahrenheit)?|fahrenheit|°\s?f|f|millivolts?|mv|volts?|v|milliamps?|ma|amps?|amperes?|a|kohms?|k|ohms?|Ω|metres?|meters?|m|feet|foot|ft|degrees(?: c(?:elsius)?)?|°\s?c|celsius|c)\b`)

// saidUnits gives the unit of an errand's answers and the factor to it.
var saidUnits = []struct {
	said   string
	unit   string
	factor float64
}{
	{"millivolt", "volt", 1e-3}, {"mv", "volt", 1e-3}, {"volt", "volt", 1}, {"v", "volt", 1},
	{"milliamp", "ampere", 1e-3}, {"ma", "ampere", 1e-3}, {"amp", "ampere", 1}, {"a", "ampere", 1},
	{"kohm", "ohm", 1e3}, {"k", "ohm", 1e3}, {"ohm", "ohm", 1}, {"ω", "ohm", 1},
	{"metre", "metre", 1}, {"meter", "metre", 1}, {"m", "metre", 1}, {"f", "metre", 0.3048},
	{"deg", "celsius", 1}, {"°", "celsius", 1}, {"c", "celsius", 1},
}

// heardAnswer is one answer that was heard, with what it is about.
type heardAnswer struct {
	test   Test
	answer *Answer
}

// heard takes apart what was said into answers that name what they are about: by a
// word of the question, by being the only question with that unit, or by a choice
// that no other question has. Nothing, where what was said is but an answer to the
// question just asked.
func (c *errand) heard(text string, expected *Test) []heardAnswer {
	var out []heardAnswer
	taken := map[string]bool{}
	take := func(a ask, answer Answer) {
		if !taken[a.test.ID] {
			taken[a.test.ID] = true
			out = append(out, heardAnswer{a.test, &answer})
		}
	}
	low := digits(strings.ToLower(text))
	for _, m := range quantitySaid.FindAllStringSubmatchIndex(low, -1) {
		number, _ := strconv.ParseFloat(low[m[2]:m[3]], 64)
		unit, v := measured(number, low[m[4]:m[5]])
		if a, ok := c.about(around(low, m[0], m[1]), unit, v, expected, taken); ok {
			if a.test.Answers.Kind == "choice" {
				take(a, Answer{Choice: plain(v)})
			} else {
				take(a, Answer{Number: &v})
			}
		}
	}
	if len(out) > 0 || expected == nil {
		for _, a := range c.open() { // words beside numbers: "a 12 volt motor"
			if word := onlyChoice(c, a, low); word != "" && !taken[a.test.ID] {
				take(a, Answer{Choice: word})
			}
		}
	}
	return out
}

// measured gives a number in the unit that courses take it in.
func measured(v float64, said string) (unit string, in float64) {
	if strings.HasSuffix(said, "f") || strings.HasSuffix(said, "fahrenheit") {
		return "celsius", (v - 32) / 1.8
	}
	for _, u := range saidUnits {
		if strings.HasPrefix(said, u.said) {
			return u.unit, v * u.factor
		}
	}
	return "", v
}

// around is what stands near a number: the clause it is in.
func around(text string, from, to int) string {
	start := strings.LastIndexAny(text[:from], ",;") + 1
	end := len(text)
	if i := strings.IndexAny(text[to:], ",;"); i >= 0 {
		end = to + i
	}
	return text[start:end]
}

// about finds the question that a number with a unit answers.
func (c *errand) about(clause, unit string, v float64, expected *Test, taken map[string]bool) (ask, bool) {
	fits := func(a ask) bool {
		if taken[a.test.ID] || a.test.Answers.Unit != unit {
			return false
		}
		return a.test.Answers.Kind == "number" || slices.Contains(a.test.Answers.Of, plain(v))
	}
	var open []ask
	named := func(a ask) bool {
		return fits(a) && slices.ContainsFunc(a.keys, func(k string) bool { return hasWord(clause, k) })
	}
	for _, of := range [][]ask{c.open(), c.asks} { // what was answered may be put right by its name
		if i := slices.IndexFunc(of, named); i >= 0 {
			return of[i], true
		}
	}
	for _, a := range c.open() {
		if fits(a) {
			open = append(open, a)
		}
	}
	for _, a := range open {
		if expected != nil && a.test.ID == expected.ID {
			return a, true
		}
	}
	if unit == "volt" || unit == "metre" || unit == "ampere" {
		for _, a := range open {
			if a.must {
				return a, true
			}
		}
	}
	if len(open) == 1 {
		return open[0], true
	}
	return ask{}, false
}

func hasWord(text, word string) bool {
	at := strings.Index(text, word)
	return at >= 0 && (at == 0 || notWord(rune(text[at-1]))) && (at+len(word) == len(text) || notWord(rune(text[at+len(word)])))
}

// onlyChoice is the one choice of a question that was said, where no other question
// has that choice.
func onlyChoice(c *errand, a ask, text string) string {
	found := ""
	for _, w := range a.test.Answers.Of {
		if len(w) < 4 || w == "unknown" || !hasWord(text, strings.ReplaceAll(w, "_", " ")) && !hasWord(text, w+"s") {
			continue
		}
		shared := slices.ContainsFunc(c.asks, func(other ask) bool { return other.test.ID != a.test.ID && slices.Contains(other.test.Answers.Of, w) })
		if shared || found != "" {
			return ""
		}
		found = w
	}
	return found
}

// answerOf reads an answer to one question: a choice by its words, or a number.
func answerOf(t Test, text string) (Answer, bool) {
	low := digits(strings.ToLower(strings.Trim(text, " .!?")))
	if t.Answers.Kind == "choice" {
		return choiceOf(t, low)
	}
	if m := quantitySaid.FindStringSubmatch(low); m != nil {
		v, _ := strconv.ParseFloat(m[1], 64)
		unit, v := measured(v, m[2])
		return Answer{Number: &v}, unit == t.Answers.Unit
	}
	if v, err := strconv.ParseFloat(low, 64); err == nil {
		return Answer{Number: &v}, true
	}
	return Answer{}, false
}

// numberWords are the numbers that lengths, temperatures and counts are said in.
var numberWords = map[string]float64{"zero": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
	"eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
	"twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90}

// digits writes numbers said in words as digits: "twenty-four" is 24.
func digits(text string) string {
	var out []string
	tens := 0.0
	for _, w := range strings.Fields(strings.ReplaceAll(text, "-", " ")) {
		bare := strings.TrimRight(w, ",;.")
		v, ok := numberWords[bare]
		switch {
		case !ok:
			out, tens = append(out, w), 0
		case tens > 0 && v > 0 && v < 10:
			out[len(out)-1], tens = plain(tens+v)+w[len(bare):], 0
		default:
			out, tens = append(out, plain(v)+w[len(bare):]), 0
			if v >= 20 {
				tens = v
			}
		}
	}
	if len(out) == 0 || !strings.ContainsAny(text, "abcdefghijklmnopqrstuvwxyz") {
		return text
	}
	return strings.Join(out, " ")
}

// otherWords are other ways to say a choice.
var otherWords = map[string][]string{
	"yes": {"y", "yeah", "yep", "it does", "it must"}, "no": {"n", "nope", "it does not", "not"}, "none": {"nothing", "no suppression", "plain"},
	"make": {"87", "only 87"}, "break": {"87a", "only 87a"}, "changeover": {"both", "87 and 87a", "five pins"}, "two_87": {"two 87s", "dual 87"},
	"engine_bay": {"engine", "under the bonnet", "under the hood", "engine compartment"}, "cab": {"inside", "under the dash", "cabin"}, "outside": {"outdoors", "chassis"},
	"pressure_wash": {"washed down", "pressure washed"}, "unknown": {"not sure"}, "same": {"same place", "the same"}, "changed_over": {"swapped", "changed"},
	"buzz": {"buzzes"}, "silent": {"no click", "nothing"}, "click": {"clicks", "yes", "clicked"}, "lamp": {"lamps", "bulbs", "lights"}, "heater": {"resistive"},
	"motor": {"fan", "pump", "blower"}, "solenoid": {"valve"}, "ground": {"earth", "negative", "ground side"}, "positive": {"positive side", "supply side"},
}

func choiceOf(t Test, low string) (Answer, bool) {
	if v, err := strconv.ParseFloat(low, 64); err == nil && !slices.Contains(t.Answers.Of, plain(v)) && t.Answers.Unit != "" {
		return Answer{}, false // a number, but none of those
	}
	for _, w := range t.Answers.Of {
		if low == w || low == strings.ReplaceAll(w, "_", " ") || slices.Contains(otherWords[w], low) {
			return Answer{Choice: w}, true
		}
	}
	best, most := "", 0
	for _, w := range t.Answers.Of {
		for _, say := range append([]string{strings.ToLower(strings.ReplaceAll(w, "_", " "))}, otherWords[w]...) {
			if len(say) > most && hasWord(low, say) {
				best, most = w, len(say)
			}
		}
	}
	return Answer{Choice: best}, best != ""
}
