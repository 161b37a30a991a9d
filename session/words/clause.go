package words

import (
	"slices"
	"strings"
)

// This file cuts an utterance into clauses.

// ended tells that nothing more is said of what stood before.
func ended(next item) bool {
	return next.kind == kSep || next.text == "and" || next.text == "either"
}

func rawOf(in []item) string {
	var b strings.Builder
	for _, it := range in {
		if b.Len() > 0 && !(it.glued && (it.kind == kSep || it.text == "'s" || it.text == "v" || it.text == "-")) {
			b.WriteByte(' ')
		}
		b.WriteString(it.raw)
		for _, u := range it.unit {
			if !u.glued {
				b.WriteByte(' ')
			}
			b.WriteString(u.raw)
		}
	}
	return b.String()
}

// clauses cuts the items at separators.
func clauses(in []item) [][]item {
	var out [][]item
	start := 0
	cut := func(end int) {
		if end > start {
			out = append(out, in[start:end])
		}
	}
	for i, it := range in {
		breaks := it.kind == kSep && it.text != "(" && !(it.text == ":" && names(in[start:i])) || it.text == "and" && (saysSame(in[i+1:]) || partsReadings(in[start:i], in[i+1:]) || partsSayings(in[start:i], in[i+1:])) || it.kind == kWord && (it.text == "but" || it.text == "then" || it.text == "though" || it.text == "so")
		aside := it.text == "which" && it.kind == kWord && slices.ContainsFunc(in[start:i], func(it item) bool { return it.kind == kNum }) // "18, which seems a lot"
		breaks = breaks || aside || it.concept == "same" && sameThere(in[start:i], in[i+1:])                                               // "12.4 same on 30"
		if breaks && i+1 < len(in) {
			in[i+1].so, in[i+1].but = it.text == "so" || aside, it.text == "but"
			in[i+1].then = it.text == "then"
		}
		if breaks {
			cut(i)
			start = i + 1
			if it.concept == "same" {
				start = i
			}
		}
	}
	cut(len(in))
	return out
}

// names tells that the items only name a part or a place: "coil: open circuit".
func names(in []item) bool {
	named := false
	for _, it := range in {
		switch {
		case it.kind == kPlace || concepts[it.concept] == gPlace:
			named = true
		case it.kind != kWord || !linkWords[it.text]:
			return false
		}
	}
	return named
}

// partsReadings tells an "and" between two whole readings said in opposite orders: "86
// has 24.1 and nothing on 85".
func partsReadings(left, right []item) bool {
	if end := slices.IndexFunc(right, func(it item) bool { return it.kind == kSep }); end >= 0 {
		right = right[:end]
	}
	placeFirst := func(part []item) (first, whole bool) {
		place, value := -1, -1
		for i, it := range part {
			if (it.kind == kPlace || it.concept == "battery") && place < 0 {
				place = i
			} else if (it.kind == kNum || it.kind == kConcept && valueWord(it)) && value < 0 {
				value = i
			}
		}
		return place < value, place >= 0 && value >= 0
	}
	a, wholeA := placeFirst(left)
	b, wholeB := placeFirst(right)
	return wholeB && (wholeA && a != b || bareNumber(left) && (b || !hasNumber(right)))
}

// bareNumber tells a number and nothing else: "12.4 and 30 has 12.5" answers, and goes on.
func bareNumber(in []item) bool {
	nums := 0
	for _, it := range in {
		switch {
		case it.kind == kNum:
			nums++
		case it.kind != kWord || !linkWords[it.text]:
			return false
		}
	}
	return nums == 1
}

// partsSayings tells an "and" between two things seen of two parts: "the fuse is good and
// the relay clicks".
func partsSayings(left, right []item) bool {
	if end := slices.IndexFunc(right, func(it item) bool { return it.kind == kSep }); end >= 0 {
		right = right[:end]
	}
	whole := func(part []item) bool {
		named := slices.IndexFunc(part, func(it item) bool { return concepts[it.concept] == gPlace || ofFuse(it) })
		return named >= 0 && slices.ContainsFunc(part[named:], func(it item) bool { return concepts[it.concept] == gOutcome && !valueWord(it) })
	}
	return whole(left) && whole(right) || slices.ContainsFunc(left, func(it item) bool { return it.kind == kNum }) && saysOfLoad(right)
}

// saysOfLoad tells what the load does, and begins with it: "and the pump's dead".
func saysOfLoad(in []item) bool {
	for i, it := range in {
		switch {
		case it.concept == "load":
			return slices.ContainsFunc(in[i:], func(it item) bool { return concepts[it.concept] == gOutcome }) &&
				!slices.ContainsFunc(in[i:], func(it item) bool { return it.kind == kNum || it.kind == kPlace })
		case it.kind != kWord || !linkWords[it.text]:
			return false
		}
	}
	return false
}

// saysSame tells whether a place comes next that is said to read the same.
func saysSame(rest []item) bool {
	place := false
	for _, it := range rest {
		switch {
		case it.concept == "same":
			return place
		case it.kind == kPlace:
			place = true
		case it.kind != kWord || !linkWords[it.text]:
			return false
		}
	}
	return false
}

// answerAndMore parts "12.4 and 0 on 87" where a number is asked for: the first answers, the second was
// read at another place.
func (c *call) answerAndMore(in []item) []item {
	and := slices.IndexFunc(in, func(it item) bool { return it.text == "and" })
	if and < 0 || !c.expectsNumber() || !bareNumber(in[:and]) || !c.elsewhere(in[and+1:]) {
		return in
	}
	in = slices.Clone(in)
	in[and] = item{kind: kSep, text: ",", raw: ",", glued: true}
	return in
}

// elsewhere tells one number and then one place, which the test does not ask for, and no more.
func (c *call) elsewhere(in []item) bool {
	nums, places := 0, 0
	for _, it := range in {
		switch {
		case it.kind == kNum && places == 0:
			nums++
		case it.kind == kPlace && nums == 1 && !it.place.pair && len(it.place.spots) == 1 && !c.atAsked(it.place):
			places++
		case it.kind == kSep, it.kind != kWord || !linkWords[it.text]:
			return false
		}
	}
	return nums == 1 && places == 1
}

// sameThere tells a number, and then a place and no more, of which it is said that it reads the same.
func sameThere(left, rest []item) bool {
	nums, places := 0, 0
	for _, it := range left {
		if it.kind == kNum {
			nums++
		}
	}
	for _, it := range rest {
		if it.kind == kSep {
			break
		}
		if it.kind == kPlace && !it.place.pair {
			places++
		} else if it.kind != kWord || !linkWords[it.text] {
			return false
		}
	}
	return nums == 1 && places == 1
}

// sameAgain gives a place that reads the same the number said before it.
func sameAgain(all []frame) {
	for i := 1; i < len(all); i++ {
		f, before := &all[i], &all[i-1]
		if len(f.places) == 1 && len(f.nums) == 0 && slices.Equal(f.values, []string{"same"}) && len(before.nums) == 1 {
			f.nums, f.values = before.nums, nil
		}
	}
}

// mayBeOff tells "it's off" from "the wire fell off" by the word before.
func mayBeOff(in []item, i int) bool {
	before := in[i-1]
	if i > 1 && done[in[i-2].text] {
		return false // "take it off"
	}
	if before.kind != kWord {
		return true
	}
	switch before.text {
	case "stays", "stay", "stayed", "goes", "went", "turns", "turned", "simply", "completely", "always", "again", "too":
		return true
	}
	return linkWords[before.text]
}

// done are verbs with which "off" tells what someone does.
var done = set(`turn turned turning switch switched switching flick flicked take took taken taking pull pulled cut leave left wipe wiped clean knock knocked break broke fell`)

// coilAsPlace takes the coil for its two ends where a clause reads several
// places, or reads the coil in ohms.
func (c *call) coilAsPlace(in []item) []item {
	read, open := 0, false
	for _, it := range in {
		if it.kind == kNum || valueWord(it) {
			read++
		}
		switch it.concept {
		case "open_line", "open", "beeps", "no_beep", "resistance":
			open = true
		}
	}
	if read < 2 && !open {
		return in
	}
	for i, it := range in {
		if it.concept == "battery" && read >= 2 && onlySpot(in, i) {
			two := ends["battery"]
			in[i] = item{kind: kPlace, raw: it.raw, glued: it.glued, place: placeRef{spots: two[:], pair: true}}
		}
		if it.concept == "contact" && open {
			two := ends["contact"]
			two[0].prefix, two[1].prefix = "relay", "relay" // its own contacts, in the hand
			in[i] = item{kind: kPlace, raw: it.raw, glued: it.glued, place: placeRef{spots: two[:], pair: true}}
		}
		if it.concept == "coil" {
			two := c.coilEnds()
			in[i] = item{kind: kPlace, raw: it.raw, glued: it.glued, place: placeRef{spots: two[:], pair: true}}
		}
	}
	return in
}

// onlySpot tells "battery 12.6" from "same as the battery, 12.6": a number or a verb
// comes next.
func onlySpot(in []item, i int) bool {
	next, prep := neighbour(in, i, 1), placeWordBefore(in, i)
	behind := prep.text == "at" || prep.text == "on" || prep.text == "across"
	return next.kind == kNum || verbs[next.text] && (neighbour(in, i, 2).kind == kNum || neighbour(in, i, 2).text == "at" && neighbour(in, i, 3).kind == kNum) || behind && slices.ContainsFunc(in[:i], func(it item) bool { return it.kind == kNum })
}

// cutBySetup parts "12.4 with the key on and 0 with the key off" at the "and".
func cutBySetup(clause []item) (left, right []item) {
	for i, it := range clause {
		if it.text == "and" && it.kind == kWord && hasReading(clause[:i]) && hasReading(clause[i:]) {
			return clause[:i], clause[i+1:]
		}
	}
	return cutByTurns(clause)
}

// cutByTurns parts "12.4 key on 0 key off", two numbers of which each has its own state, all of them
// said before the numbers or all behind them.
func cutByTurns(clause []item) (left, right []item) {
	var order []int
	for i, it := range clause {
		switch {
		case it.kind == kNum, isSetup(it):
			order = append(order, i)
		case it.text == "and":
			return clause, nil
		}
	}
	number := func(n int) bool { return clause[order[n]].kind == kNum }
	if len(order) != 4 || number(0) == number(1) || number(0) != number(2) || number(1) != number(3) {
		return clause, nil
	}
	return clause[:order[2]], clause[order[2]:]
}

// cutByLaterSetup parts "0.6 and 1.4 with the neighbours on" at the "and": the second
// number is of the same place in a state that only it was read in.
func cutByLaterSetup(clause []item) (left, right []item) {
	i := slices.IndexFunc(clause, func(it item) bool { return it.text == "and" && it.kind == kWord })
	if i < 0 || hasConcept(clause[:i], "between") || slices.ContainsFunc(clause[:i], isSetup) || !slices.ContainsFunc(clause[i:], isSetup) {
		return clause, nil
	}
	number := func(it item) bool { return it.kind == kNum }
	place := func(it item) bool { return it.kind == kPlace }
	if !slices.ContainsFunc(clause[:i], number) || !slices.ContainsFunc(clause[i:], number) || slices.ContainsFunc(clause[i:], place) {
		return clause, nil
	}
	return clause[:i], clause[i+1:]
}

func isSetup(it item) bool { return concepts[it.concept] == gSetup }

// inTwoSetups reads the two halves apart; the second is of the first's place if
// it names none.
func (c *call) inTwoSetups(left, right []item) []frame {
	a, b := c.frames(left), c.frames(right)
	if len(a) > 0 && len(b) > 0 && len(b[0].places) == 0 {
		b[0].places = a[len(a)-1].places
		b[0].ownSetup = true
	}
	return append(a, b...)
}

// impliedSetups are what a reading's clause tells of the setup by the way: a relay
// that clicks, or a load that runs, has the relay in and is switched on.
func impliedSetups(f frame, syms []symbol) []string {
	f.takeAll(syms)
	works := f.outcome("click", "buzz", "runs") || f.has(f.setups, "loaded")
	if len(f.nums) == 0 || !works || f.act("bridge", "pull_in", "drop_out") || f.inOhms() {
		return nil
	}
	var out []string
	said, _ := saidSetup(f.setups)
	if said.Relay == "" {
		out = append(out, "relay_in")
	}
	if said.Command == "" {
		out = append(out, "command_on")
	}
	return out
}
