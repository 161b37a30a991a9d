package words

import (
	"slices"
	"strings"
)

// unit is a unit as said. dim is volt, ohm, ampere, or another quantity that no
// lead position reads (time in minutes, watt, celsius ...); "milli" is thousandths of
// something unsaid, "kilo" thousands.
type unit struct {
	dim   string
	scale float64
}

const (
	volt   = "volt"
	ohm    = "ohm"
	ampere = "ampere"
	milli  = "milli"
	kilo   = "kilo"
)

var unitNames = map[string]unit{
	"v": {volt, 1}, "volt": {volt, 1}, "volts": {volt, 1}, "vdc": {volt, 1}, "vs": {volt, 1},
	"mv": {volt, 1e-3}, "millivolt": {volt, 1e-3}, "millivolts": {volt, 1e-3}, "uv": {volt, 1e-6},
	"microvolts": {volt, 1e-6}, "kv": {volt, 1e3},
	"ohm": {ohm, 1}, "ohms": {ohm, 1}, "Ω": {ohm, 1}, "ω": {ohm, 1}, "homs": {ohm, 1}, "omhs": {ohm, 1},
	"milliohm": {ohm, 1e-3}, "milliohms": {ohm, 1e-3}, "mohm": {ohm, 0}, "mohms": {ohm, 0}, "mΩ": {ohm, 0}, "mω": {ohm, 0},
	"kohm": {ohm, 1e3}, "kohms": {ohm, 1e3}, "kilohm": {ohm, 1e3}, "kilohms": {ohm, 1e3}, "kiloohm": {ohm, 1e3},
	"kiloohms": {ohm, 1e3}, "kω": {ohm, 1e3}, "kΩ": {ohm, 1e3},
	"meg": {ohm, 1e6}, "megs": {ohm, 1e6}, "megohm": {ohm, 1e6}, "megohms": {ohm, 1e6}, "megaohms": {ohm, 1e6},
	"amp": {ampere, 1}, "amps": {ampere, 1}, "ampere": {ampere, 1}, "amperes": {ampere, 1},
	"ma": {ampere, 1e-3}, "milliamp": {ampere, 1e-3}, "milliamps": {ampere, 1e-3}, "milliampere": {ampere, 1e-3},
	"k": {kilo, 1e3}, "kilo": {kilo, 1e3}, "kay": {kilo, 1e3}, "millis": {milli, 1e-3}, "milli": {milli, 1e-3}, "mils": {milli, 1e-3}, "mil": {milli, 1e-3},
	"vac": {"alternating", 1}, "ac": {"alternating", 1}, "w": {"watt", 1}, "watt": {"watt", 1}, "watts": {"watt", 1},
	"degree": {"celsius", 1}, "degrees": {"celsius", 1}, "celsius": {"celsius", 1}, "deg": {"celsius", 1},
	"second": {"time", 1.0 / 60}, "seconds": {"time", 1.0 / 60}, "sec": {"time", 1.0 / 60}, "secs": {"time", 1.0 / 60},
	"moment": {"time", 1.0 / 60}, "moments": {"time", 1.0 / 60}, "minute": {"time", 1}, "minutes": {"time", 1}, "min": {"time", 1}, "mins": {"time", 1},
	"hour": {"time", 60}, "hours": {"time", 60}, "days": {"time", 1440}, "day": {"time", 1440}, "weeks": {"time", 10080}, "years": {"time", 525600}, "year": {"time", 525600},
	"times": {"times", 1}, "percent": {"percent", 1}, "hz": {"hertz", 1}, "psi": {"bar", 1}, "bar": {"bar", 1}, "rpm": {"rpm", 1},
	"mm": {"metre", 1}, "cm": {"metre", 1}, "km": {"metre", 1}, "miles": {"metre", 1}, "feet": {"metre", 1}, "inches": {"metre", 1},
}

// rated are the nouns that a rating stands before: a 10 amp fuse is no reading
// of 10 A.
var rated = map[string]bool{
	"range": true, "scale": true, "setting": true,
	"fuse": true, "relay": true, "lamp": true, "bulb": true, "breaker": true, "battery": true, "truck": true,
	"system": true, "load": true, "motor": true, "pin": true, "way": true, "diode": true, "cable": true,
	"wire": true, "jumper": true, "bus": true, "van": true, "lorry": true, "car": true, "tractor": true, "machine": true, "trailer": true, "coach": true, "digger": true, "loader": true, "harvester": true, "pickup": true, "rig": true, "wagon": true, "vehicle": true, "job": true, "tester": true, "meter": true,
}

// measureUnits joins each number to the unit said after it.
func measureUnits(in []item) []item {
	var out []item
	for i := 0; i < len(in); i++ {
		it, at := in[i], i
		if leadsNumber(in, i) {
			in[i+1].num.unit, in[i+1].unit = unitNames[it.text], in[i:i+1]
			continue
		}
		if it.kind != kNum {
			out = append(out, it)
			continue
		}
		j := i + 1
		if j+1 < len(in) && in[j].text == "-" && in[j].glued && isUnitItem(in[j+1]) {
			j++
		}
		if j+2 < len(in) && in[j].text == "of" && (in[j+1].text == "a" || in[j+1].text == "an") && isUnitItem(in[j+2]) {
			j += 2 // "point eight of an ohm"
		}
		if n := readUnit(&it.num, in, j); n > 0 {
			i = j + n - 1
			it.unit = in[at+1 : j+n]
		}
		if isDIN(it.num.digits) && (nextTo(in, i, "is") || nextTo(in, i, "at")) && i+2 < len(in) && in[i+2].kind == kNum {
			it.num.unit = unit{} // "86 V = 12.3"
		}
		if isDIN(it.num.digits) && it.num.unit.dim == volt && i+1 < len(in) && in[i+1].kind == kNum && !isUnitItem(neighbour(in, i, 2)) {
			in[i+1].num.unit, it.num.unit, it.unit = it.num.unit, unit{}, nil // "86 volts 12.3"
		}
		if rating(it.num, in, at, i+1) {
			it.num.size, it.num.unit.dim = it.num.unit.dim, "rating"
		}
		out = append(out, it)
	}
	return shareUnits(out)
}

// leadsNumber tells a unit said before its number, and not behind another: "coil ohms 84".
func leadsNumber(in []item, i int) bool {
	if it := in[i]; it.text != "volts" && it.text != "ohms" && it.text != "amps" || i+1 == len(in) || in[i+1].kind != kNum || i > 0 && in[i-1].kind == kNum {
		return false
	}
	if isDIN(in[i+1].num.digits) && neighbour(in, i, 2).kind == kNum {
		return false // "volts 86 12.4"
	}
	var other num
	return readUnit(&other, in, i+2) == 0
}

func hasText(in []item, text string) bool {
	return slices.ContainsFunc(in, func(it item) bool { return it.text == text })
}

func nextTo(in []item, i int, text string) bool { return i+1 < len(in) && in[i+1].text == text }

func isUnitItem(it item) bool {
	_, ok := unitNames[it.text]
	return it.kind == kWord && ok
}

// readUnit reads the unit at in[i] and tells how many items it took.
func readUnit(n *num, in []item, i int) int {
	if i >= len(in) || in[i].kind != kWord {
		return 0
	}
	w := in[i]
	if special, ok := glyph(w, in, i); ok {
		n.unit = special
		return 1
	}
	u, ok := unitNames[w.text]
	if ok && u.dim == volt && i+1 < len(in) && in[i+1].text == "ac" {
		n.unit = unitNames["ac"]
		return 2
	}
	if !ok || w.text == "min" && hasText(in, "max") {
		return 0
	}
	took := 1
	if u.dim == kilo || u.dim == milli || w.text == "meg" || w.text == "megs" {
		if next, ok := unitAfter(in, i+1); ok {
			u.dim, took = next, 2
		}
	}
	if u.scale == 0 { // mΩ or MΩ: the letter's case tells
		u.scale = 1e-3
		if w.raw[0] == 'M' {
			u.scale = 1e6
		}
	}
	n.unit = u
	return took
}

// unitAfter reads the bare unit after a spoken prefix: "milli volts", "k ohms".
func unitAfter(in []item, i int) (string, bool) {
	if i >= len(in) || in[i].kind != kWord {
		return "", false
	}
	u, ok := unitNames[in[i].text]
	return u.dim, ok && u.scale == 1 && (u.dim == volt || u.dim == ohm || u.dim == ampere)
}

// glyph reads units of one letter, where the space or the case decides.
func glyph(w item, in []item, i int) (unit, bool) {
	last := i+1 >= len(in) || in[i+1].kind == kSep
	switch w.text {
	case "a":
		return unit{ampere, 1}, w.glued || w.raw == "A" || last
	case "m":
		if w.raw == "M" {
			return unit{ohm, 1e6}, w.glued || last
		}
		return unit{milli, 1e-3}, w.glued || last
	case "r":
		return unit{ohm, 1}, w.glued
	case "c":
		return unit{"celsius", 1}, w.glued || w.raw == "C"
	case "s":
		return unit{"time", 1.0 / 60}, w.glued
	case "h":
		return unit{"time", 60}, w.glued
	}
	return unit{}, false
}

// rating tells a size ("10 amp fuse", "5 pin relay") from a reading. A unit in
// the plural is a reading: "9.6 amps motor running".
func rating(n num, in []item, before, i int) bool {
	if n.unit.dim == ampere && before > 0 && (in[before-1].text == "the" || in[before-1].text == "a") && !strings.HasSuffix(in[i-1].text, "s") {
		return true // "it keeps popping the 15 amp"
	}
	if i >= len(in) || in[i].kind != kWord || !rated[in[i].text] || strings.HasSuffix(in[i-1].text, "s") {
		return false
	}
	switch n.unit.dim {
	case ampere, volt, "watt":
		if i+1 < len(in) {
			switch in[i+1].text {
			case "in", "out", "side", "both", "feed", "input", "output", "end", "terminal", "post", "plug", "connector":
				return false
			}
		}
		return true
	case "":
		return in[i].text == "pin" || in[i].text == "way"
	}
	return false
}

// shareUnits gives "5 to 11 volts" and "5 and 11 volts" one unit for both.
func shareUnits(in []item) []item {
	for i := 0; i+2 < len(in); i++ {
		a, mid, b := &in[i], in[i+1], &in[i+2]
		if a.kind != kNum || b.kind != kNum || a.num.unit.dim != "" || b.num.unit.dim == "" {
			continue
		}
		if mid.text == "to" || mid.text == "and" || mid.text == "-" || mid.text == "or" {
			if !isDIN(a.num.digits) {
				a.num.unit = b.num.unit
			}
		}
	}
	return in
}
