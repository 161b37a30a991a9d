package words

import (
	"slices"
	"strings"
)

// This file joins words into the places that a lead can touch.

// spot is one place a lead can touch, as far as it was said.
type spot struct {
	role   string // terminal, by its DIN name
	prefix string // socket, back, relay, if said
	abs    string // any other place by its full name: "battery.negative"
	part   string // element whose end was not said: "load", "fuse"
	ask    string // why this spot must be asked for; "" = clear
}

// placeRef is one spot, two between the leads, or several read alike.
type placeRef struct {
	spots []spot
	pair  bool // one reading between the two; else one reading each
	black bool // where the black lead was; the red one's place was not said
	other bool // "the other side" of what was read last, and in the same state
	vague bool // said with "and": between the two, or each
}

// ends are the two ends of an element, in toward the supply.
var ends = map[string][2]spot{
	"coil":      {{role: "86"}, {role: "85"}},
	"contact":   {{role: "30"}, {role: "87"}},
	"battery":   {{abs: "battery.positive"}, {abs: "battery.negative"}},
	"load":      {{abs: "load.in"}, {abs: "load.out"}},
	"feed_fuse": {{abs: "feed_fuse.in"}, {abs: "feed_fuse.out"}},
	"coil_fuse": {{abs: "coil_fuse.in"}, {abs: "coil_fuse.out"}},
	"control":   {{abs: "control.in"}, {abs: "control.out"}},

	"ground_point": {{abs: "load_ground_point"}, {abs: "coil_ground_point"}}, // two of a kind: each has one reading
}

// places joins place words, sides and terminals into places.
func (c *call) places(in []item) []item {
	in = c.sidesOf(c.prefixes(in))
	in = c.namedPlaces(in)
	in = leads(in)
	return pairs(in)
}

// filler may stand between the parts of a place: "the in side of the fuse".
var filler = set(`of the on 's its a an at my that this it are`)

func skipFiller(in []item, i int) int {
	for i < len(in) && in[i].kind == kWord && filler[in[i].text] {
		i++
	}
	return i
}

// namedPlaces turns the place words that need no side into places.
func (c *call) namedPlaces(in []item) []item {
	for i, it := range in {
		switch it.concept {
		case "battery_positive":
			in[i] = placeItem(it, spot{abs: "battery.positive"})
		case "battery_negative":
			in[i] = placeItem(it, spot{abs: "battery.negative"})
		case "chassis":
			in[i] = placeItem(it, spot{abs: "chassis"})
		case "ground":
			in[i] = placeItem(it, spot{part: "ground"})
		case "load_ground":
			in[i] = placeItem(it, spot{abs: "load.out"})
		case "load_ground_point":
			in[i] = placeItem(it, ends["ground_point"][0])
		case "ground_point":
			in[i] = placeItem(it, c.groundPoint(in[:i]))
		case "coil_plus", "coil_minus":
			in[i] = placeItem(it, c.coilSide(it.concept))
		case "colour":
			in[i] = placeItem(it, spot{ask: "a wire's colour is no terminal"})
		}
		if colours[it.text] && it.kind == kWord && c.colourPlace(in, i) {
			in[i] = placeItem(it, spot{ask: "a wire's colour is no terminal"})
		}
		if placeWordBefore(in, i).concept == "that_was" && it.concept == "battery" {
			two := ends["battery"]
			in[i] = item{kind: kPlace, raw: it.raw, glued: it.glued, place: placeRef{spots: two[:1]}}
		} else if placeWordBefore(in, i).concept == "that_was" && (it.concept == "fuse" || ends[it.concept] != [2]spot{} && it.concept != "coil" && it.concept != "contact") {
			in[i] = placeItem(it, c.endUnsaid(it.concept)) // "that was the fuse"
		}
		if c.endOfPair(in, i) {
			in[i] = placeItem(it, c.endUnsaid(it.concept))
		}
		if in[i].kind == kPlace {
			in[i].concept = ""
		}
	}
	return in
}

// groundPoint is the ground point of the part named just before it, or the one that the
// test asks for.
func (c *call) groundPoint(before []item) spot {
	of := ""
	for i := len(before) - 1; i >= 0 && (of == "" && before[i].kind == kWord && linkWords[before[i].text] || before[i].concept != ""); i-- {
		of = firstText(of, before[i].concept)
	}
	switch of {
	case "load":
		return ends["ground_point"][0]
	case "coil", "control":
		return ends["ground_point"][1]
	}
	return c.endUnsaid("ground_point")
}

// endUnsaid is the end of a part that the test asks for, if it reads one; else it is to be
// asked: "24.6 at the horn".
func (c *call) endUnsaid(part string) spot {
	two := ends[part]
	if e := c.ctx.Expected; e != nil && e.Kind == "number" {
		at := expectedSpots(e.Measure)
		if len(at) == 1 && slices.ContainsFunc(two[:], func(s spot) bool { return s.abs == at[0] }) {
			return spot{abs: at[0]}
		}
	}
	return spot{part: part, ask: sideUnsaid}
}

// endOfPair tells that a part stands where a lead was, its side unsaid: "87 to the
// load". Left out, the reading would be taken against ground, or elsewhere.
func (c *call) endOfPair(in []item, i int) bool {
	if ends[in[i].concept] == [2]spot{} && in[i].concept != "fuse" || in[i].concept == "coil" || in[i].concept == "contact" {
		return false
	}
	tie := placeWordBefore(in, i)
	if tie.concept == "between" && in[i].kind == kConcept && neighbour(in, i, 1).text == "and" {
		return true // "between the motor and battery negative"
	}
	if in[i].kind != kConcept || tie.text != "to" && tie.text != "and" && tie.text != "at" {
		return false
	}
	at := i - 1
	for in[at].text != tie.text {
		at--
	}
	if tie.text == "at" { // "nothing at the lamp plug" is said of the plug, not of the lamp
		return at > 0 && in[i].concept != "battery" && (valueWord(in[at-1]) || in[at-1].kind == kNum && in[at-1].num.unit.dim != ampere && in[at-1].num.unit.dim != ohm)
	}
	return at > 0 && in[at-1].kind == kPlace && (tie.text == "to" || betweenBefore(in[:at-1]))
}

func (c *call) coilSide(concept string) spot {
	if c.ctx.CoilPositive != "85" && c.ctx.CoilPositive != "86" {
		return spot{ask: "it is not known which end of the coil is toward the supply"}
	}
	two := c.coilEnds()
	if concept == "coil_plus" {
		return two[0]
	}
	return two[1]
}

// colourPlace tells "on the yellow" from a lead's colour ("red on 86") and from
// what a colour may say of a part.
func (c *call) colourPlace(in []item, i int) bool {
	prev := neighbour(in, i, -1)
	if prev.text != "the" && prev.text != "on" && prev.text != "at" && neighbour(in, i, 1).text != "wire" {
		return false
	}
	j := skipFiller(in, i+1)
	return !(j < len(in) && (in[j].kind == kPlace || in[j].concept == "battery"))
}

// leads reads "red on 86, black on 85" as one pair, red first.
func leads(in []item) []item {
	red, black := -1, -1
	for i, it := range in {
		lead := it.text
		if it.concept == "red_lead" || it.concept == "black_lead" {
			lead = it.concept[:len(it.concept)-len("_lead")]
		}
		j := skipFiller(in, i+1)
		if lead == "black" && j < len(in) && in[j].concept == "battery" {
			two := ends["battery"]
			in[j] = item{kind: kPlace, raw: in[j].raw, glued: in[j].glued, place: placeRef{spots: two[1:]}}
		}
		if j >= len(in) || in[j].kind != kPlace || len(in[j].place.spots) != 1 {
			continue
		}
		if lead == "red" {
			red = j
		} else if lead == "black" {
			black = j
		}
	}
	if other := onlyOther(in, black); red < 0 && other >= 0 {
		red = other // "86 12.4, black lead on the chassis"
	}
	if black >= 0 && red < 0 {
		in[black].place.black = true
	}
	if red >= 0 && black < 0 {
		return dropLeads(in) // "24.4, red on 86"
	}
	if red < 0 || black < 0 || red == black {
		return in
	}
	p := placeRef{spots: []spot{in[red].place.spots[0], in[black].place.spots[0]}, pair: true}
	first, last := min(red, black), max(red, black)
	in[first].place = p
	return dropLeads(slices.Delete(in, last, last+1))
}

// onlyOther is the one other spot said, -1 where there is none or are several.
func onlyOther(in []item, not int) int {
	found := -1
	for i, it := range in {
		if it.kind != kPlace || i == not {
			continue
		}
		if found >= 0 || len(it.place.spots) != 1 {
			return -1
		}
		found = i
	}
	if not < 0 {
		return -1
	}
	return found
}

func dropLeads(in []item) []item {
	return slices.DeleteFunc(in, func(it item) bool {
		return it.kind == kWord && (it.text == "red" || it.text == "black") || it.concept == "red_lead" || it.concept == "black_lead"
	})
}

// pairs joins two spots tied by "to", a dash, or "and".
func pairs(in []item) []item {
	var out []item
	for i := 0; i < len(in); i++ {
		it := in[i]
		if it.kind != kPlace || len(it.place.spots) != 1 {
			out = append(out, it)
			continue
		}
		tie := neighbour(in, i, 1).text
		if tie == "bridge" && neighbour(in, i, 2).kind == kWord { // "30 jumped to 87"
			out = append(out, in[i+1])
			i++
			tie = neighbour(in, i, 1).text
			if tie == "with" {
				tie = "to"
			}
		}
		if neighbour(in, i, 1).concept == "bound" && strings.EqualFold(neighbour(in, i, 1).raw, "up to") && hasConcept(in, "bridge") {
			tie = "to" // "hooked 30 up to 87 with a fused lead"
		}
		next := i + 2
		if neighbour(in, i, 1).concept == "across" && neighbour(in, i, 2).text == "to" { // "from 86 across to 85"
			tie, next = "to", i+3
		}
		j := skipFiller(in, next)
		if j < len(in) && in[j].kind == kPlace && len(in[j].place.spots) == 1 && (tie == "to" || tie == "-" || tie == "and" || (tie == "or" || tie == "nor") && anyOf(in[:i], "dead", "nothing")) {
			p := placeRef{spots: []spot{it.place.spots[0], in[j].place.spots[0]}, pair: tie == "to" || tie == "-", vague: tie == "and"}
			if tie == "and" && betweenBefore(out) {
				p.pair, p.vague = true, false
			}
			if p.spots[0].prefix == "" {
				p.spots[0].prefix = p.spots[1].prefix
			} else if p.spots[1].prefix == "" {
				p.spots[1].prefix = p.spots[0].prefix
			}
			out = append(out, item{kind: kPlace, raw: it.raw + " " + tie + " " + in[j].raw, place: p})
			i = j
			continue
		}
		out = append(out, it)
	}
	return out
}

func betweenBefore(out []item) bool {
	for i := len(out) - 1; i >= 0; i-- {
		switch {
		case out[i].concept == "between" || out[i].concept == "across" || out[i].concept == "drop" || out[i].text == "from":
			return true
		case out[i].kind != kWord || !filler[out[i].text]:
			return false
		}
	}
	return false
}
