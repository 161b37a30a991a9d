package words

import (
	"slices"
	"strings"
)

// frame is one thing said: where, how much, in what setup, what was seen.
type frame struct {
	places   []placeRef
	nums     []item
	values   []string // what a place read, without a number: live, nothing
	outcomes []string // what was seen otherwise: click, runs, blown
	acts     []string
	setups   []string
	manner   []string // concepts of how sure, how much
	elements []string // place words without a lead position: load, relay, fuse
	hedges   []string // as said
	unknown  []string // words with no meaning here
	nowhere  string   // "on the bracket": a place that is no place of the circuit
	between  bool
	span     bool // two numbers as a range: "5 to 11"
	badNum   bool
	adrift   bool     // follows a frame about another place, and names none
	before   []string // setups said in a clause of their own before it
	after    []string // and after it
	question bool
	no       bool   // "no" in front
	sideOnly bool   // a side, and nothing it is a side of
	prefix   string // socket, back, relay, said apart from the place
	raw      string
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
		breaks := it.kind == kSep && it.text != "(" || it.kind == kWord && (it.text == "but" || it.text == "then" || it.text == "though" || it.text == "so")
		if breaks {
			cut(i)
			start = i + 1
		}
	}
	cut(len(in))
	return out
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
	clause = c.coilAsPlace(negate(clause))
	base.raw = rawOf(clause)
	for i, it := range clause {
		switch {
		case it.kind == kPlace:
			syms = append(syms, symbol{true, it})
		case it.kind == kNum:
			if counts(clause, i) {
				base.unknown = append(base.unknown, it.raw)
				continue
			}
			if labels(clause, i) && it.num.odd == "" {
				it.num.odd = "“" + clause[i-1].raw + " " + it.raw + "” could be a name"
			}
			c.number(&base, &syms, it)
			base.span = base.span || spans(clause, i)
		case it.concept == "good" && i == 0 && hasReading(clause[1:]):
			// "ok so 86 has 12.4"
		case concepts[it.concept] == gSide && sideOf[it.concept]:
			of := firstText(c.last, c.expectedElement())
			if of == "coil" && it.concept != "both_sides" {
				of = "" // "upstream" alone says no end of the coil
			}
			if p, ok := c.side(it.concept, of); ok {
				syms = append(syms, symbol{true, asPlace(it, item{}, p)})
			} else {
				base.sideOnly = true
			}
		case it.concept == "off" && i > 0 && strings.EqualFold(it.raw, "off") && !mayBeOff(clause[i-1]):
			base.unknown = append(base.unknown, it.raw)
		case it.kind == kConcept && valueWord(it):
			syms = append(syms, symbol{false, it})
		case it.kind == kConcept:
			base.note(it)
		case it.text == badNumber:
			base.badNum = true
		case it.kind == kWord:
			base.word(clause, i, c.r.vocab)
		}
	}
	base.setups = append(base.setups, impliedSetups(base, syms)...)
	if _, clash := saidSetup(base.setups); clash != "" {
		if left, right := cutBySetup(clause); right != nil {
			return c.inTwoSetups(left, right)
		}
	}
	if p := c.prefixIn(clause); p != "" {
		base.prefix = p
	}
	base.jumper(syms)
	if len(syms) == 2 && base.span {
		base.between = false // "between 11 and 12" places no lead
	}
	return base.split(syms)
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
		if it.concept == "coil" {
			two := c.coilEnds()
			in[i] = item{kind: kPlace, raw: it.raw, glued: it.glued, place: placeRef{spots: two[:], pair: true}}
		}
	}
	return in
}

// impliedSetups are what a reading's clause tells of the setup by the way: a relay
// that clicks, or a load that runs, has the relay in and is switched on.
func impliedSetups(f frame, syms []symbol) []string {
	nums := slices.ContainsFunc(syms, func(s symbol) bool { return s.item.kind == kNum })
	works := f.outcome("click", "buzz") || f.has(f.setups, "loaded")
	if !nums || !works || f.act("bridge", "pull_in", "drop_out") {
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

// cutBySetup parts "12.4 with the key on and 0 with the key off" at the "and".
func cutBySetup(clause []item) (left, right []item) {
	for i, it := range clause {
		if it.text == "and" && it.kind == kWord && hasReading(clause[:i]) && hasReading(clause[i:]) {
			return clause[:i], clause[i+1:]
		}
	}
	return clause, nil
}

// inTwoSetups reads the two halves apart; the second is of the first's place if
// it names none.
func (c *call) inTwoSetups(left, right []item) []frame {
	a, b := c.frames(left), c.frames(right)
	if len(a) > 0 && len(b) > 0 && len(b[0].places) == 0 {
		b[0].places = a[len(a)-1].places
	}
	return append(a, b...)
}

// mayBeOff tells "it's off" from "the wire fell off" by the word before.
func mayBeOff(before item) bool {
	if before.kind != kWord {
		return true
	}
	switch before.text {
	case "stays", "stay", "stayed", "goes", "went", "turns", "turned", "simply", "completely", "always", "again", "too":
		return true
	}
	return linkWords[before.text]
}

// counts tells "2 wires" and "one lamp" from a reading.
func counts(in []item, i int) bool {
	n, next := in[i].num, neighbour(in, i, 1)
	if !n.whole() || n.v < 1 || n.v > 20 || in[i].num.joined[0] != "" || i > 0 && verbs[in[i-1].text] {
		return false
	}
	switch next.concept {
	case "load", "fuse", "relay", "feed_fuse", "coil_fuse":
		return n.word && n.v == 1 || strings.HasSuffix(strings.ToLower(next.raw), "s")
	}
	return next.kind == kWord && countable[next.text]
}

var countable = set(`wires relays fuses lamps bulbs pins terminals tests tries times connectors plugs leads clips bolts screws
	trucks vans people guys lads others things readings meters switches`)

// labels tells "fuse 12", a name, from a reading.
func labels(in []item, i int) bool {
	if i == 0 || !in[i].num.whole() || in[i].num.word && in[i].num.joined[0] != "" {
		return false
	}
	switch in[i-1].concept {
	case "load", "fuse", "relay", "feed_fuse", "control", "colour":
		return true
	}
	return in[i-1].kind == kWord && named[in[i-1].text]
}

var named = set(`page slot bay way gauge version step job unit truck van bus tractor bay room row line mode range type model stage position
	number cylinder bank gear ext extension bin box channel`)

// spans tells whether the number at in[i] begins a range.
func spans(in []item, i int) bool {
	if neighbour(in, i, 2).kind != kNum {
		return false
	}
	switch neighbour(in, i, 1).text {
	case "to", "and", "-", "max", "high", "up":
		return true
	}
	return false
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

// number files a number as a value, unless it is a size or a time.
func (c *call) number(base *frame, syms *[]symbol, it item) {
	switch it.num.unit.dim {
	case "rating":
		return
	case "time", "times", "watt", "hertz", "bar", "rpm", "metre", "percent":
		base.unknown = append(base.unknown, it.raw)
		return
	}
	if it.num.negated {
		base.unknown = append(base.unknown, "not "+it.raw)
		return
	}
	*syms = append(*syms, symbol{false, it})
}

func (f *frame) note(it item) {
	if strings.Contains(it.concept, "=") {
		return // facts are read apart
	}
	switch concepts[it.concept] {
	case gOutcome:
		f.outcomes = append(f.outcomes, it.concept)
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

// word files a word that is no concept: harmless, or a place that is none.
func (f *frame) word(clause []item, i int, known map[string]bool) {
	w := clause[i].text
	if linkWords[w] || w == "-" || w == "ish" || terminalWords[w] {
		if w == "ish" {
			f.hedges = append(f.hedges, "-ish")
		}
		return
	}
	if f.nowhere == "" && locative(clause, i) && !harmless[w] {
		f.nowhere = clause[i].raw
	}
	if !common[w] && !known[w] {
		f.unknown = append(f.unknown, clause[i].raw)
	}
}

// harmless nouns may follow "on the" without naming a place of the circuit.
var harmless = set(`meter multimeter screen display dmm gauge scale range reading moment first second third go guess
	average time money button nose head face test tester way whole most least times least last low high
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

// negate applies "not" and "no" to what they stand before.
func negate(in []item) []item {
	in = slices.Clone(in)
	var out []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		if it.concept == "not" || it.concept == "no" && strings.EqualFold(it.raw, "no") {
			j := i + 1
			for j < len(in) && j <= i+3 && (in[j].kind == kWord || in[j].concept == "relay" || in[j].concept == "load") && !linkPrep(in[j].text) && !(it.concept == "no" && linkWords[in[j].text]) {
				j++
			}
			if j < len(in) && negated(&in[j], it.concept == "no" && j > i+1) {
				continue
			}
		}
		out = append(out, it)
	}
	return out
}

func linkPrep(w string) bool { return w == "at" || w == "to" || w == "from" }

func negated(it *item, far bool) bool {
	if it.kind == kNum && !far {
		it.num.negated = true
		return true
	}
	o, ok := opposite[it.concept]
	if !ok || it.kind != kConcept {
		return false
	}
	if o == "" {
		o = "unclear"
	}
	it.concept, it.text = o, o
	return true
}

func rawOf(in []item) string {
	var b strings.Builder
	for _, it := range in {
		if b.Len() > 0 && !(it.glued && (it.kind == kSep || it.text == "'s" || it.text == "v" || it.text == "-")) {
			b.WriteByte(' ')
		}
		b.WriteString(it.raw)
	}
	return b.String()
}

// split pairs places and values in the order said. Where they do not pair off,
// all stay in one frame, which is then asked about.
func (f frame) split(syms []symbol) []frame {
	syms = f.respectively(syms)
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
