// Package pinout tells the terminals of an unmarked relay apart, from as few readings
// as can be: the next reading is the one of an exact plan over the arrangements left.
package pinout

import (
	"math/bits"
)

// guess is one arrangement of a relay's terminals, with what lies across its coil.
// Pins are numbered from 0. Two arrangements that nothing can tell apart are one
// guess: the coil's ends where no diode is, 30 and 87 of a relay with one contact.
type guess struct {
	coil   [2]int // ascending
	common int    // 30
	rest   int    // 87a; -1 = none
	work   []int  // 87; two of a relay with two joined 87
	diode  int    // 0 = none, 1 = cathode on coil[0], 2 = cathode on coil[1]
	weight float64
}

// Forms of contact.
const (
	changeover = "changeover"
	make1      = "make"
	break1     = "break"
	twin       = "two_87" // two blades 87, joined inside
)

// guesses lists the arrangements of a form, with what may lie across the coil. Each
// way to number the terminals is as likely as any other, and so are no suppression,
// a resistor and a diode where nothing is known.
func guesses(pins int, form, suppression string) []guess {
	var out []guess
	for a := range pins {
		for b := a + 1; b < pins; b++ {
			for _, g := range contacts(pins, form, [2]int{a, b}) {
				g.coil = [2]int{a, b}
				if suppression != "diode" {
					plain := g
					plain.weight *= 4
					if suppression != "unknown" {
						plain.weight = 6
					}
					out = append(out, plain)
				}
				if suppression == "diode" || suppression == "unknown" {
					for d := 1; d <= 2; d++ {
						way := g
						way.diode = d
						out = append(out, way)
					}
				}
			}
		}
	}
	return out
}

// contacts lists how the terminals beside the coil's may be arranged.
func contacts(pins int, form string, coil [2]int) []guess {
	var left []int
	for p := range pins {
		if p != coil[0] && p != coil[1] {
			left = append(left, p)
		}
	}
	switch form {
	case make1:
		return []guess{{common: left[0], rest: -1, work: left[1:2], weight: 1}}
	case break1:
		return []guess{{common: left[0], rest: left[1], weight: 1}}
	}
	var out []guess
	for i, common := range left {
		one, other := left[(i+1)%3], left[(i+2)%3]
		if form == twin {
			out = append(out, guess{common: common, rest: -1, work: []int{one, other}, weight: 1})
			continue
		}
		out = append(out, guess{common: common, rest: one, work: []int{other}, weight: 1}, guess{common: common, rest: other, work: []int{one}, weight: 1})
	}
	return out
}

// probe is one reading that can be taken.
type probe struct {
	diode bool // current-limited supply, plus on red; else ohms
	red   int
	black int
	plus  int // coil energised for ohms: the supply's plus; -1 = at rest
	minus int
}

// outcome is what a reading shows.
type outcome int

const (
	isOpen outcome = iota
	isClosed
	isCoil
	isDiode
	outcomes
)

// probes lists every reading of a relay with so many pins.
func probes(pins int) []probe {
	var out []probe
	for a := range pins {
		for b := range pins {
			if a == b {
				continue
			}
			if a < b {
				out = append(out, probe{red: a, black: b, plus: -1, minus: -1})
			}
			out = append(out, probe{diode: true, red: a, black: b, plus: -1, minus: -1})
			for x := range pins {
				for y := x + 1; y < pins; y++ {
					if x != a && x != b && y != a && y != b {
						out = append(out, probe{red: x, black: y, plus: a, minus: b})
					}
				}
			}
		}
	}
	return out
}

func (g guess) onCoil(a, b int) bool {
	return g.coil == [2]int{min(a, b), max(a, b)}
}

// cathode is the coil pin that the diode's cathode is on; -1 = no diode.
func (g guess) cathode() int {
	if g.diode == 0 {
		return -1
	}
	return g.coil[g.diode-1]
}

// pulled reports whether the relay pulls in with the supply so.
func (g guess) pulled(p probe) bool {
	return p.plus >= 0 && g.onCoil(p.plus, p.minus) && p.minus != g.cathode()
}

func (g guess) works(pin int) bool {
	for _, w := range g.work {
		if w == pin {
			return true
		}
	}
	return false
}

// shows is what a reading shows under a guess.
func (g guess) shows(p probe) outcome {
	a, b := p.red, p.black
	switch {
	case g.onCoil(a, b) && p.diode && b == g.cathode():
		return isDiode
	case g.onCoil(a, b):
		return isCoil
	case g.works(a) && g.works(b): // joined inside
		return isClosed
	case a != g.common && b != g.common:
		return isOpen
	}
	other := a + b - g.common
	if g.pulled(p) && g.works(other) || !g.pulled(p) && other == g.rest {
		return isClosed
	}
	return isOpen
}

// safe reports whether a reading may be asked for while g may be true: power goes to
// the coil only, and never through its diode unless it is limited for that.
func (g guess) safe(p probe) bool {
	switch {
	case p.diode:
		return g.onCoil(p.red, p.black)
	case p.plus >= 0:
		return g.onCoil(p.plus, p.minus) && p.minus != g.cathode()
	}
	return true
}

// set is a set of guesses, by their number.
type set [5]uint64

func (s *set) add(i int)     { s[i/64] |= 1 << (i % 64) }
func (s set) has(i int) bool { return s[i/64]>>(i%64)&1 == 1 }

func (s set) and(o set) set {
	for i := range s {
		s[i] &= o[i]
	}
	return s
}

func (s set) count() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

func (s set) empty() bool { return s == set{} }
