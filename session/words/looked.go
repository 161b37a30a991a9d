package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file files how a part looks.

// looked files how a part looks.
func (c *call) looked(f *frame, said rules.Setup, choice string, several bool) {
	at := c.lookedAt(f)
	if several {
		c.ask("“"+f.raw+"”: which is the worst of it?", nil)
		return
	}
	if at == "fuse" && f.is("both") {
		c.res.Findings = append(c.res.Findings, c.lookFinding(f, said, "feed_fuse", choice), c.lookFinding(f, said, "coil_fuse", choice))
		return
	}
	if at == "fuse" || at == "" {
		what := "What was looked at?"
		var choices []Choice
		if at == "fuse" {
			what = "Which fuse: the load's or the coil's?"
			for _, e := range []string{"feed_fuse", "coil_fuse"} {
				fd := c.lookFinding(f, said, e, choice)
				choices = append(choices, Choice{Words: placeName(e), Findings: []Finding{fd}})
			}
		}
		c.ask(what, choices)
		return
	}
	for _, at := range c.allLookedAt(f, at) {
		c.res.Findings = append(c.res.Findings, c.lookFinding(f, said, at, choice))
	}
}

// allLookedAt are the elements that were looked at, of which the first is known: "30 and 87 look burnt".
func (c *call) allLookedAt(f *frame, first string) []string {
	out := []string{first}
	for _, p := range f.places {
		for _, s := range p.spots {
			if at := elementOf(s); at != "" && !slices.Contains(out, at) {
				out = append(out, at)
			}
		}
	}
	return out
}

func (c *call) lookFinding(f *frame, said rules.Setup, at, choice string) Finding {
	fd := Finding{Kind: KindReading, Measure: rules.Measure{Mode: rules.Look, At: at}, Answer: Answer{Choice: choice}, Hedge: hedge(f)}
	fd.Setup, fd.Assumed, _ = c.complete(setupPlan{said: said, habit: rules.Setup{Relay: "out", Key: "off", Command: "off"}})
	fd.Words = c.say(fd)
	return fd
}

// lookedAt is the element that was looked at, as far as said.
func (c *call) lookedAt(f *frame) string {
	if len(f.places) > 0 && len(f.places[0].spots) > 0 {
		return elementOf(f.places[0].spots[0])
	}
	for _, e := range f.elements {
		switch e {
		case "fuse":
			return c.whichFuse()
		case "other_load":
		default:
			return e
		}
	}
	if e := c.ctx.Expected; e != nil && c.numbered && e.Kind == "number" {
		if at := expectedSpots(e.Measure); len(at) == 1 && role(at[0]) != "" {
			return "terminal_" + role(at[0]) // "corroded but 12.4"
		}
	}
	return ""
}

// elementOf is the element that a spot belongs to, "" where it must be asked.
func elementOf(s spot) string {
	switch {
	case s.ask != "" && s.part == "":
		return ""
	case s.role != "":
		return "terminal_" + s.role
	case s.part == "ground" || s.abs == "load.out" || s.abs == "load_ground_point":
		return "load_ground"
	case s.abs == "coil_ground_point":
		return "coil_ground"
	case s.part == "ground_point":
		return ""
	case s.part != "":
		return s.part
	}
	el, _, _ := strings.Cut(s.abs, ".")
	return el
}

// lookedThere tells whether the frame speaks of the element to be looked at, or
// of none.
func (c *call) lookedThere(f *frame, at string) bool {
	got := c.lookedAt(f)
	if c.fuseNamed && got == "fuse" {
		return false
	}
	if got == "" {
		return f.nowhere == "" || len(f.elements) == 0
	}
	return got == at || got == "fuse" && strings.Contains(at, "fuse") || got == "relay" && !strings.Contains(at, "fuse") || got == "contact" && strings.HasPrefix(at, "terminal") ||
		strings.HasPrefix(at, got)
}
