package pinout

import (
	"fmt"
	"math"
	"strings"

	"coilside/engine/quantity"
	"coilside/rules"
)

// letters name the pins.
var letters = []string{"a", "b", "c", "d", "e"}

// Forms and what may lie across a coil, as callers write them.
var (
	Forms        = []string{changeover, make1, break1, twin, "unknown"}
	Suppressions = []string{"none", "resistor", "diode", "unknown"}
)

// figures are the parameters in force.
type figures struct {
	closed, open, coilMost, testAmps, blindAmps, testVolts, diode, guessed, tolerance float64
}

// read is one reading made sense of.
type read struct {
	probe
	outcome
	number float64 // ohms, or volts
	index  int     // in the request
	times  int     // how often it was read alike
}

// relay is an Unmarked with everything checked.
type relay struct {
	Unmarked
	book *rules.Book
	figures
	pins        int
	form        string
	suppression string
	volts       float64
	celsius     float64
	reads       []read
	mistakes    []string
	assumed     []string
}

func (u Unmarked) check(book *rules.Book) (*relay, error) {
	r := &relay{Unmarked: u, book: book, assumed: []string{}, mistakes: []string{}}
	err := book.Values(map[string]*float64{
		"closed_ohms": &r.closed, "open_ohms": &r.open, "coil_most_ohms": &r.coilMost, "pin_test_amps": &r.testAmps, "pin_test_amps_blind": &r.blindAmps, "pin_test_least_volts": &r.testVolts,
		"diode_volts": &r.diode, "guessed_pin_amps": &r.guessed, "coil_tolerance": &r.tolerance,
	})
	if err != nil {
		return nil, err
	}
	var f quantity.Fields
	switch {
	case u.Pins == nil:
		f.Wrong("pins", "is missing: how many blades has it, 4 or 5?")
	case *u.Pins != 4 && *u.Pins != 5:
		f.Wrong("pins", "is %d; relays of 4 or 5 pins are told apart here", *u.Pins)
	default:
		r.pins = *u.Pins
	}
	r.form = quantity.Choice(&f, "contact", u.Contact, "unknown", Forms...)
	r.formOf(&f)
	r.suppression = quantity.Choice(&f, "suppression", u.Suppression, "unknown", Suppressions...)
	r.volts = 12
	if u.CoilVolts != nil {
		r.volts = quantity.System(&f, "coil_volts", u.CoilVolts)
	} else {
		r.assumed = append(r.assumed, "the coil is for 12 V")
	}
	if u.NominalOhms != nil {
		quantity.Need(&f, "nominal_ohms", u.NominalOhms, quantity.Range{Low: r.closed, High: r.coilMost, Unit: "Ω", Hint: "Is it in kilohms?"})
	}
	r.celsius = quantity.Or(&f, "temperature_c", u.Temperature, 20, quantity.Range{Low: -60, High: 200, Unit: "°C", Hint: "Is it in Fahrenheit? Write the unit with it"})
	if f.Err == nil {
		r.take(&f)
	}
	return r, f.Err
}

// formOf settles what is not said of the contacts.
func (r *relay) formOf(f *quantity.Fields) {
	five := r.form == changeover || r.form == twin
	switch {
	case r.pins == 0:
	case r.form == "unknown" && r.pins == 5 && r.Contact == "":
		r.form = changeover
		r.assumed = append(r.assumed, "five pins are a changeover")
	case r.form == "unknown":
	case five != (r.pins == 5):
		f.Wrong("contact", "is %s, and that does not go with %d pins", r.form, r.pins)
	}
}

// take makes sense of the readings. One taken again takes the place of the first; if
// they differ, one was a slip.
func (r *relay) take(f *quantity.Fields) {
	if len(r.Readings) > 200 {
		f.Wrong("readings", "are %d; at most 200 are taken", len(r.Readings))
	}
	for i, given := range r.Readings {
		now := r.one(f, fmt.Sprintf("readings.%d.", i), given)
		if f.Err != nil {
			return
		}
		now.index, now.times = i, 1
		kept := r.reads[:0:0]
		for _, before := range r.reads {
			switch {
			case before.probe != now.probe:
				kept = append(kept, before)
			case before.outcome == now.outcome:
				now.times += before.times
			default:
				r.mistakes = append(r.mistakes, fmt.Sprintf("%s was read twice: first %s, then %s. The second counts.", now.where(), before.words(), now.words()))
			}
		}
		r.reads = append(kept, now)
	}
}

func (r *relay) one(f *quantity.Fields, at string, p PinReading) read {
	out := read{probe: probe{plus: -1, minus: -1}}
	out.red, out.black = r.pin(f, at+"red", p.Red), r.pin(f, at+"black", p.Black)
	if out.red == out.black && f.Err == nil {
		f.Wrong(at+"black", "is the same pin as red")
	}
	if (p.Positive != "" || p.Negative != "") && !(p.Volts != nil && p.Positive == p.Red && p.Negative == p.Black) {
		out.plus, out.minus = r.pin(f, at+"positive", p.Positive), r.pin(f, at+"negative", p.Negative)
		for _, pin := range []int{out.red, out.black} {
			if f.Err == nil && (pin == out.plus || pin == out.minus) {
				f.Wrong(at+"red", "or black is on the energised coil: never ohms on a live pin")
			}
		}
	}
	switch {
	case (p.Ohms == nil) == (p.Volts == nil):
		f.Wrong(at+"ohms", "or volts must be there, one of them")
	case p.Ohms != nil:
		out.number = quantity.Need(f, at+"ohms", p.Ohms, quantity.Range{Low: 0, High: math.Inf(1), Unit: "Ω"})
		out.ohms(f, at, r)
	default:
		out.diode = true
		out.number = quantity.Need(f, at+"volts", p.Volts, quantity.Range{Low: 0, High: 60, Unit: "V", Hint: "Is it in millivolts?"})
		out.testVolts(r)
		if out.plus >= 0 && f.Err == nil {
			f.Wrong(at+"volts", "are read between the pins that the supply is on: plus on red, minus on black")
		}
	}
	if !out.diode && out.red > out.black {
		out.red, out.black = out.black, out.red
	}
	return out
}

func (r *relay) pin(f *quantity.Fields, field, name string) int {
	name = strings.ToLower(strings.TrimSpace(name))
	for i, l := range letters[:r.pins] {
		if l == name {
			return i
		}
	}
	if name == "" {
		f.Wrong(field, "is missing: the pins are a to %s", letters[r.pins-1])
	} else {
		f.Wrong(field, "is %q; the pins are a to %s", name, letters[r.pins-1])
	}
	return -1
}

// ohms says what a resistance shows.
func (out *read) ohms(f *quantity.Fields, at string, r *relay) {
	v := out.number
	switch {
	case v < r.closed:
		out.outcome = isClosed
	case v >= r.open:
		out.outcome = isOpen
	case v <= r.coilMost && out.plus < 0:
		out.outcome = isCoil
	default:
		f.Wrong(at+"ohms", "is %s Ω: no contact, no coil and not open. Scrape the blades clean and read again", quantity.Plain(v))
	}
}

// testVolts says what a current-limited supply shows: nothing across a contact, a
// diode's volts, more across a coil, all it has where no current flows.
func (out *read) testVolts(r *relay) {
	limit := r.limit()
	switch {
	case out.number < r.diode/4:
		out.outcome = isClosed
	case out.number <= r.diode:
		out.outcome = isDiode
	case out.number >= 0.97*limit.Volts:
		out.outcome = isOpen
	default:
		out.outcome = isCoil
	}
}

// limit is what the supply of the polarity test is set to: the volts of the coil, and
// amperes that show well more volts across it than a diode has, and well less than
// the supply's own.
func (r *relay) limit() SupplyLimit {
	amps := r.blindAmps
	if ohms := r.coilRead(); ohms > 0 {
		amps = min(max(r.testAmps, r.testVolts/ohms), 0.8*r.volts/ohms, r.guessed)
	}
	return SupplyLimit{Volts: r.volts, Amps: amps}
}

// coilRead is the coil's resistance as read; 0 = not read.
func (r *relay) coilRead() float64 {
	for _, x := range r.reads {
		if x.outcome == isCoil && !x.diode {
			return x.number
		}
	}
	return 0
}

func (p probe) where() string {
	text := fmt.Sprintf("%s to %s", letters[p.red], letters[p.black])
	switch {
	case p.plus >= 0:
		text += fmt.Sprintf(" with %s (+) and %s (-) energised", letters[p.plus], letters[p.minus])
	case p.diode:
		text = fmt.Sprintf("the supply on %s (+) and %s (-)", letters[p.red], letters[p.black])
	}
	return text
}

func (x read) words() string {
	if x.diode {
		return quantity.Plain(x.number) + " V"
	}
	if math.IsInf(x.number, 1) {
		return "OL"
	}
	return quantity.Plain(x.number) + " Ω"
}
