package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// dinRoles are the terminals by their DIN 72552 names, in which everything here
// is kept.
var dinRoles = []string{"30", "85", "86", "87", "87a"}

// marks maps the marks of other schemes to DIN roles. Numbers: ISO 7588-1, the
// 1-5 moulded beside the blades. en: EN 50005, A1/A2 coil and 11/12/14
// changeover. Values from memory of the standards.
var marks = map[string]map[string]string{
	"numbers": {"1": "86", "2": "85", "3": "30", "4": "87a", "5": "87"},
	"en":      {"a1": "86", "a2": "85", "11": "30", "12": "87a", "14": "87"},
}

// markOf is the mark of a role under a labelling scheme, "" where it is the role
// itself.
func markOf(role, labels string) string {
	for m, r := range marks[labels] {
		if r == role {
			return m
		}
	}
	return ""
}

// roleOf is the role that a mark as said names under a labelling scheme. sure
// tells that the mark can hardly be a number: 86 can, 3 more so.
func roleOf(said, labels string) (role string, sure bool) {
	if r, ok := marks[labels][said]; ok {
		return r, said == "a1" || said == "a2"
	}
	if slices.Contains(dinRoles, said) {
		return said, true
	}
	return "", false
}

// alpha joins "87" and "a" or "alpha" said after it.
func alpha(in []item) []item {
	var out []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		j := i + 1
		if j+1 < len(in) && in[j].text == "-" {
			j++
		}
		if it.kind == kNum && it.num.digits == "87" && j < len(in) && isAlpha(in, j) {
			out = append(out, item{kind: kWord, text: "87a", raw: it.raw + in[j].raw, glued: it.glued})
			i = j
			continue
		}
		if it.kind == kWord && it.text == "a" && i+1 < len(in) && in[i+1].kind == kNum {
			if d := in[i+1].num.digits; (d == "1" || d == "2") && in[i+1].num.whole() {
				it.text, it.raw = "a"+d, "A"+d
				i++
			}
		}
		out = append(out, it)
	}
	return out
}

// isAlpha tells the letter of 87a from the article: "87 a bit low".
func isAlpha(in []item, i int) bool {
	switch in[i].text {
	case "alpha", "able", "alfa":
		return true
	case "a":
		if i+1 == len(in) || in[i+1].kind != kWord {
			return true
		}
		switch in[i+1].text {
		case "is", "'s", "has", "got", "reads", "reading", "shows", "to", "at", "and", "-", "dead", "live", "hot", "with", "relay", "minus", "nothing":
			return true
		}
	}
	return false
}

// terminalWords stand before the mark of a terminal.
var terminalWords = set(`pin pins terminal terminals term t cavity blade tab leg spade slot number marked labelled labeled numbered stamped`)

// terminals decides which numbers of the utterance are marks on the relay.
func (c *call) terminals(in []item) []item {
	in = c.listedMarks(in)
	for i := range in {
		it := &in[i]
		said, labels := it.text, c.ctx.Labels
		if it.kind == kNum {
			said = it.num.digits
		}
		ofPart := i > 1 && in[i-1].text == "number" && concepts[in[i-2].concept] == gPlace && in[i-2].concept != "relay" // "fuse number 12"
		named := i > 0 && !ofPart && in[i-1].kind == kWord && terminalWords[in[i-1].text]
		role, sure := roleOf(said, labels)
		switch {
		case c.namesFuse(in, i):
			it.num.size, it.num.unit.dim = ampere, "rating"
		case it.kind == kWord && role != "":
			*it = placeItem(*it, c.terminal(role))
		case it.kind != kNum || !it.num.whole() || it.num.bad || it.num.odd != "" && !named:
		case named && role == "" && c.expects(rules.Ask): // "it's marked 20", of a fuse
		case named && role == "":
			*it = placeItem(*it, spot{ask: "“" + it.raw + "” is no terminal of this relay as it is marked"})
		case named || role != "" && c.isMark(in, i, sure):
			*it = placeItem(*it, c.terminal(role))
		}
	}
	return in
}

// namesFuse tells "fuse 30 is good" and "fuse 86 has 12.4", which say something of a fuse, from a terminal
// that is read: the number is the fuse's rating or, where no fuse is rated so, names one that is asked for.
func (c *call) namesFuse(in []item, i int) bool {
	prev := neighbour(in, i, -1)
	if in[i].kind != kNum || !isDIN(in[i].num.digits) || !in[i].num.whole() || in[i].num.bad || prev.concept != "fuse" || !strings.EqualFold(prev.raw, "fuse") {
		return false
	}
	for j := i - 1; j >= 0 && in[j].kind != kSep; j-- {
		if in[j].kind == kNum && in[j].num.unit.dim != "rating" || in[j].kind == kPlace || valueWord(in[j]) {
			return false // "12.4 at the fuse 30 12.3"
		}
	}
	for j := i + 1; j < len(in) && in[j].kind != kSep; j++ {
		if in[j].kind == kNum || concepts[in[j].concept] == gOutcome {
			c.fuseNamed = c.fuseNamed || in[i].num.digits != "30"
			return true
		}
	}
	return false
}

// listedMarks takes "3, 1 and 2 are 12.5, 12.3 and 0", and "11: 12.5, 14: 0", for marks and what
// was read at them: each is one of this relay's, and as many values follow.
func (c *call) listedMarks(in []item) []item {
	if marks[c.ctx.Labels] == nil {
		return in
	}
	for i := 0; i < len(in); i++ {
		if i > 0 && in[i-1].kind != kSep && !terminalWords[in[i-1].text] {
			continue
		}
		var at []int
		roles := map[string]bool{}
		j := i
		for j < len(in) {
			role, _ := roleOf(firstText(in[j].num.digits, in[j].text), c.ctx.Labels)
			if in[j].kind != kWord && in[j].kind != kNum || role == "" || roles[role] || in[j].kind == kNum && (!in[j].num.whole() || in[j].num.unit.dim != "") {
				break
			}
			roles[role] = true
			at = append(at, j)
			for j++; j < len(in) && (in[j].text == "," || in[j].text == "and"); {
				j++
			}
		}
		values, end := 0, j+1
		if len(at) == 0 || j >= len(in) || !(in[j].kind == kSep && in[j].text == ":" || len(at) > 1 && plural[in[j].text]) {
			continue
		}
		for end < len(in) && (in[end].kind == kNum && !in[end].glued || valueWord(in[end])) {
			values++
			if end++; len(at) == 1 {
				break
			}
			for end < len(in) && (in[end].text == "," || in[end].text == "and") {
				end++
			}
		}
		if values != len(at) {
			continue
		}
		for _, k := range at {
			role, _ := roleOf(firstText(in[k].num.digits, in[k].text), c.ctx.Labels)
			in[k] = placeItem(in[k], c.terminal(role))
		}
		i = end - 1
	}
	return in
}

func placeItem(it item, s spot) item {
	it.kind, it.place = kPlace, placeRef{spots: []spot{s}}
	return it
}

// terminal is the spot of a role; one this relay lacks is asked about.
func (c *call) terminal(role string) spot {
	if c.ctx.Terminals != nil && !slices.Contains(c.ctx.Terminals, role) {
		return spot{role: role, ask: "this relay has no terminal " + role}
	}
	return spot{role: role}
}

// isMark decides whether the whole number at in[i], which could be a terminal's
// mark, is one here. sure numbers (85) are marks unless something says
// otherwise; others (3, 12) are numbers unless something says otherwise.
func (c *call) isMark(in []item, i int, sure bool) bool {
	prev, next := neighbour(in, i, -1), neighbour(in, i, 1)
	located := prev.text == "at" || prev.text == "on" || prev.concept == "that_was"
	switch {
	case prev.text == "a" && c.expects(rules.Look):
		return false // "the wrong one, a 30"
	case prev.concept == "about" && hasConcept(in[:i], "why"):
		return sure // "why do I care about 86"
	case prev.concept == "about" || prev.concept == "bound", strings.EqualFold(prev.raw, "out of") && c.expects(rules.AmpsDC):
		return false // "8.5 out of 30"
	case c.onlyNumber(in, i) && c.fitsExpected(in[i].num) && !located && !valueWord(next):
		return false
	case placesBefore(in, i) && verbs[prev.text]:
		return false // "85 to 86 is 86"
	case prev.kind == kSep && onlyAState(in[i+1:]) && hasNumber(in[:i]) && !slices.ContainsFunc(in[:i], func(it item) bool { return it.kind == kPlace }):
		return false // "9 amps running, 30 when it starts"
	case sure:
		return !(preps[next.text] && next.text != "to" && next.text != "-" && c.candidate(in, i+2) && !c.candidate(in, i-2))
	}
	return c.softMark(in, i, prev, next)
}

// onlyAState tells a clause that says in what state something was read, and no value.
func onlyAState(in []item) bool {
	state := false
	for _, it := range in {
		switch {
		case it.kind == kSep:
			return state
		case isSetup(it) || it.concept == "inrush":
			state = true
		case it.kind != kWord || it.text == "is" || it.text == "has" || it.text == "and":
			return false
		}
	}
	return state
}

// softMark looks for what makes a small number a mark: a place word before it,
// a verb or a reading after it, or another mark tied to it.
func (c *call) softMark(in []item, i int, prev, next item) bool {
	tied := func(w string) bool { return w == "to" || w == "-" || w == "and" }
	switch {
	case hasConcept(in, "jumping"), verbs[prev.text]:
		return false
	case preps[prev.text] && !tied(prev.text), verbs[next.text], valueWord(next):
		return true
	case tied(prev.text) && i >= 2 && in[i-2].kind == kPlace:
		return true
	case next.kind == kNum:
		return next.num.unit.dim != "rating"
	case tied(next.text):
		return c.candidate(in, i+2) && c.pairOfMarks(in, i)
	}
	return false
}

// pairOfMarks tells "1 to 2 is 84" from "5 to 11": a reading must follow, or a
// jumper's act or "between" go before.
func (c *call) pairOfMarks(in []item, i int) bool {
	for _, it := range in[i+3:] {
		if it.kind == kNum || valueWord(it) {
			return true
		}
	}
	return hasConcept(in[:i], "between") || hasConcept(in[:i], "across") || hasConcept(in, "bridge")
}

func hasConcept(in []item, concept string) bool {
	for _, it := range in {
		if it.concept == concept {
			return true
		}
	}
	return false
}

func (c *call) candidate(in []item, i int) bool {
	if i < 0 || i >= len(in) {
		return false
	}
	if in[i].kind == kPlace || concepts[in[i].concept] == gPlace {
		return true
	}
	said := in[i].text
	if in[i].kind == kNum {
		if !in[i].num.whole() {
			return false
		}
		said = in[i].num.digits
	}
	role, _ := roleOf(said, c.ctx.Labels)
	return role != ""
}

// onlyNumber tells whether in[i] is the only number or place of the utterance.
func (c *call) onlyNumber(in []item, i int) bool {
	for j, it := range in {
		if j != i && (it.kind == kNum || it.kind == kPlace) {
			return false
		}
	}
	return true
}

func neighbour(in []item, i, d int) item {
	if j := i + d; j >= 0 && j < len(in) {
		return in[j]
	}
	return item{kind: kSep}
}

func placesBefore(in []item, i int) bool {
	for j := i - 1; j >= 0 && in[j].kind != kSep; j-- {
		if in[j].kind == kPlace || concepts[in[j].concept] == gPlace {
			return true
		}
	}
	return false
}

var (
	verbs = set(`is 's are was were has have got had reads read reading readings shows show showing gives give gave measures
		measured measuring says saying equals sits`)
	preps = set(`at on across between from through - to`)
)

// valueWord tells whether the item says what a place read, without a number.
func valueWord(it item) bool {
	switch it.concept {
	case "live", "short", "dead", "nothing", "open_line", "open", "beeps", "no_beep", "same", "bright", "dim", "dark":
		return true
	}
	return false
}
