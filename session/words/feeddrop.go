package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file reads "feed drop 0.2": what is lost on the supply side, with the load commanded on. It is
// measured stepwise, and the name alone does not say over which steps.

// feedNames are what the supply side is called before or after a "drop".
var feedNames = set(`feed supply`)

// feedSteps are the stretches that a drop on the supply side may be read over, red lead first.
var feedSteps = [][2]spot{
	{{abs: "battery.positive"}, {role: "30"}},
	{{abs: "feed_fuse.out"}, {role: "30"}},
	{{abs: "battery.positive"}, {abs: "load.in"}},
}

// feedDrop reads "feed drop", "supply side voltage drop" and "drop on the feed" beside a number, where no
// place is named; last is where they end.
func (c *call) feedDrop(in []item, i int) (over, drop item, last int, ok bool) {
	start, end := i, i
	for start > 0 && in[start-1].kind != kSep {
		start--
	}
	for end < len(in) && in[end].kind != kSep {
		end++
	}
	if !hasNumber(in[start:end]) || slices.ContainsFunc(in[start:end], func(it item) bool { return it.kind == kPlace || isTerminal(it) || concepts[it.concept] == gPlace }) {
		return item{}, item{}, 0, false
	}
	after := func(j int) int {
		for j++; j < len(in) && in[j].kind == kWord && (filler[in[j].text] || in[j].text == "over" || in[j].text == "in" || stretch[in[j].text]); {
			j++
		}
		return j
	}
	j := after(i)
	if j >= len(in) {
		return item{}, item{}, 0, false
	}
	over, drop, last = in[i], in[j], j
	if over.concept == "drop" {
		over, drop = drop, over
		for last+1 < len(in) && stretch[in[last+1].text] {
			last++
		}
	}
	if raw := strings.ToLower(drop.raw); drop.concept != "drop" || over.concept != "in_side" && !(over.kind == kWord && feedNames[over.text]) || raw != "drop" && !strings.HasSuffix(raw, " drop") {
		return item{}, item{}, 0, false
	}
	p := placeRef{spots: []spot{{part: "feed", ask: "a drop on the supply side is read from one place to another"}}}
	if e := c.ctx.Expected; e != nil {
		for _, step := range feedSteps {
			if want := expectedSpots(e.Measure); len(want) == 2 && c.isSpot(step[0], want[0]) && c.isSpot(step[1], want[1]) {
				p = placeRef{spots: step[:], pair: true}
			}
		}
	}
	return item{kind: kPlace, raw: over.raw, glued: over.glued, place: p}, drop, last, true
}

// isTerminal tells a number that is surely a terminal's mark: marks are told from numbers later.
func isTerminal(it item) bool {
	return it.kind == kNum && it.num.unit.dim == "" && isDIN(it.num.digits) || it.kind == kWord && slices.Contains(dinRoles, it.text)
}

// askFeed offers the stretches that a drop on the supply side may have been read over, with the load
// commanded on; false where it is none.
func (c *call) askFeed(f *frame, said rules.Setup) bool {
	if len(f.places) != 1 || f.places[0].spots[0].part != "feed" {
		return false
	}
	said = rules.Setup{Relay: firstText(said.Relay, "in"), Key: firstText(said.Key, "on"), Command: firstText(said.Command, "on"),
		Heat: said.Heat, Engine: said.Engine, Neighbours: said.Neighbours, Unplugged: said.Unplugged}
	var choices []Choice
	for _, step := range feedSteps {
		g := *f
		g.places = []placeRef{{spots: slices.Clone(step[:]), pair: true}}
		trial := *c
		trial.res, trial.choosing = Result{}, true
		trial.single(&g, said)
		if len(trial.res.Findings) != 1 {
			return false
		}
		choices = append(choices, Choice{Words: trial.res.Findings[0].Words, Findings: trial.res.Findings})
	}
	c.ask("“"+f.raw+"”: from where to where was that read?", choices)
	return true
}
