package words

import (
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// frame is one thing said: where, how much, in what setup, what was seen.
type frame struct {
	places    []placeRef
	nums      []item
	values    []string // what a place read, without a number: live, nothing
	outcomes  []string // what was seen otherwise: click, runs, blown
	acts      []string
	setups    []string
	manner    []string // concepts of how sure, how much
	elements  []string // place words without a lead position: load, relay, fuse
	hedges    []string // as said
	unknown   []string // words with no meaning here
	strays    []string // words that may change what a number beside them means
	beside    []string // numbers that are no part of a reading: "2 wires", "not 12.6"
	spent     []item   // numbers that others took the place of
	nowhere   string   // "on the bracket": a place that is no place of the circuit
	onlyIf    bool     // under a condition that was not understood
	between   bool
	restless  bool // it moved, and no more is said of where to: "12.4, jumping about", not "drops to 9"
	onlyBlack bool // "0.4 to the battery", and no other place
	span      bool // two numbers as a range: "5 to 11"
	badNum    bool
	mistyped  []string // as typed
	adrift    bool     // follows a frame about another place, and names none
	before    []string // setups said in a clause of their own before it
	after     []string // and after it
	question  bool
	so        bool   // begins with "so": what is concluded, not what was read
	but       bool   // begins with "but"
	limited   bool   // a "but" follows that was not understood
	bridged   bool   // a jumper is told of in the same breath
	ownSetup  bool   // its setup was said of it alone
	or        bool   // begins with "or": another value for what went before
	no        bool   // "no" in front
	sideOnly  bool   // a side, and nothing it is a side of
	also      bool   // "too": as what was read before it
	prefix    string // socket, back, relay, said apart from the place
	raw       string
}

func (f *frame) has(list []string, want ...string) bool {
	for _, x := range list {
		for _, w := range want {
			if x == w {
				return true
			}
		}
	}
	return false
}

func (f *frame) act(want ...string) bool     { return f.has(f.acts, want...) }
func (f *frame) outcome(want ...string) bool { return f.has(f.outcomes, want...) }
func (f *frame) is(want ...string) bool      { return f.has(f.manner, want...) }

// bare tells that nothing was seen or measured in it.
func (f *frame) bare() bool {
	return len(f.nums)+len(f.values)+len(f.outcomes) == 0 && !f.badNum
}

func (f *frame) onlySetup() bool {
	return f.bare() && len(f.places)+len(f.acts) == 0 && len(f.setups) > 0
}

// symbol is a place or a value in the order said.
type symbol struct {
	place bool
	item  item
}

// frames reads one clause into one frame for each pair of place and value.
func (c *call) frames(clause []item) []frame {
	var base frame
	var syms []symbol
	clause = c.withoutReference(c.coilAsPlace(negate(clause)))
	base.raw = rawOf(clause)
	base.so = len(clause) > 0 && clause[0].so
	base.but = len(clause) > 0 && clause[0].but
	base.also = slices.ContainsFunc(clause, func(it item) bool { return saysToo[strings.ToLower(it.raw)] })
	base.or = len(clause) > 0 && clause[0].text == "or"
	for i := range clause {
		syms = append(syms, c.fileItem(&base, clause, i)...)
	}
	if !hasNumber(clause) && (len(base.outcomes)+len(base.elements) > 0 || hasConcept(clause, "short")) {
		base.hedges = doubtsIn(clause)
	}
	if gone := slices.Index(base.outcomes, "gone"); gone >= 0 && slices.ContainsFunc(syms, func(s symbol) bool { return s.place }) {
		base.outcomes[gone] = "good" // "all good on 30"
	}
	if base.between && c.asksPair() && stretch[strings.ToLower(base.nowhere)] {
		stray := base.nowhere // "across the wire" is from one end to the other, as asked
		base.nowhere, base.strays = "", slices.DeleteFunc(base.strays, func(s string) bool { return s == stray })
	}
	base.condition(clause)
	base.onlyIf = base.onlyIf || len(base.outcomes) > 0 && (slices.Contains(base.strays, "other") || base.ofOther() && !c.expects(rules.Swap)) // "the other fan runs"
	if either(clause) {
		c.muddled, base.outcomes = true, nil
	}
	if said, _ := saidSetup(base.setups); said.Relay == "" && base.has(base.setups, "loaded") && c.asksRelayOut() && !slices.ContainsFunc(syms, func(s symbol) bool { return s.place }) {
		base.setups = append(base.setups, "unkept_state") // "drops to 9 under load", where no load can run
	}
	base.setups = append(base.setups, impliedSetups(base, syms)...)
	if _, clash := saidSetup(base.setups); clash != "" {
		if left, right := cutBySetup(clause); right != nil {
			return c.inTwoSetups(left, right)
		}
	}
	if left, right := cutByLaterSetup(clause); right != nil {
		return c.inTwoSetups(left, right)
	}
	base.onlyBlack = onlyReference(clause)
	base.restless = slices.ContainsFunc(clause, restless)
	if p := c.prefixIn(clause); p != "" {
		base.prefix = p
	}
	base.jumper(syms)
	if len(syms) == 2 && base.span {
		base.between = false // "between 11 and 12" places no lead
	}
	return base.split(syms)
}

var saysToo = map[string]bool{"too": true, "also": true, "as well": true}

// doubtsIn are the doubts voiced of what is no number, of which nothing is roughly so: "a bit
// burnt round the edges".
func doubtsIn(clause []item) []string {
	var out []string
	for _, it := range clause {
		if it.concept == "maybe" || it.concept == "unsure" {
			out = append(out, it.raw)
		}
	}
	return out
}

// ofOther tells what is seen of another circuit's part, with nothing tried.
func (f *frame) ofOther() bool {
	return f.has(f.elements, "other_load") && len(f.acts) == 0 && f.outcome("runs", "off", "click", "silent", "buzz")
}

func restless(it item) bool {
	raw := strings.ToLower(it.raw)
	return it.concept == "jumping" && !strings.Contains(raw, "drop") && !strings.Contains(raw, "dip")
}

// onlyReference tells that all that is said of where is what was read against, after a "to":
// the battery or the chassis.
func onlyReference(clause []item) bool {
	after := false
	for i, it := range clause {
		if it.concept != "battery" && it.kind != kPlace {
			continue
		}
		reference := it.concept == "battery" || len(it.place.spots) == 1 && it.place.spots[0].abs == "chassis"
		if !reference || placeWordBefore(clause, i).text != "to" {
			return false
		}
		after = true
	}
	return after
}

// withoutReference leaves out "to ground" where that is what the test asked for is read
// against anyway, and no other place is named.
func (c *call) withoutReference(clause []item) []item {
	at := slices.IndexFunc(clause, func(it item) bool { return it.kind == kPlace || it.concept == "battery" })
	e := c.ctx.Expected
	if at < 0 || e == nil || e.Kind != "number" || !reference(e.Measure.Black) || placeWordBefore(clause, at).text != "to" && !clause[at].place.black || onlyOther(clause, at) >= 0 {
		return clause
	}
	p := clause[at].place
	if len(p.spots) != 1 || p.spots[0].part != "ground" && (p.spots[0].abs == "" || p.spots[0].abs != e.Measure.Black) {
		return clause
	}
	return dropLeads(slices.Delete(slices.Clone(clause), at, at+1))
}

// stretch are names for what lies between the two leads.
var stretch = set(`wire cable joint run section length loom harness lead`)

// asksPair tells that the test asked for reads between two places of the circuit.
func (c *call) asksPair() bool {
	return c.ctx.Expected != nil && len(expectedSpots(c.ctx.Expected.Measure)) == 2
}

func (c *call) asksRelayOut() bool {
	return c.ctx.Expected != nil && c.ctx.Expected.Setup.Relay == "out"
}

// fileItem files one item of a clause in the frame; places and values come back as
// symbols.
func (c *call) fileItem(base *frame, clause []item, i int) []symbol {
	it := clause[i]
	switch {
	case it.kind == kPlace:
		return []symbol{{true, it}}
	case it.kind == kNum:
		return c.number(base, clause, i)
	case it.concept == "good" && i == 0 && (hasReading(clause[1:]) || isSetup(neighbour(clause, 1, 0))):
		// "ok so 86 has 12.4", "ok key's on"
	case concepts[it.concept] == gSide && sideOf[it.concept]:
		return c.loneSide(base, it)
	case it.concept == "off" && i > 0 && strings.EqualFold(it.raw, "off") && !mayBeOff(clause, i):
		base.unknown = append(base.unknown, it.raw)
	case it.kind == kConcept && valueWord(it):
		return []symbol{{false, it}}
	case it.kind == kConcept:
		base.note(it)
		base.strays = append(base.strays, c.r.foreign(it)...)
	case it.text == badNumber:
		base.badNum = true
		base.mistyped = append(base.mistyped, it.raw)
	case it.kind == kWord:
		base.word(clause, i, c.r)
	}
	return nil
}

// conditional words begin what a reading was taken under.
var conditional = set(`when whenever while whilst if unless until till except without once after before`)

// condition marks what was said under a condition that means nothing here: "clicks when I
// let go of it", "while my mate holds the switch 86 is 12.2".
func (f *frame) condition(clause []item) {
	for i, it := range clause {
		if it.kind != kWord || !conditional[it.text] || i+1 == len(clause) {
			continue
		}
		under := clause[i+1:]
		if read := slices.IndexFunc(under, func(it item) bool { return it.kind == kNum || it.kind == kPlace }); read >= 0 {
			under = under[:read]
		}
		if slices.ContainsFunc(under, meansSomething) || !slices.ContainsFunc(under, func(it item) bool { return it.kind != kWord || !linkWords[it.text] }) {
			continue
		}
		f.onlyIf = true
		f.strays = append(f.strays, rawOf(clause[i:i+1+len(under)]))
		return
	}
}

// either tells "whether the key is on or off", which says neither.
func either(clause []item) bool {
	for i, it := range clause {
		if it.text == "or" && isSetup(neighbour(clause, i, -1)) {
			return true // "key on or off"
		}
	}
	return hasConcept(clause, "unsure") && slices.ContainsFunc(clause, isSetup) ||
		slices.ContainsFunc(clause, func(it item) bool { return it.text == "whether" })
}

// meansSomething tells what a condition may be read from.
func meansSomething(it item) bool {
	switch concepts[it.concept] {
	case gSetup, gAct, gOutcome:
		return true
	}
	return false
}

// foreign are the words in the place of a * that are neither plain nor the load: "with
// the lot running" may mean other loads.
func (r *Reader) foreign(it item) []string {
	if concepts[it.concept] != gSetup {
		return nil
	}
	var out []string
	for _, w := range it.loose {
		if it.concept == "heat_soaked" && w.num.unit.dim == "time" && !soaks(w.num) {
			return []string{it.raw}
		}
		n := r.root.next[w.text]
		if !linkWords[w.text] && !(n != nil && n.concept == "load") {
			out = append(out, w.raw)
		}
	}
	return out
}

// soaks tells whether a time is long enough for heat to reach a joint: the ten minutes that
// the tests of hot circuits ask for.
func soaks(n num) bool { return n.v*n.unit.scale >= 10 }

// loneSide is the side of the element named last, or of the one asked about.
func (c *call) loneSide(base *frame, it item) []symbol {
	of := firstText(c.last, c.expectedElement())
	if of == "coil" && it.concept != "both_sides" || of == "battery" {
		of = "" // "upstream" alone says no end of the coil, "the ground side" none of the battery
	}
	p, ok := c.side(it.concept, of)
	if !ok {
		base.sideOnly = true
		return nil
	}
	return []symbol{{true, asPlace(it, item{}, p)}}
}

// jumper takes "jumping 30 to 87" for a jumper's work: what jumps between two
// places is no number.
func (f *frame) jumper(syms []symbol) {
	for _, s := range syms {
		if !s.place && s.item.kind == kNum {
			return
		}
	}
	for i, a := range f.acts {
		if a == "jumping" && len(syms) > 0 && len(syms[0].item.place.spots) == 2 {
			f.acts[i] = "bridge"
		}
	}
}

func (c *call) prefixIn(clause []item) string {
	for _, it := range clause {
		if p := prefixOf(it); p != "" {
			return p
		}
	}
	return ""
}

// sideOf are the sides that may stand for the last element named.
var sideOf = map[string]bool{"both_sides": true, "one_side": true, "in_side": true, "out_side": true}

func (f *frame) note(it item) {
	if strings.Contains(it.concept, "=") {
		return // facts are read apart
	}
	if it.concept == "unclear" {
		f.outcomes = append(f.outcomes, it.concept)
		return
	}
	switch concepts[it.concept] {
	case gOutcome:
		f.outcomes = append(f.outcomes, it.concept)
		if ofFuse(it) {
			f.elements = append(f.elements, "fuse")
		}
	case gSetup:
		f.setups = append(f.setups, it.concept)
	case gAct:
		f.acts = append(f.acts, it.concept)
	case gPlace:
		f.elements = append(f.elements, it.concept)
	case gSide:
		f.between = f.between || it.concept == "between" || it.concept == "across"
	case gManner:
		f.manner = append(f.manner, it.concept)
		if it.concept == "about" || it.concept == "maybe" {
			f.hedges = append(f.hedges, it.raw)
		}
	case gCommand:
		switch it.concept {
		case "unsure":
			f.hedges = append(f.hedges, it.raw)
		case "no":
			f.no = true
		}
	}
}

// ofFuse tells a saying of how a part looks that names the fuse: "fuse is good".
func ofFuse(it item) bool {
	return (it.concept == "sound" || it.concept == "blown") && strings.Contains(strings.ToLower(it.raw), "fuse")
}

// word files a word that is no concept: harmless, or a place that is none.
func (f *frame) word(clause []item, i int, r *Reader) {
	w := clause[i].text
	if (w == "on" || w == "off") && i > 0 && (clause[i-1].concept == "load" || clause[i-1].kind == kWord && plainly(clause[i-1].text)) && neighbour(clause, i, 1).kind != kPlace && neighbour(clause, i, 1).kind != kNum {
		f.strays = append(f.strays, clause[i-1].raw+" "+w) // a load's state: this job's load, or a neighbour
	}
	if linkWords[w] || w == "-" || w == "ish" || terminalWords[w] {
		if w == "ish" {
			f.hedges = append(f.hedges, "-ish")
		}
		return
	}
	if (w == "as" || w == "after") && stateNext(clause[i+1:]) || w == "instead" && neighbour(clause, i, -1).kind == kPlace && neighbour(clause, i, 1).text != "of" {
		return
	}
	if f.nowhere == "" && locative(clause, i) && !harmless[w] && !r.filler[w] {
		f.nowhere = clause[i].raw
	}
	if r.filler[w] {
		return
	}
	if !common[w] && !r.vocab[w] {
		f.unknown = append(f.unknown, clause[i].raw)
	}
	if !common[w] && !harmless[w] && !interjections[w] && !counting(w) || turning[w] {
		f.strays = append(f.strays, clause[i].raw)
	}
}

// plainly tells a word that names a thing: it is none of those that join or soften.
func plainly(w string) bool { return !linkWords[w] && !common[w] && !harmless[w] }

// stateNext tells "as it is switched on", a state, from "as I had on 30".
func stateNext(rest []item) bool {
	for _, it := range rest {
		if it.kind != kWord || !linkWords[it.text] {
			return concepts[it.concept] == gSetup
		}
	}
	return false
}

// harmless nouns may follow "on the" without naming a place of the circuit.
var harmless = set(`meter multimeter screen display dmm gauge scale range reading moment first second third go guess
	average time money button nose head face test tester way whole most least times least last low high
	them it those these both
	vehicle truck van job same other next both all one ones end back phone mine mate him her me you us again once`)

// locative tells whether the word names where something was measured.
func locative(clause []item, i int) bool {
	j := i - 1
	for j >= 0 && clause[j].kind == kWord && (clause[j].text == "the" || clause[j].text == "a" || clause[j].text == "my" || clause[j].text == "its" || common[clause[j].text] && !preps[clause[j].text] && j > 0) {
		j--
	}
	if j < 0 {
		return false
	}
	switch clause[j].text {
	case "at", "on", "across", "between", "from", "off":
		return true
	case "to":
		return j != i-1
	}
	return false
}

// split pairs places and values in the order said. Where they do not pair off,
// all stay in one frame, which is then asked about.
func (f frame) split(syms []symbol) []frame {
	syms = f.respectively(inNumbers(syms))
	places, vals := 0, 0
	alternate := true
	for i, s := range syms {
		if s.place {
			places++
		} else {
			vals++
		}
		alternate = alternate && (i == 0 || s.place != syms[i-1].place)
	}
	switch {
	case !alternate || places < 2 || vals == 0:
	case places == vals:
		return f.zip(syms)
	case places == vals+1: // "86 dead and 30": what 30 read may follow
		out := f.zip(syms[:len(syms)-1])
		f.acts, f.outcomes = nil, nil
		f.take(syms[len(syms)-1])
		return append(out, f)
	}
	for _, s := range syms {
		f.take(s)
	}
	return []frame{f}
}

// inNumbers leaves out what the number after it says better: "live 12.3", "dead 0.02".
func inNumbers(syms []symbol) []symbol {
	var out []symbol
	for i, s := range syms {
		if i+1 < len(syms) && !s.place && s.item.kind != kNum && !syms[i+1].place && syms[i+1].item.kind == kNum {
			v := math.Abs(value(syms[i+1].item.num))
			if s.item.concept == "live" && v >= 1 || (s.item.concept == "dead" || s.item.concept == "nothing") && v < 0.5 {
				continue
			}
		}
		out = append(out, s)
	}
	return out
}

// respectively parts "86 and 85 read 12.4 and 0.3" into two pairs.
func (f frame) respectively(syms []symbol) []symbol {
	if len(syms) != 3 || !syms[0].place || syms[1].place || syms[2].place || f.act("jumping") {
		return syms
	}
	p := syms[0].item.place
	if len(p.spots) != 2 || p.pair {
		return syms
	}
	a, b := syms[0], syms[0]
	a.item.place, b.item.place = placeRef{spots: p.spots[:1]}, placeRef{spots: p.spots[1:]}
	return []symbol{a, syms[1], b, syms[2]}
}

func (f frame) zip(syms []symbol) []frame {
	var out []frame
	for i := 0; i+1 < len(syms); i += 2 {
		g := f
		g.take(syms[i])
		g.take(syms[i+1])
		g.raw = syms[i].item.raw + " " + syms[i+1].item.raw
		if i > 0 {
			g.outcomes, g.acts = nil, nil
		}
		out = append(out, g)
	}
	return out
}

func (f *frame) take(s symbol) {
	switch {
	case s.place:
		f.places = append(append([]placeRef(nil), f.places...), s.item.place)
	case s.item.kind == kNum:
		f.nums = append(append([]item(nil), f.nums...), s.item)
	default:
		f.values = append(append([]string(nil), f.values...), s.item.concept)
	}
}
