package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file finds where a number was read that was said without its place, or what is missing of it.

func (c *call) atExpectedNumber(f *frame, said rules.Setup) bool {
	return c.ctx.Expected != nil && c.ctx.Expected.Kind == "number" && c.atExpected(f, said) && !c.ofOtherKind(f) && !c.untold(f)
}

// untold tells a number that names no place while the test asked for waits for its caution,
// and was not said yet.
func (c *call) untold(f *frame) bool {
	return c.ctx.Cautioned && len(f.places)+len(f.elements) == 0
}

// ofOtherKind tells that a number was read in another quantity than the test asks for, at a
// part that was named: "31 amps by clamp at the fuse" beside a test of the volts across it.
func (c *call) ofOtherKind(f *frame) bool {
	dim := f.nums[0].num.unit.dim
	if len(f.elements) == 0 {
		return false
	}
	return dim == ampere && !dimFits(dim, c.ctx.Expected.Measure.Mode) || dim == "" && f.act("clamp") && !c.expects(rules.AmpsDC)
}

// placeless finds a place for a number said without one: an element's ends, the
// place asked for in another setup. want says what is missing, if anything.
func (c *call) placeless(f *frame, said rules.Setup) (want string) {
	amps := f.nums[0].num.unit.dim == ampere || f.act("clamp", "current")
	for _, e := range f.elements {
		switch e {
		case "coil", "battery":
			if !f.between {
				return "" // the coil in ohms, the battery in volts
			}
		case "fuse", "feed_fuse", "coil_fuse", "load", "control":
			if e == "fuse" {
				e = c.whichFuse()
			}
			if e == "fuse" {
				return "there are two fuses, the load's and the coil's"
			}
			if f.through && e == "load" && !amps {
				return "“through the load” does not say between which two places"
			}
			if f.nums[0].num.unit.dim == ohm || f.nums[0].num.unit.dim == kilo || f.act("resistance") {
				two := ends[e]
				f.places = []placeRef{{spots: two[:], pair: true}}
				return ""
			}
			if amps {
				f.places = []placeRef{{spots: []spot{{abs: ampsAt(e)}}}}
				return ""
			}
			if f.act("drop") {
				return sideUnsaid // "the driver drops 0.7 V"
			}
			f.places = []placeRef{{spots: []spot{{part: e, ask: sideUnsaid}}}}
			return sideUnsaid
		}
	}
	e := c.ctx.Expected
	if c.untold(f) {
		return "the next test waits for ready; say that first"
	}
	if e == nil || e.Kind == "choice" || f.between && len(expectedSpots(e.Measure)) < 2 {
		return "it was not said where"
	}
	if f.has(f.elements, "other_load") {
		return "that is not in this circuit as it is known here"
	}
	return ""
}

// sideUnsaid is asked about where a part has two ends and a number was read at one of them.
const sideUnsaid = "which side of it was not said"

// ampsAt is where the current of an element is read: a clamp goes round a fuse's wire on
// either side.
func ampsAt(element string) string {
	if strings.HasSuffix(element, "fuse") {
		return element
	}
	return element + ".in"
}

// wanting says what is missing of the place of a number said without one.
func (c *call) wanting(f *frame, said rules.Setup) string {
	switch {
	case f.onlyBlack:
		return "only the place of the black lead was said"
	case len(f.places) == 0 && f.has(f.elements, "other_load") && !f.has(f.elements, "battery", "coil"):
		return "that is not in this circuit as it is known here"
	case f.adrift && !f.has(f.elements, "load", "control", "feed_fuse", "coil_fuse"):
		return "another place was named just before it"
	case len(f.places) > 0:
		return ""
	case f.sideOnly:
		return "a side was named, but not of what"
	case f.is("both"):
		return "“both” names no place"
	case f.act("drop") && c.asksAtSupply():
		return "a drop is between two places"
	case c.atOtherEnd(f), len(f.places) == 0 && strings.Contains(f.raw, "says") && strings.HasSuffix(f.raw, "on the relay"):
		return "it was not said at which terminal" // or it is written there
	case f.nowhere != "":
		return "“" + f.nowhere + "” is no place of this circuit that is known here"
	case !f.adrift && c.atExpectedNumber(f, said):
		return ""
	}
	return c.placeless(f, said)
}

// asksAtSupply tells that the test asked for reads the volts at one place that is not on the
// ground side, of which "lost 0.3" is no answer.
func (c *call) asksAtSupply() bool {
	e := c.ctx.Expected
	return e != nil && e.Measure.Mode == rules.VoltsDC && e.Measure.Black == "battery.negative" && !strings.HasSuffix(e.Measure.Red, "load.out") && !strings.Contains(e.Measure.Red, "85")
}

// atOtherEnd tells a number read at the relay itself beside a test at its socket, or the other
// way about, without the terminal: "90 in the socket".
func (c *call) atOtherEnd(f *frame) bool {
	if f.prefix == "" || len(f.places) > 0 || c.ctx.Expected == nil {
		return false
	}
	return slices.ContainsFunc(expectedSpots(c.ctx.Expected.Measure), func(s string) bool {
		at, _, ofRelay := strings.Cut(s, ".")
		return ofRelay && (at == "relay") != (f.prefix == "relay") && (at == "relay" || at == "socket" || at == "back")
	})
}

// meltPlaces joins a place and the ground it was read against ("86 12.4
// ground", "12.6 to ground on 30"), and two terminals with ohms between them ("85 86 84 ohms").
func (c *call) meltPlaces(f *frame) bool {
	a, b := f.places[0], f.places[1]
	if len(a.spots) == 1 && a.spots[0].part == "ground" {
		a, b = b, a // "12.6 to ground on 30"
	}
	twoEnds := f.nums[0].num.unit.dim == ohm && a.spots[0].role != "" && b.spots[0].role != ""
	if len(a.spots) == 1 && len(b.spots) == 1 && (twoEnds || b.spots[0].part == "ground") {
		f.places = []placeRef{{spots: []spot{a.spots[0], b.spots[0]}, pair: true}}
		return true
	}
	return false
}
