package rules

import (
	"fmt"
	"slices"
	"strings"
)

// unit is a product of powers of the base units. A literal number has no unit
// of its own: it is free and takes the unit of whatever it stands beside.
type unit struct {
	free                              bool
	volt, ampere, minute, hot, length int8
}

// unitNames are the units that a fact or parameter may carry.
var unitNames = []struct {
	name   string
	plural string
	unit   unit
}{
	{"volt", "volts", unit{volt: 1}},
	{"ohm", "ohms", unit{volt: 1, ampere: -1}},
	{"ampere", "amperes", unit{ampere: 1}},
	{"watt", "watts", unit{volt: 1, ampere: 1}},
	{"celsius", "degrees", unit{hot: 1}},
	{"minute", "minutes", unit{minute: 1}},
	{"metre", "metres", unit{length: 1}},
	{"", "bare numbers", unit{}},
}

// Units lists the units a number may carry; "" is a bare number.
func Units() []string {
	var out []string
	for _, u := range unitNames {
		out = append(out, u.name)
	}
	return out
}

// parseUnit reads a name, or names joined by * and /.
func parseUnit(text string) (unit, bool) {
	var out unit
	if text == "" {
		return out, true
	}
	divide := false
	for text != "" {
		end := strings.IndexAny(text, "*/")
		name := text
		if end >= 0 {
			name = text[:end]
		}
		i := slices.IndexFunc(unitNames, func(u struct {
			name   string
			plural string
			unit   unit
		}) bool {
			return u.name == strings.TrimSpace(name) && u.name != ""
		})
		if i < 0 && !(strings.TrimSpace(name) == "1" && end >= 0) {
			return unit{}, false
		}
		if i >= 0 {
			out = out.times(unitNames[i].unit, divide)
		}
		if end < 0 {
			break
		}
		divide = text[end] == '/'
		text = text[end+1:]
	}
	return out, true
}

// times multiplies, or divides, two units. A free number times a unit keeps the
// unit; a free number divided by one could be anything, so it stays free.
func (u unit) times(v unit, divide bool) unit {
	switch {
	case v.free:
		return u
	case u.free && !divide:
		return v
	case u.free:
		return u
	}
	sign := int8(1)
	if divide {
		sign = -1
	}
	return unit{
		volt: u.volt + sign*v.volt, ampere: u.ampere + sign*v.ampere, minute: u.minute + sign*v.minute,
		hot: u.hot + sign*v.hot, length: u.length + sign*v.length,
	}
}

// same says whether two numbers may be added or compared.
func (u unit) same(v unit) bool { return u.free || v.free || u == v }

// or gives the unit of a sum: the one that is not free.
func (u unit) or(v unit) unit {
	if u.free {
		return v
	}
	return u
}

// String names the unit in the plural, for messages.
func (u unit) String() string {
	if u.free {
		return "numbers"
	}
	for _, known := range unitNames {
		if known.unit == u {
			return known.plural
		}
	}
	var b strings.Builder
	for _, p := range []struct {
		name  string
		power int8
	}{{"volt", u.volt}, {"ampere", u.ampere}, {"minute", u.minute}, {"degree", u.hot}, {"metre", u.length}} {
		if p.power != 0 {
			fmt.Fprintf(&b, " %s^%d", p.name, p.power)
		}
	}
	return strings.TrimSpace(b.String())
}
