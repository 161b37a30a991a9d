// Package quantity holds numbers with a unit as callers give them: a bare number
// in the SI unit, or a text with the unit written out. It refuses the wrong unit,
// and values outside what a calculation makes sense for, by the field's name.
package quantity

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// The quantities. In JSON each is a number in the unit named, or a text such as
// "300 mV" or "20 ft".
type (
	Volts   float64 // volts
	Amps    float64 // amperes
	Ohms    float64 // ohms; +Inf is "OL", over the meter's range
	Metres  float64 // metres
	Celsius float64 // degrees Celsius
	Square  float64 // square millimetres
	Percent float64 // percent
)

// kind is what a text may say: each unit with the factor to the base unit.
type kind struct {
	name  string // "amperes"
	units map[string]float64
	also  string // an example with another unit
}

var (
	volts   = kind{"volts", map[string]float64{"v": 1, "volt": 1, "volts": 1, "mv": 1e-3, "millivolt": 1e-3, "millivolts": 1e-3, "kv": 1e3}, `"300 mV"`}
	amps    = kind{"amperes", map[string]float64{"a": 1, "amp": 1, "amps": 1, "ampere": 1, "amperes": 1, "ma": 1e-3, "milliamp": 1e-3, "milliamps": 1e-3}, `"150 mA"`}
	ohms    = kind{"ohms", map[string]float64{"ω": 1, "ohm": 1, "ohms": 1, "mω": 1e-3, "mohm": 1e-3, "milliohm": 1e-3, "milliohms": 1e-3, "k": 1e3, "kω": 1e3, "kohm": 1e3, "kohms": 1e3, "megohm": 1e6, "megohms": 1e6, "mohms": 1e-3}, `"4.7 kohm"`}
	metres  = kind{"metres", map[string]float64{"m": 1, "metre": 1, "metres": 1, "meter": 1, "meters": 1, "cm": 0.01, "mm": 1e-3, "ft": foot, "foot": foot, "feet": foot, "in": foot / 12, "inch": foot / 12, "inches": foot / 12}, `"20 ft"`}
	square  = kind{"square millimetres", map[string]float64{"mm2": 1, "mm²": 1, "mm^2": 1, "sqmm": 1, "square mm": 1}, `"2.5 mm2"`}
	percent = kind{"percent", map[string]float64{"%": 1, "percent": 1}, `"3 %"`}
	celsius = kind{"degrees Celsius", map[string]float64{"c": 1, "°c": 1, "celsius": 1, "degrees": 1, "degrees c": 1, "degrees celsius": 1}, `"77 F"`}
)

// foot is the international foot, 0.3048 m exactly.
const foot = 0.3048

// UnmarshalJSON reads a number or a text with its unit; the error says what is taken.
func (q *Volts) UnmarshalJSON(data []byte) error { return read(data, volts, (*float64)(q)) }

// UnmarshalJSON reads a number or a text with its unit; the error says what is taken.
func (q *Amps) UnmarshalJSON(data []byte) error { return read(data, amps, (*float64)(q)) }

// UnmarshalJSON reads a number or a text with its unit; the error says what is taken.
func (q *Metres) UnmarshalJSON(data []byte) error { return read(data, metres, (*float64)(q)) }

// UnmarshalJSON reads a number or a text with its unit; the error says what is taken.
func (q *Square) UnmarshalJSON(data []byte) error { return read(data, square, (*float64)(q)) }

// UnmarshalJSON reads a number or a text with its unit; the error says what is taken.
func (q *Percent) UnmarshalJSON(data []byte) error { return read(data, percent, (*float64)(q)) }

// UnmarshalJSON reads a number, a text with its unit, or "OL".
func (q *Ohms) UnmarshalJSON(data []byte) error {
	if strings.EqualFold(strings.Trim(string(data), `"`), "OL") {
		*q = Ohms(math.Inf(1))
		return nil
	}
	return read(data, ohms, (*float64)(q))
}

// MarshalJSON writes "OL" for what is over the meter's range.
func (q Ohms) MarshalJSON() ([]byte, error) {
	if math.IsInf(float64(q), 1) {
		return []byte(`"OL"`), nil
	}
	return json.Marshal(float64(q))
}

// UnmarshalJSON reads a number or a text in degrees Celsius or Fahrenheit.
func (q *Celsius) UnmarshalJSON(data []byte) error {
	var text string
	if json.Unmarshal(data, &text) == nil {
		number, unit := split(text)
		f, err := strconv.ParseFloat(number, 64)
		if u := strings.TrimPrefix(unit, "°"); err == nil && (u == "f" || u == "fahrenheit") {
			*q = Celsius((f - 32) / 1.8)
			return nil
		}
	}
	return read(data, celsius, (*float64)(q))
}

func read(data []byte, k kind, to *float64) error {
	text := string(data)
	if len(data) > 0 && data[0] == '"' {
		if err := json.Unmarshal(data, &text); err != nil {
			return err
		}
	} else if len(data) == 0 || !strings.ContainsRune("-0123456789", rune(data[0])) {
		return fmt.Errorf("it takes a number of %s, or a text with the unit such as %s, not %s", k.name, k.also, clip(text))
	}
	v, err := strconv.ParseFloat(text, 64) // a bare number, which may have an exponent
	if err != nil || data[0] == '"' {
		v, err = k.parse(text)
	}
	if err == nil {
		*to = v
	}
	return err
}

func (k kind) parse(text string) (float64, error) {
	number, unit := split(text)
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("it takes a number of %s, such as %s, not %q", k.name, k.also, clip(text))
	}
	if unit == "" {
		return v, nil
	}
	factor, ok := k.units[unit]
	if !ok {
		for _, other := range []kind{volts, amps, ohms, metres, square, percent, celsius} {
			if _, ok := other.units[unit]; ok {
				return 0, fmt.Errorf("it takes %s, and %q is a number of %s", k.name, clip(text), other.name)
			}
		}
		return 0, fmt.Errorf("it takes %s, such as %s; %q is no unit of that", k.name, k.also, clip(unit))
	}
	return v * factor, nil
}

// split parts a number from its unit. The unit comes in lower case.
func split(text string) (number, unit string) {
	text = strings.TrimSpace(text)
	at := strings.IndexFunc(text, func(r rune) bool { return !(unicode.IsDigit(r) || strings.ContainsRune("+-.", r)) })
	if at < 0 {
		return text, ""
	}
	unit = strings.TrimSpace(text[at:])
	if unit == "M" || strings.HasPrefix(unit, "M\u03a9") || strings.HasPrefix(unit, "M\u2126") || strings.HasPrefix(unit, "Mohm") {
		return text[:at], "megohm" // a capital M is mega; for lower case see the kinds
	}
	return text[:at], strings.ToLower(unit)
}

func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
