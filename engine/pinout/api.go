package pinout

import "coilside/engine/quantity"

// Unmarked is a relay on the bench whose terminals are to be told apart. Its pins are
// called a, b, c … in any order that will be remembered.
type Unmarked struct {
	Pins        *int              `json:"pins,omitempty"`        // 4 or 5
	Contact     string            `json:"contact,omitempty"`     // changeover, make, break, two_87, unknown; left out: what most of so many pins are
	Suppression string            `json:"suppression,omitempty"` // none, resistor, diode, unknown (if left out)
	CoilVolts   *quantity.Volts   `json:"coil_volts,omitempty"`  // 12 or 24, to energise it
	NominalOhms *quantity.Ohms    `json:"nominal_ohms,omitempty"`
	Temperature *quantity.Celsius `json:"temperature_c,omitempty"` // 20 if left out
	Readings    []PinReading      `json:"readings,omitempty"`      // in the order they were taken
}

// PinReading is one reading between two pins. Without Positive and Negative the coil
// is at rest; with them it is energised from a current-limited supply. A reading of
// volts is that of a supply limited to some 50 mA between red (plus) and black.
type PinReading struct {
	Red      string          `json:"red,omitempty"`
	Black    string          `json:"black,omitempty"`
	Positive string          `json:"positive,omitempty"`
	Negative string          `json:"negative,omitempty"`
	Ohms     *quantity.Ohms  `json:"ohms,omitempty"`
	Volts    *quantity.Volts `json:"volts,omitempty"`
}

// Pinout is what the readings tell.
type Pinout struct {
	State       string   `json:"state"` // measuring, identified, proven, doubtful, impossible
	Text        string   `json:"text"`
	Terminals   []Pin    `json:"terminals"`     // once identified
	Contact     string   `json:"contact"`       // changeover, make, break, two_87; "" until known
	Suppression string   `json:"suppression"`   // none, resistor, diode, none_or_resistor, unknown
	Next        *PinTest `json:"next"`          // null when proven
	Taken       int      `json:"readings"`      // how many were taken
	Expected    float64  `json:"expected_left"` // readings to be expected until identified, at best
	Left        int      `json:"arrangements_left"`
	Mistakes    []string `json:"mistakes"` // readings that were noticed to be wrong or doubtful
	Doubted     []int    `json:"doubted"`  // readings, from 0, of which one must be wrong
	CoilOhms    *float64 `json:"coil_ohms"`
	Assumed     []string `json:"assumed"`
	Cautions    []string `json:"cautions"`
}

// Pin is one pin with its names.
type Pin struct {
	Pin    string `json:"pin"`
	DIN    string `json:"din"`
	Number string `json:"number"` // ISO 7588
	EN     string `json:"en"`     // EN 50005
	Words  string `json:"words"`
}

// PinTest is the next reading to take.
type PinTest struct {
	Mode     string       `json:"mode"` // ohms, or volts_dc of a current-limited supply
	Red      string       `json:"red"`
	Black    string       `json:"black"`
	Positive string       `json:"positive,omitempty"` // the coil is energised here
	Negative string       `json:"negative,omitempty"`
	Limit    *SupplyLimit `json:"limit,omitempty"` // of the supply, where one is used
	Say      string       `json:"say"`
	Why      string       `json:"why"`
	Cautions []string     `json:"cautions"`
}

// SupplyLimit is what a bench supply is set to.
type SupplyLimit struct {
	Volts float64 `json:"volts"`
	Amps  float64 `json:"amps"`
}
