package wire

import (
	"strings"

	"coilside/engine/quantity"
	"coilside/rules"
)

// Stretch is one length of wire that carries a current. Give one of AWG, MM2 and
// OhmsPerMetre.
type Stretch struct {
	Amps         *quantity.Amps    `json:"amps,omitempty"`
	Length       *quantity.Metres  `json:"length_m,omitempty"` // of the conductor, the way back included if it counts
	AWG          string            `json:"awg,omitempty"`
	MM2          *quantity.Square  `json:"mm2,omitempty"`
	OhmsPerMetre *quantity.Ohms    `json:"ohms_per_metre,omitempty"` // at 20 °C
	Temperature  *quantity.Celsius `json:"temperature_c,omitempty"`  // of the conductor; 20 if left out
	Allowed      *quantity.Volts   `json:"allowed_volts,omitempty"`
}

// Loss is what a stretch of wire takes.
type Loss struct {
	OhmsPerMetre float64  `json:"ohms_per_metre"` // at the conductor's temperature
	Ohms         float64  `json:"ohms"`
	Volts        float64  `json:"volts"`
	Watts        float64  `json:"watts"`
	Longest      *float64 `json:"longest_m,omitempty"` // that stays within allowed_volts
	Sources      []string `json:"sources"`
}

var (
	ampsRange   = quantity.Range{Low: 0, High: 500, Unit: "A", Above: true, Hint: "Is it in milliamperes?"}
	metresRange = quantity.Range{Low: 0, High: 200, Unit: "m", Above: true, Hint: "Is it in feet or centimetres? Write the unit with it"}
)

// Lose computes what a stretch of wire takes of the voltage. The error is a
// *quantity.FieldError, or a *rules.Error for figures that cannot be used.
func Lose(book *rules.Book, s Stretch) (Loss, error) {
	copper, err := readCopper(book)
	if err != nil {
		return Loss{}, err
	}
	var f quantity.Fields
	amps := quantity.Need(&f, "amps", s.Amps, ampsRange)
	length := quantity.Need(&f, "length_m", s.Length, quantity.Range{Low: 0, High: 1000, Unit: "m", Above: true, Hint: metresRange.Hint})
	celsius := quantity.Or(&f, "temperature_c", s.Temperature, 20, quantity.Range{Low: -60, High: 250, Unit: "°C"})
	at20 := s.at20(&f, copper)
	if f.Err != nil {
		return Loss{}, f.Err
	}
	l := Loss{OhmsPerMetre: at20 * copper.warm(celsius), Sources: sourcesOf(book, "copper_resistivity", "copper_coefficient")}
	l.Ohms = l.OhmsPerMetre * length
	l.Volts, l.Watts = l.Ohms*amps, l.Ohms*amps*amps
	if s.Allowed != nil {
		allowed := quantity.Need(&f, "allowed_volts", s.Allowed, quantity.Range{Low: 0, High: 48, Unit: "V", Above: true})
		longest := allowed / (amps * l.OhmsPerMetre)
		l.Longest = &longest
	}
	return l, f.Err
}

// at20 is what the wire resists at 20 °C, ohms a metre.
func (s Stretch) at20(f *quantity.Fields, copper Copper) float64 {
	given := 0
	for _, is := range []bool{s.AWG != "", s.MM2 != nil, s.OhmsPerMetre != nil} {
		if is {
			given++
		}
	}
	if given != 1 {
		f.Wrong("awg", "or mm2 or ohms_per_metre says which wire it is: give one of them")
		return 1
	}
	switch {
	case s.AWG != "":
		n, err := Number(strings.TrimSpace(s.AWG))
		if err != nil {
			f.Wrong("awg", "is not known: %v", err)
		}
		return copper.PerMetre(Area(n), 20)
	case s.MM2 != nil:
		return copper.PerMetre(quantity.Need(f, "mm2", s.MM2, quantity.Range{Low: 0, High: 500, Unit: "mm²", Above: true}), 20)
	}
	return quantity.Need(f, "ohms_per_metre", s.OhmsPerMetre, quantity.Range{Low: 0, High: 10, Unit: "Ω/m", Above: true, Hint: "Is it in ohms a kilometre?"})
}

// sourcesOf lists where parameters come from.
func sourcesOf(book *rules.Book, ids ...string) []string {
	var out []string
	for _, id := range ids {
		if p, ok := book.Parameter(id); ok {
			out = append(out, p.Source)
		}
	}
	return out
}
