package words

import (
	"slices"
	"strconv"
	"strings"

	"coilside/rules"
)

// facts files the facts said, and returns the items that are left.
func (c *call) facts(in []item) []item {
	var rest []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		if c.systemVoltsAlone(in, i) {
			c.numberFact(c.askOf("system_volts"), it.num)
			c.settled(it)
			continue
		}
		fact, val, ok := strings.Cut(it.concept, "=")
		if c.ctx.Describing || ok {
			c.describes(it)
			for _, within := range c.r.match(it.loose) {
				c.describes(within) // "the fuse for the heated screen keeps blowing"
			}
		}
		ask := c.askOf(fact)
		if ok && ask == nil && strings.HasPrefix(fact, "has_") && val == "false" {
			it.concept = "cannot" // a tool that is not at hand
		}
		if !ok || ask == nil {
			rest = append(rest, it)
			continue
		}
		not := len(rest) > 0 && rest[len(rest)-1].concept == "not"
		used := -1
		if val == "number" {
			used = nearNumber(in, i, ask)
			if used < 0 {
				rest = append(rest, it)
				continue
			}
			c.numberFact(ask, in[used].num)
			c.settled(in[used])
			if used < i {
				rest = slices.DeleteFunc(rest, func(x item) bool { return x.kind == kNum && x.num == in[used].num })
			} else {
				in = slices.Delete(slices.Clone(in), used, used+1)
			}
			continue
		}
		if not {
			rest = rest[:len(rest)-1]
			val = oppositeFact(val)
		}
		c.fact(ask, val, it.raw)
	}
	return rest
}

// systemVoltsAlone tells "tractor, 12 volt, …", "won't run on 12 volts" and "24v saloon" from
// a reading: while a job is opened, the volts of a system at the end of a clause, or before a
// word that names a thing.
func (c *call) systemVoltsAlone(in []item, i int) bool {
	n := in[i].num
	before, next := neighbour(in, i, -1), neighbour(in, i, 1)
	if !c.ctx.Opening || in[i].kind != kNum || n.v != 12 && n.v != 24 || c.askOf("system_volts") == nil {
		return false
	}
	ofThing := (n.unit == unit{volt, 1} || n.unit.dim == "rating" && n.size == volt) && (next.kind == kWord && plainly(next.text) || next.concept == "load")
	starts := before.kind == kSep || before.kind == kWord && linkWords[before.text] && before.text != "at"
	return ofThing && starts || n.unit == unit{volt, 1} && (before.kind == kSep || before.text == "on" || concepts[before.concept] == gOutcome) && next.kind == kSep
}

// describes files what the name of a part tells besides: a fan is a motor.
func (c *call) describes(it item) {
	for _, f := range it.facts {
		fact, val, _ := strings.Cut(f, "=")
		if ask := c.askOf(fact); ask != nil {
			c.fact(ask, val, it.raw)
		}
	}
}

func (c *call) askOf(fact string) *Ask {
	for i := range c.ctx.Asks {
		if c.ctx.Asks[i].Fact == fact {
			return &c.ctx.Asks[i]
		}
	}
	return nil
}

// nearNumber is the number that goes with the fact at in[i]: right beside it, or
// after link words. -1 for none.
func nearNumber(in []item, i int, ask *Ask) int {
	fits := func(j int) bool {
		if j < 0 || j >= len(in) || in[j].kind != kNum || in[j].num.odd != "" || in[j].num.bad {
			return false
		}
		dim := in[j].num.unit.dim
		return dim == "" || dim == ask.Unit || dim == volt && strings.HasSuffix(ask.Fact, "_volts") || dim == kilo || dim == "rating" && (in[j].num.size == ask.Unit || ask.Unit == "")
	}
	j := i + 1
	for j < len(in) && in[j].kind == kWord && linkWords[in[j].text] {
		j++
	}
	if fits(j) && (j > i+1 || in[j].num.unit.dim != "") {
		return j
	}
	if fits(i-1) && in[i-1].num.unit.dim != "" {
		return i - 1
	}
	return -1
}

func (c *call) numberFact(ask *Ask, n num) {
	if ask.Kind != rules.Number {
		c.fact(ask, n.digits, n.digits)
		return
	}
	c.fileFact(ask, rules.Value{Kind: rules.Number, Number: value(n)})
}

func oppositeFact(v string) string {
	switch v {
	case "true":
		return "false"
	case "false":
		return "true"
	}
	return ""
}

func (c *call) fact(ask *Ask, val, raw string) {
	switch {
	case ask.Kind == rules.Bool && (val == "true" || val == "false"):
		c.fileFact(ask, rules.Value{Kind: rules.Bool, Bool: val == "true"})
	case ask.Kind == rules.Number:
		if v, err := strconv.ParseFloat(val, 64); err == nil {
			c.fileFact(ask, rules.Value{Kind: rules.Number, Number: v})
		}
	case ask.Kind == rules.Text && val != "", slices.Contains(ask.Of, val):
		c.fileFact(ask, rules.Value{Kind: ask.Kind, Text: val})
	default:
		var choices []Choice
		for _, o := range ask.Of {
			f := Finding{Kind: KindFact, Fact: ask.Fact, Value: rules.Value{Kind: ask.Kind, Text: o}}
			f.Words = c.say(f)
			choices = append(choices, Choice{Words: strings.ReplaceAll(o, "_", " "), Findings: []Finding{f}})
		}
		c.ask("The "+ask.Words+": which is it?", choices)
	}
}

func (c *call) fileFact(ask *Ask, v rules.Value) {
	f := Finding{Kind: KindFact, Fact: ask.Fact, Value: v}
	f.Words = c.say(f)
	told := func(other Finding) bool { return other.Kind == KindFact && other.Words == f.Words }
	if !slices.ContainsFunc(c.res.Findings, told) { // "open relay, not sealed" tells it once
		c.res.Findings = append(c.res.Findings, f)
	}
}

func (c *call) factWords(f Finding) string {
	name := strings.ReplaceAll(f.Fact, "_", " ")
	if a := c.askOf(f.Fact); a != nil && a.Words != "" {
		name = a.Words
	}
	switch f.Value.Kind {
	case rules.Bool:
		return name + ": " + map[bool]string{true: "yes", false: "no"}[f.Value.Bool]
	case rules.Number:
		return name + ": " + formatNumber(f.Value.Number)
	}
	return name + ": " + strings.ReplaceAll(f.Value.Text, "_", " ")
}

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
		if len(got) == 0 && onlyConcepts(in, "not") {
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
		return got
	}
	if got := c.choicesByMeaning(in); len(got) > 0 {
		return got
	}
	return byWord(of, said)
}

// choicesAsWritten lists the choices whose own words were said; of two of which
// one holds the other, the longer.
func choicesAsWritten(of []string, said string) []string {
	var got []string
	longest := 0
	for _, o := range of {
		w := strings.ReplaceAll(o, "_", " ")
		if !strings.Contains(said, " "+w+" ") || len(w) < longest {
			continue
		}
		if len(w) > longest && contained(got, w) {
			got = nil // "engine bay" over "engine"
		}
		longest = len(w)
		got = append(got, o)
	}
	return got
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

func contained(list []string, w string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(w, strings.ReplaceAll(s, "_", " ")) })
}

// complaints in the order in which one said with others wins.
var complaintOf = []struct {
	id   string
	said []string
}{
	{"drops_out_hot", []string{"drops_out_hot"}},
	{"inverted", []string{"inverted"}},
	{"stays_on", []string{"stays_on"}},
	{"blows_fuse", []string{"trips", "blown"}},
	{"chatters", []string{"buzz"}},
	{"intermittent", []string{"comes_and_goes"}},
	{"weak", []string{"weak", "dim"}},
	{"dead", []string{"off", "dead", "nothing", "dark"}},
}

// complaint files what the customer says is wrong.
func (c *call) complaint(f *frame, seen []string) {
	if f.has(f.setups, "heat_soaked") && len(only(seen, "off", "dead", "comes_and_goes", "trips")) > 0 {
		seen = append(seen, "drops_out_hot") // "quits once it's been on for half an hour"
	}
	if runs := slices.Equal(only(seen, "runs", "off"), []string{"runs"}); runs && f.has(f.setups, "heat_none") {
		seen = append(seen, "drops_out_hot") // "only works when it's cold"
	} else if runs && f.has(f.setups, "key_off", "command_off") {
		seen = append(seen, "stays_on") // "runs with the key out"
	}
	for _, k := range complaintOf {
		if k.id == "dead" && slices.Contains(seen, "runs") {
			break // "comes on when I turn it off"
		}
		if len(only(seen, k.said...)) > 0 {
			fd := Finding{Kind: KindComplaint, Complaint: k.id, Hedge: hedge(f)}
			fd.Words = c.say(fd)
			c.res.Findings = append(c.res.Findings, fd)
			return
		}
	}
	var choices []Choice
	for _, k := range complaintOf {
		fd := Finding{Kind: KindComplaint, Complaint: k.id}
		fd.Words = c.say(fd)
		choices = append(choices, Choice{Words: strings.ReplaceAll(k.id, "_", " "), Findings: []Finding{fd}})
	}
	c.ask("What is wrong with it?", choices)
}
