package words

import (
	"slices"
	"strings"
)

// This file tells frames by all that they say.

// stateOn tells "relay in and lights on", said after a number, from a result.
func stateOn(f *frame) bool {
	return len(f.setups) > 0 && onlyLoad(f) && slices.Equal(f.outcomes, []string{"runs"}) && strings.HasSuffix(strings.ToLower(f.raw), " on")
}

// stateNotOutcome tells "2.2 volts, running", which says in what state it was
// read, from a result.
func stateNotOutcome(a, b *frame) bool {
	return len(a.nums) > 0 && onlyLoad(b) && len(b.outcomes) == 1 && b.outcomes[0] == "runs" && strings.HasSuffix(b.raw, "running")
}

// namesCoil tells that the coil is named, how it stood perhaps, and no more.
func (f *frame) namesCoil() bool {
	return f.bare() && slices.Equal(f.elements, []string{"coil"}) && len(f.places)+len(f.acts)+len(f.manner)+len(f.unknown)+len(f.strays) == 0
}

func saidInOhms(f *frame) bool {
	return !slices.ContainsFunc(f.nums, func(n item) bool { return n.num.unit.dim != ohm && n.num.unit.dim != kilo })
}

// justGround tells that the ground as such is named, which is no place of its own.
func (f *frame) justGround() bool {
	return !slices.ContainsFunc(f.places, func(p placeRef) bool { return len(p.spots) != 1 || p.spots[0].part != "ground" })
}

// swing tells a number and at most how it was come to: "dips to 7".
func swing(f *frame) bool {
	return len(f.nums) > 0 && len(f.places)+len(f.values)+len(f.outcomes) == 0 && len(only(f.acts, "jumping", "drop")) == len(f.acts)
}

// held tells that nothing moved, and no more: "doesn't change when I wiggle it".
func held(f *frame) bool {
	return f.bare() && f.is("steady") && len(f.places) == 0 && len(only(f.acts, "wiggle", "crank")) == len(f.acts)
}

// silentAlone tells that no click is all that was said.
func (f *frame) silentAlone() bool {
	return len(f.places)+len(f.nums)+len(f.values)+len(f.acts) == 0 && len(f.outcomes) == 1 && f.outcome("silent", "off")
}

func (f *frame) bareButGood() bool {
	return len(f.nums)+len(f.values) == 0 && len(f.outcomes) == 1 && (f.outcomes[0] == "good" || f.outcomes[0] == "bad")
}

// onlyValue tells "dead", or "power is good", with nothing else.
func onlyValue(f *frame) bool {
	return len(f.values) > 0 && len(f.places)+len(f.nums)+len(f.acts) == 0 && len(only(f.outcomes, "good")) == len(f.outcomes)
}

func (f *frame) onlyPlace() bool {
	return f.bare() && len(f.places) > 0 && len(f.acts) == 0
}

func onlyNumber(f *frame) bool {
	return len(f.nums) > 0 && len(f.places)+len(f.values)+len(f.acts)+len(f.outcomes) == 0
}

// onlyLoad tells whether the frame says only what the load does.
func onlyLoad(f *frame) bool {
	seen := f.allSeen()
	return len(seen) > 0 && len(only(seen, "runs", "weak", "dim", "bright", "off", "trips", "comes_and_goes", "drops_out_hot")) == len(seen) &&
		len(f.nums)+len(f.places)+len(f.acts) == 0
}

// trial tells whether something was tried, of which a result is awaited.
func trial(f *frame) bool {
	return f.act("bridge", "swap", "reseat", "wiggle", "crank", "lamp", "listen", "look")
}

// nothingBut tells that the frame holds only doubt or words without meaning.
func (f *frame) nothingBut() bool {
	return f.bare() && len(f.places)+len(f.acts)+len(f.setups)+len(f.elements) == 0 && f.nowhere == "" && !f.is("should", "bound", "past")
}

// concludes tells a judgement of a part, drawn from what was read before it: "12 volts across
// it so it's blown".
func (f *frame) concludes() bool {
	seen := f.allSeen()
	return len(f.nums)+len(f.places)+len(f.acts) == 0 && len(only(seen, "good", "bad", "sound", "blown", "burnt", "corroded", "loose", "wet", "open", "short", "live", "dead")) == len(seen)
}

// supposes tells what is thought to lie behind a reading, in words of no meaning here: "0.4 so
// there's nothing driving it".
func (f *frame) supposes() bool {
	return len(f.nums)+len(f.places)+len(f.acts)+len(f.setups) == 0 && len(f.strays) > 0
}

// onGround tells that no place is named but a ground.
func (f *frame) onGround() bool {
	return !slices.ContainsFunc(f.places, func(p placeRef) bool {
		return !onReference(p) && !(len(p.spots) == 1 && p.spots[0].abs == "load.out")
	})
}

// retracts tells that a clause may take back what was said before it, in words that say
// no more than that.
func (f *frame) retracts() bool {
	return f.no && len(f.places)+len(f.elements) == 0 || strings.Contains(" "+strings.ToLower(f.raw)+" ", " wrong ") || strings.Contains(strings.ToLower(f.raw), "mistake")
}

// inOhms tells that the meter was on ohms, which nobody reads on what is fed: so says the
// unit, or the coil read by itself.
func (f *frame) inOhms() bool {
	return f.act("resistance") || slices.ContainsFunc(f.nums, func(n item) bool {
		dim := n.num.unit.dim
		return dim == ohm || dim == kilo || dim == "" && len(f.places) == 0 && f.has(f.elements, "coil")
	})
}
