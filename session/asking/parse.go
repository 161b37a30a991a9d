// Package asking tells questions in passing from what a technician reports: "is 107 ohms
// all right?", "what should 87 read now?", "what wire for 15 amps over 6 metres?", "what
// does 87a do?". It knows how such questions are put and not what the answers are.
package asking

import (
	"regexp"
	"strconv"
	"strings"
)

// Kinds of Question.
const (
	Fits     = "fits"     // Reading: is it what a sound circuit gives
	Expect   = "expect"   // Place: what should be read there; "" = in the test at hand
	Wire     = "wire"     // Amps, Metres: which wire
	Terminal = "terminal" // Place: what a terminal is for
)

// Question is one question in passing.
type Question struct {
	Kind    string
	Reading string   // of fits: "107 ohms between 85 and 86"; "" = the last one that was read
	Place   string   // of expect and terminal, as said
	Amps    *float64 // of wire; nil = not said
	Metres  *float64 // of wire, one way; nil = not said
	Volts   *float64 // of wire; nil = not said
}

const (
	number = `\d+(?:[.,]\d+)?`
	units  = `(?:m?v|millivolts?|volts?|k?(?:ω|Ω)|ohms?|kilohms?|kohms?|ma|a|amps?|amperes?|milliamps?)`
	judged = `(?:all ?right|alright|ok(?:ay)?|good|fine|normal|right|sound|healthy|in range|too (?:high|low|much|little)|high|low|a lot|bad)`
	now    = `(?: (?:right )?now| then| here)?`
)

var (
	isIt   = regexp.MustCompile(`^(?:is|are|would|isn't) (?:an? |about )?(` + number + ` ?` + units + `\b.*?),? (?:be )?` + judged + now + `$`)
	itIs   = regexp.MustCompile(`^(` + number + ` ?` + units + `\b.*?),? (?:(?:is|are) that |is it )?` + judged + `$`)
	isThat = []*regexp.Regexp{
		regexp.MustCompile(`^(?:so |and |but |hmm,? )?(?:is|was|isn't) (?:that|it|this)(?: reading| number| value)? (?:a bit |a little |really |very |any |about |still )?` + judged + `(?:,? or (?:bad|not|what|too (?:high|low)))?` + now + `$`),
		regexp.MustCompile(`^(?:is|are) (?:that|those|these) (?:what|as) (?:it|they) should be$`),
		regexp.MustCompile(`^does (?:that|it) (?:look|sound|seem) ` + judged + `(?: to you)?$`),
		regexp.MustCompile(`^should (?:it|that) (?:be|read) (?:that|so|this) (?:high|low|much|little)$`),
		regexp.MustCompile(`^(?:good or bad|should i worry|is that (?:a|the) problem)$`),
	}
	expected = []*regexp.Regexp{
		regexp.MustCompile(`^what (?:should|ought|would) (?:(?:i|we) (?:see|read|get|measure|have|find|expect) (?:at|on|across|from|between) )?(.+?)(?: (?:read|show|be|give|have|measure|to read))?` + now + `$`),
		regexp.MustCompile(`^what(?: do (?:i|we))? expect (?:at|on|across|from|between) (.+?)` + now + `$`),
		regexp.MustCompile(`^what(?: is|'s|s) (?:normal|right|good|expected|the right (?:reading|value)) (?:at|on|across|from|for|between) (.+?)` + now + `$`),
		regexp.MustCompile(`^how (?:many volts|much voltage|many ohms|many amps|much current)(?: should)? (?:there be |be |i (?:see|read|get) )?(?:at|on|across|from|between|through|in) (.+?)` + now + `$`),
	}
	atHand = []*regexp.Regexp{
		regexp.MustCompile(`^what (?:should|ought|would) (?:it|that|this|the meter|the reading|i|we)(?: to)? (?:be|read|show|give|have|see|get|expect|find)` + now + `$`),
		regexp.MustCompile(`^what (?:am i|are we) (?:looking for|expecting|after)` + now + `$`),
		regexp.MustCompile(`^what (?:is|would be) (?:a |the )?(?:good|right|normal|expected) (?:reading|value|number|one)` + now + `$`),
		regexp.MustCompile(`^what (?:reading|value|number|voltage) (?:should|would|do) (?:i|we|it) (?:get|see|expect|want|be|have|need)` + now + `$`),
	}
	wire     = regexp.MustCompile(`^(?:what|which|how (?:thick|big|heavy)(?: a)?)\b.*\b(?:wire|cable|gauge|awg|cross.section)\b`)
	whichOne = regexp.MustCompile(`^(?:what|which) (?:colou?r )?(?:wire|cable)(?: colou?r)?(?: is (?:it|that|this))?(?: again)?$`) // asks where, not what size
	amps     = regexp.MustCompile(`(` + number + `) ?-?(?:a|amps?|amperes?)\b`)
	metres   = regexp.MustCompile(`(` + number + `) ?-?(?:m|metres?|meters?)\b`)
	feet     = regexp.MustCompile(`(` + number + `) ?-?(?:ft|feet|foot)\b`)
	volts    = regexp.MustCompile(`\b(12|24) ?-?(?:v|volts?)\b`)
	does     = regexp.MustCompile(`^what (?:does|do|is) (?:the )?(?:terminal |pin |contact |cavity )?([0-9]{1,2}a?|a[12]) (?:do|for|used for|mean|there for)$`)
	whatIs   = regexp.MustCompile(`^what(?: is|'s|s) (?:the )?(?:terminal |pin |contact |cavity )?([0-9]{1,2}a?|a[12])(?: for)?$`)
	hyphen   = regexp.MustCompile(`([a-z])-([a-z])`)
	spaces   = regexp.MustCompile(`\s+`)
	notAsked = regexp.MustCompile(`\b(?:i|we) (?:got|read|measured)\b`)
)

// Parse reads a question; false where the text is none of these, so that it may be
// something that was found.
func Parse(text string) (Question, bool) {
	asked := strings.HasSuffix(strings.TrimSpace(text), "?")
	text = strings.ToLower(strings.Trim(spaces.ReplaceAllString(text, " "), " ?!."))
	text = strings.NewReplacer("’", "'", "what's", "what is", "whats", "what is").Replace(text)
	if notAsked.MatchString(text) {
		return Question{}, false
	}
	if m := does.FindStringSubmatch(text); m != nil {
		return Question{Kind: Terminal, Place: m[1]}, true
	}
	if m := whatIs.FindStringSubmatch(text); m != nil {
		return Question{Kind: Terminal, Place: m[1]}, true
	}
	if wire.MatchString(text) && !whichOne.MatchString(text) {
		return sized(text), true
	}
	if m := isIt.FindStringSubmatch(text); m != nil {
		return Question{Kind: Fits, Reading: m[1]}, true
	}
	if m := itIs.FindStringSubmatch(text); m != nil && asked { // without the mark it is a reading
		return Question{Kind: Fits, Reading: m[1]}, true
	}
	for _, form := range isThat {
		if form.MatchString(text) {
			return Question{Kind: Fits}, true
		}
	}
	for _, form := range atHand {
		if form.MatchString(text) {
			return Question{Kind: Expect}, true
		}
	}
	for _, form := range expected {
		if m := form.FindStringSubmatch(text); m != nil {
			return Question{Kind: Expect, Place: m[1]}, true
		}
	}
	return Question{}, false
}

func sized(text string) Question {
	text = digits(text)
	q := Question{Kind: Wire, Amps: found(amps, text, 1), Metres: found(metres, text, 1), Volts: found(volts, text, 1)}
	if q.Metres == nil {
		q.Metres = found(feet, text, 0.3048)
	}
	return q
}

func found(form *regexp.Regexp, text string, times float64) *float64 {
	m := form.FindStringSubmatch(text)
	if m == nil {
		return nil
	}
	v, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	if err != nil {
		return nil
	}
	v *= times
	return &v
}

var (
	ones = strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
)

// digits writes whole numbers up to 99 that are spelled out in digits.
func digits(text string) string {
	var out []string
	in := strings.Fields(hyphen.ReplaceAllString(text, "$1 $2"))
	for i := 0; i < len(in); i++ {
		value, ok := spelledNumber(in[i])
		if !ok {
			out = append(out, in[i])
			continue
		}
		if i+1 < len(in) && value >= 20 {
			if one, ok := spelledNumber(in[i+1]); ok && one > 0 && one < 10 {
				value, i = value+one, i+1
			}
		}
		out = append(out, strconv.Itoa(value))
	}
	return strings.Join(out, " ")
}

func spelledNumber(word string) (int, bool) {
	for i, w := range ones {
		if w == word {
			return i, true
		}
	}
	for i, w := range tens {
		if w == word {
			return 10 * i, true
		}
	}
	return 0, false
}
