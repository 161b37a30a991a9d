package words

import (
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
	implied   []string // those of the setups that were not said: what was seen takes them
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
	through   bool // "two ohms through the load"
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
	then      bool   // begins with "then"
	limited   bool   // a "but" follows that was not understood
	brief     bool   // seen for less than a minute
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

// frames reads one clause into one frame for each pair of place and value.
func (c *call) frames(clause []item) []frame {
	clause = c.coilAsPlace(negate(clause))
	said := rawOf(clause)
	clause = c.withoutReference(clause)
	base := frameOf(clause)
	base.raw = said
	var syms []symbol
	for i := range clause {
		syms = append(syms, c.fileItem(&base, clause, i)...)
	}
	placed := slices.ContainsFunc(syms, func(s symbol) bool { return s.place })
	base.sayBetter(clause, placed)
	c.ofWhat(&base, clause)
	c.addStates(&base, syms, placed)
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

// frameOf is a frame with what tells how its clause goes on from the one before.
func frameOf(clause []item) frame {
	f := frame{raw: rawOf(clause)}
	if len(clause) > 0 {
		first := clause[0]
		f.so, f.but, f.then, f.or = first.so, first.but, first.then, first.text == "or"
	}
	f.also = slices.ContainsFunc(clause, func(it item) bool { return saysToo[strings.ToLower(it.raw)] })
	f.through = slices.ContainsFunc(clause, func(it item) bool { return it.text == "through" })
	return f
}

// sayBetter gives what was said beside no number its doubts, and "all good on 30" its meaning.
func (f *frame) sayBetter(clause []item, placed bool) {
	if !hasNumber(clause) && (len(f.outcomes)+len(f.elements) > 0 || hasConcept(clause, "short")) {
		f.hedges = doubtsIn(clause)
	}
	if gone := slices.Index(f.outcomes, "gone"); gone >= 0 && placed {
		f.outcomes[gone] = "good"
	}
}

// ofWhat tells of what a clause is said: of all there is, of a part of it, of something else, or
// only under a condition.
func (c *call) ofWhat(f *frame, clause []item) {
	if f.between && c.asksPair() && stretch[strings.ToLower(f.nowhere)] {
		stray := f.nowhere // "across the wire" is from one end to the other, as asked
		f.nowhere, f.strays = "", slices.DeleteFunc(f.strays, func(s string) bool { return s == stray })
	}
	if c.expects(rules.VoltsDC) && c.asksPair() && slices.ContainsFunc(f.strays, func(s string) bool { return stretch[strings.ToLower(s)] }) {
		f.strays = slices.DeleteFunc(f.strays, func(s string) bool { return stretch[strings.ToLower(s)] || s == "in" || s == "along" }) // "0.4 lost in the wire"
	}
	f.condition(clause)
	f.onlyIf = f.onlyIf || len(f.outcomes) > 0 && (slices.Contains(f.strays, "other") || f.ofOther() && !c.expects(rules.Swap)) // "the other fan runs"
	if some := oneOfSeveral(clause); some != "" && !c.ctx.Opening && !c.expects(rules.Look) && (len(f.outcomes) > 0 || hasNumber(clause)) {
		f.onlyIf, f.strays = true, append(f.strays, some)
	}
	if asState(clause) {
		f.setups, f.outcomes = append(f.setups, "unkept_state"), nil
	}
	if other := c.ofOtherSubject(clause); other != "" {
		f.onlyIf, f.strays = true, append(f.strays, other)
	}
	f.brief = !c.ctx.Opening && ranBriefly(clause)
	if either(clause) {
		c.muddled, f.outcomes = true, nil
	}
}

// addStates adds the setups that follow from what was said.
func (c *call) addStates(f *frame, syms []symbol, placed bool) {
	if said, _ := saidSetup(f.setups); said.Relay == "" && f.has(f.setups, "loaded") && c.asksRelayOut() && !placed {
		f.setups = append(f.setups, "unkept_state") // "drops to 9 under load", where no load can run
	}
	if !c.onBench() {
		f.implied = impliedSetups(*f, syms)
		f.setups = append(f.setups, f.implied...)
	}
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
	if at < 0 || e == nil || e.Kind != "number" || !reference(e.Measure.Black) || !toward[placeWordBefore(clause, at).text] && !clause[at].place.black || onlyOther(clause, at) >= 0 {
		return clause
	}
	p := clause[at].place
	if len(p.spots) != 1 || p.spots[0].part != "ground" && (p.spots[0].abs == "" || p.spots[0].abs != e.Measure.Black) {
		return clause
	}
	rest := slices.DeleteFunc(slices.Delete(slices.Clone(clause), at, at+1), func(it item) bool { return it.kind == kWord && it.text != "to" && toward[it.text] })
	return dropLeads(rest) // "against battery negative"
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
	case it.concept == "good" && i == 0 && (hasReading(clause[1:]) || isSetup(neighbour(clause, 1, 0)) || ofSelf[neighbour(clause, 1, 0).text]):
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
