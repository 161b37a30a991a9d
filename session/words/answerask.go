package words

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"coilside/rules"
)

// This file answers a test that is a question in words.

// answerAsk answers a question in words that was the expected test.
func (c *call) answerAsk(in []item) bool {
	e := c.ctx.Expected
	if e == nil || e.Measure.Mode != rules.Ask {
		return false
	}
	if e.Kind == "number" {
		return c.askedNumber(in)
	}
	if amongNumbers(e.Of) {
		return c.askedAmong(in)
	}
	got, not := c.askedChoice(in), hasConcept(in, "not")
	word := strings.ReplaceAll(strings.ToLower(strings.Trim(c.text, " .!")), " ", "_")
	if slices.Contains(e.Of, word) && strings.HasPrefix(word, "not_") {
		got, not = []string{word}, false // the choice itself, word for word
	}
	if yes, no := slices.Contains(e.Of, "yes"), slices.Contains(e.Of, "no"); yes && no && not {
		// "no they don't", "they don't"; but "yes they don't" is asked about
		not = slices.Contains(got, "yes")
		if len(got) == 0 && onlyConcepts(in, "not") && !slices.ContainsFunc(in, func(it item) bool { return looking[it.text] }) {
			got = []string{"no"}
		}
	}
	if len(got) == 1 && not && len(e.Of) == 2 && !strings.Contains(got[0], "not") {
		got = slices.DeleteFunc(slices.Clone(e.Of), func(o string) bool { return o == got[0] })
		not = false
	}
	switch {
	case len(got) == 0 || anyOf(in, "skip", "cannot", "why", "help", "how", "status", "else"):
		return false
	case len(got) > 1 || not:
		c.ask("“"+c.text+"”: which of these is it?", c.expectedChoices())
		return true
	}
	fd := Finding{Kind: KindAnswer, Test: e.ID, Measure: e.Measure, Setup: e.Setup, Answer: Answer{Choice: got[0]}}
	fd.Words = c.say(fd)
	c.res.Findings = append(c.res.Findings, fd)
	return true
}

// looking are what someone has not done who cannot answer yet: "haven't checked".
var looking = set(`checked looked tried tested seen asked`)

// amongNumbers reports whether all answers of a question are numbers.
func amongNumbers(of []string) bool {
	return len(of) > 0 && !slices.ContainsFunc(of, func(o string) bool {
		_, err := strconv.ParseFloat(o, 64)
		return err != nil
	})
}

// askedAmong answers a question whose answers are numbers: by the one number said, if it is
// among them; another one is asked about.
func (c *call) askedAmong(in []item) bool {
	e := c.ctx.Expected
	var at int
	if v, ok := c.oneNumber(in); ok {
		at = slices.IndexFunc(e.Of, func(o string) bool { is, err := strconv.ParseFloat(o, 64); return err == nil && is == v })
	} else if got := c.choicesByMeaning(in); len(got) == 1 { // a bare 30 is a terminal elsewhere
		at = slices.Index(e.Of, got[0])
	} else {
		return false
	}
	if at < 0 || hasConcept(in, "not") {
		c.ask("“"+c.text+"”: which of these is it?", c.expectedChoices())
		return true
	}
	fd := Finding{Kind: KindAnswer, Test: e.ID, Measure: e.Measure, Setup: e.Setup, Answer: Answer{Choice: e.Of[at]}}
	fd.Words = c.say(fd)
	c.res.Findings = append(c.res.Findings, fd)
	return true
}

// oneNumber is the number said, if there is one and nothing is odd about it.
func (c *call) oneNumber(in []item) (float64, bool) {
	var nums []num
	for _, it := range in {
		if it.kind == kNum {
			c.settled(it)
			nums = append(nums, it.num)
		}
	}
	if len(nums) != 1 || nums[0].bad || nums[0].odd != "" || anyOf(in, "bound") {
		return 0, false
	}
	return value(nums[0]), true
}

func (c *call) askedNumber(in []item) bool {
	v, ok := c.oneNumber(in)
	if !ok {
		return false
	}
	e := c.ctx.Expected
	fd := Finding{Kind: KindAnswer, Test: e.ID, Measure: e.Measure, Setup: e.Setup, Answer: Answer{Number: &v}}
	fd.Words = formatNumber(v)
	c.res.Findings = append(c.res.Findings, fd)
	return true
}

// askedChoice lists the answers of the expected question that the words say.
func (c *call) askedChoice(in []item) []string {
	of := c.ctx.Expected.Of
	said := " " + strings.Join(strings.FieldsFunc(strings.ToLower(c.text), func(r rune) bool { return strings.ContainsRune(" ,.;!?()'-", r) }), " ") + " "
	if got := choicesAsWritten(of, said); len(got) > 0 {
		if meant := c.choicesByMeaning(in); len(got) == 1 && len(meant) == 1 && meant[0] != got[0] && c.withinSaying(in, got[0]) {
			return meant // "under the cab floor" is not in the cab
		}
		return got
	}
	if got := c.choicesByMeaning(in); len(got) > 0 {
		return got
	}
	if yes, no := slices.Contains(of, "yes"), slices.Contains(of, "no"); yes && no && shortYes.MatchString(strings.Join(strings.Fields(said), " ")) {
		return []string{"yes"}
	} else if yes && no && shortNo.MatchString(strings.Join(strings.Fields(said), " ")) {
		return []string{"no"}
	}
	if got := c.neighboursFare(in); got != "" {
		return []string{got}
	}
	if got := byLetter(of, said); len(got) > 0 {
		return got
	}
	return byWord(of, said)
}

// shortYes and shortNo are the answers of a few words that only repeat the question's verb: "they do",
// "none of them do".
var (
	shortYes = regexp.MustCompile(`^(they|it|he|she|i|we|there|that|those|both) (all |sure |both )?(do|does|did|is|are|was|were|has|have|can|will)$`)
	shortNo  = regexp.MustCompile(`^(none|neither)( of (them|those|these))? (do|does|did|is|are|was|were|has|have|can|will)$`)
)

// withinSaying tells that a choice's own words stand within a longer saying that tells the fact asked for.
func (c *call) withinSaying(in []item, choice string) bool {
	e := c.ctx.Expected
	return slices.ContainsFunc(in, func(it item) bool {
		raw := strings.ToLower(it.raw)
		fact, _, ok := strings.Cut(it.concept, "=")
		return ok && (fact == e.Sets || fact == e.ID) && len(raw) > len(choice) && strings.Contains(raw, strings.ReplaceAll(choice, "_", " "))
	})
}

// neighboursFare answers whether other loads suffer too by what is said of them: "they all work fine".
func (c *call) neighboursFare(in []item) string {
	e := c.ctx.Expected
	if len(in) > 1 && alone[in[0].text] && hasConcept(in, "load") && onlyConcepts(in, "load") && e.Sets == "neighbours_suffer" && slices.Contains(e.Of, "no") {
		return "no" // "only the fan"
	}
	if e.Sets != "neighbours_suffer" || !slices.Contains(e.Of, "no") || !slices.ContainsFunc(in, func(it item) bool {
		return others[it.text] || it.concept == "both" || it.concept == "other_load" || others[firstWord(it.raw)]
	}) || hasConcept(in, "not") {
		return ""
	}
	seen := ""
	for _, it := range in {
		fares := map[string]string{"runs": "no", "good": "no", "sound": "no", "gone": "no", "bright": "no", "off": "yes", "dead": "yes", "weak": "yes", "dim": "yes", "comes_and_goes": "yes", "same": "yes"}[it.concept]
		if fares != "" && seen != "" && fares != seen {
			return ""
		}
		seen = firstText(seen, fares)
	}
	return seen
}

// others are words for the loads beside the one of the job.
var others = set(`they they're them all others rest everything whole entire other`)

// byLetter is the one choice that begins with the letter that is all that was typed; of yes and
// no, "negative" is one too.
func byLetter(of []string, said string) []string {
	if said = strings.TrimSpace(said); said == "negative" {
		said = "n"
	}
	if len(said) != 1 {
		return nil
	}
	got := slices.DeleteFunc(slices.Clone(of), func(o string) bool { return !strings.HasPrefix(o, said) })
	if len(got) != 1 {
		return nil
	}
	return got
}

// choicesAsWritten lists the choices whose own words were said; of two of which
// one holds the other, the longer.
func choicesAsWritten(of []string, said string) []string {
	var got []string
	for _, o := range of {
		if strings.Contains(said, " "+strings.ReplaceAll(o, "_", " ")+" ") {
			got = append(got, o)
		}
	}
	return slices.DeleteFunc(slices.Clone(got), func(o string) bool {
		return slices.ContainsFunc(got, func(longer string) bool {
			return longer != o && strings.Contains("_"+longer+"_", "_"+o+"_") // "engine bay" over "engine"
		})
	})
}

// choicesByMeaning lists the choices that sayings stand for.
func (c *call) choicesByMeaning(in []item) []string {
	e := c.ctx.Expected
	var got []string
	add := func(o string) {
		if slices.Contains(e.Of, o) && !slices.Contains(got, o) {
			got = append(got, o)
		}
	}
	for _, it := range in {
		for _, s := range it.place.spots {
			add(s.role)
		}
		for _, said := range append([]string{it.concept}, it.facts...) {
			if fact, val, ok := strings.Cut(said, "="); ok && (fact == firstText(e.Sets, e.ID) || fact == e.ID) {
				add(val)
				add(map[string]string{"true": "yes", "false": "no"}[val])
			}
		}
		switch {
		case it.concept == "yes":
			add("yes")
			add("true")
		case it.concept == "no":
			add("no")
			add("false")
		case it.concept == "unsure":
			add("unknown")
		}
	}
	return got
}

// byWord lists the choices of which one longer word stands among those said,
// and among no other choice: "brakes" for brakes_or_steering.
func byWord(of []string, said string) []string {
	var got []string
	for _, o := range of {
		for _, w := range strings.Split(o, "_") {
			others := slices.ContainsFunc(of, func(x string) bool { return x != o && strings.Contains(x, w) })
			if len(w) >= 4 && !others && strings.Contains(said, " "+w+" ") && !slices.Contains(got, o) {
				got = append(got, o)
			}
		}
	}
	return got
}
