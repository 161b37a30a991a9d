package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file tells where the test asked for is read, and whether what was said is of it.

// expectedSpots are the places of the expected test, black left out where it is
// only the reference.
func expectedSpots(m rules.Measure) []string {
	switch {
	case m.At != "":
		return []string{m.At}
	case m.From != "":
		return []string{m.From, m.To}
	case m.Red == "":
		return nil
	case reference(m.Black):
		return []string{m.Red}
	}
	return []string{m.Red, m.Black}
}

func reference(place string) bool {
	return place == "battery.negative" || place == "chassis" || place == ""
}

// atExpected tells whether the frame speaks of the expected test: its places
// and setup are those of the test, or not said.
func (c *call) atExpected(f *frame, said rules.Setup) bool {
	e := c.ctx.Expected
	if e != nil && strings.Contains(e.Measure.Red, "_part.") {
		said.Unplugged = nil // the place says so already
	}
	if e == nil || !fits(said, e.Setup) || f.nowhere != "" || c.voltsAtPlug(f) {
		return false
	}
	want := expectedSpots(e.Measure)
	if len(f.places) == 0 {
		return !(f.between && len(want) < 2) && c.elementFits(f, want)
	}
	if len(f.places) != 1 {
		return false
	}
	p := f.places[0]
	spots := p.spots
	if againstGround(p) && len(want) == 1 && spots[0].part != "ground" {
		spots = spots[:1]
	}
	if len(spots) != len(want) || len(spots) == 2 && !p.pair && !p.vague {
		return false
	}
	for _, s := range spots {
		if !slices.ContainsFunc(want, func(w string) bool { return c.isSpot(s, w) }) {
			return false
		}
	}
	return true
}

// elementFits keeps "coil 84" from answering a test of something else.
func (c *call) elementFits(f *frame, want []string) bool {
	for _, e := range f.elements {
		switch e {
		case "other_load":
			return false
		case "fuse":
			if c.whichFuse() == "fuse" {
				return false
			}
		case "coil", "load", "control", "battery", "contact", "feed_fuse", "coil_fuse":
			if !c.names(e, want) && !(e == "load" && c.readsLoadAmps()) {
				return false
			}
		}
	}
	return true
}

// voltsAtPlug tells that a plug was named beside a bare number while amperes are asked for:
// "fan plug 12.4" is volts, as like as not.
func (c *call) voltsAtPlug(f *frame) bool {
	raw := strings.ToLower(f.raw)
	return c.expects(rules.AmpsDC) && len(f.nums) > 0 && f.nums[0].num.unit.dim == "" && !f.act("clamp", "current") &&
		(strings.Contains(raw, "plug") || strings.Contains(raw, "connector"))
}

// readsLoadAmps tells that the test reads amps where the load's own current flows.
func (c *call) readsLoadAmps() bool {
	return c.expects(rules.AmpsDC) && strings.HasPrefix(c.ctx.Expected.Measure.At, "feed_fuse")
}

// names tells whether an element is what the places are ends of.
func (c *call) names(element string, places []string) bool {
	for _, p := range places {
		if strings.HasPrefix(p, element) {
			return true
		}
		for _, s := range ends[element] {
			if s.role != "" && role(p) == s.role && len(places) == 2 {
				return true
			}
		}
	}
	return len(places) == 0
}

// isSpot tells whether a said spot is the place.
func (c *call) isSpot(s spot, place string) bool {
	switch {
	case s.role != "":
		return role(place) == s.role && (s.prefix == "" || s.prefix == prefixOfPlace(place))
	case s.part == "ground":
		return reference(place) || place == "load.out"
	case s.part != "":
		return strings.HasPrefix(place, s.part+".") || place == s.part || s.part == "fuse" && strings.Contains(place, "fuse")
	}
	return s.abs == place
}

// role is the terminal of a place, "" for other places.
func role(place string) string {
	if prefixOfPlace(place) == "" {
		return ""
	}
	_, r, _ := strings.Cut(place, ".")
	return r
}
