// Package bench judges a relay by what it reads on the bench.
package bench

import "coilside/engine/quantity"

// Bench is what was read on a relay on the bench. Any reading may be left out; at
// least one must be there.
type Bench struct {
	CoilVolts    *quantity.Volts   `json:"coil_volts,omitempty"`    // 12 or 24, nominal
	Temperature  *quantity.Celsius `json:"temperature_c,omitempty"` // of the coil when it was read
	CoilOhms     *quantity.Ohms    `json:"coil_ohms,omitempty"`     // measured
	NominalOhms  *quantity.Ohms    `json:"nominal_ohms,omitempty"`  // of the coil alone, at 20 °C
	Tolerance    *quantity.Percent `json:"tolerance_percent,omitempty"`
	Suppression  string            `json:"suppression,omitempty"`   // none, resistor, diode, unknown
	ResistorOhms *quantity.Ohms    `json:"resistor_ohms,omitempty"` // of the suppression resistor
	PullIn       *quantity.Volts   `json:"pull_in_volts,omitempty"` // raised slowly until it pulls in
	NeverPullsIn bool              `json:"never_pulls_in,omitempty"`
	DropOut      *quantity.Volts   `json:"drop_out_volts,omitempty"`       // lowered slowly until it lets go
	Working      *ContactRead      `json:"working,omitempty"`              // 30 to 87, energised
	Rest         *ContactRead      `json:"rest,omitempty"`                 // 30 to 87a, at rest
	WorkingRest  *quantity.Ohms    `json:"working_at_rest_ohms,omitempty"` // 30 to 87 at rest: OL
	RestPulled   *quantity.Ohms    `json:"rest_energised_ohms,omitempty"`  // 30 to 87a energised: OL
	Insulation   *quantity.Ohms    `json:"insulation_ohms,omitempty"`      // coil to contacts: OL
	Click        string            `json:"click,omitempty"`                // click, silent, buzz
	LowestSupply *quantity.Volts   `json:"lowest_supply_volts,omitempty"`  // in the vehicle, at the battery
	PathDrop     *quantity.Volts   `json:"coil_path_drop_volts,omitempty"` // lost between battery and coil
	Hottest      *quantity.Celsius `json:"hottest_c,omitempty"`            // the coil gets in the vehicle
}

// ContactRead is a contact read by voltage drop at a current, or by ohms.
type ContactRead struct {
	Volts *quantity.Volts `json:"volts,omitempty"`
	Amps  *quantity.Amps  `json:"amps,omitempty"`
	Ohms  *quantity.Ohms  `json:"ohms,omitempty"` // with an ohmmeter: tells closed from open only
}

// Verdict is what the readings of a relay mean.
type Verdict struct {
	Verdict   string         `json:"verdict"` // good, marginal, bad
	Text      string         `json:"text"`
	Findings  []BenchFinding `json:"findings"`
	Coil20    *float64       `json:"coil_ohms_20,omitempty"`     // the coil at 20 °C, ohms
	PullIn20  *float64       `json:"pull_in_volts_20,omitempty"` // at 20 °C, volts
	DropOut20 *float64       `json:"drop_out_volts_20,omitempty"`
	PullInHot *float64       `json:"pull_in_volts_hot,omitempty"` // at the hottest the coil gets
	CoilHot   *float64       `json:"coil_ohms_hot,omitempty"`
	FailsAt   *float64       `json:"fails_at_c,omitempty"` // coil temperature above which it no longer pulls in at the lowest supply
	Supply    float64        `json:"supply_volts"`         // at the coil, at the lowest
	Missing   []string       `json:"missing"`              // what was not read
	Taken     []string       `json:"taken"`                // what was not said and was taken
	Cautions  []string       `json:"cautions"`
}

// BenchFinding is one reading with its verdict.
type BenchFinding struct {
	Of      string `json:"of"`      // coil, pull_in, drop_out, working, rest, insulation, click …
	Verdict string `json:"verdict"` // good, marginal, bad
	Words   string `json:"words"`
	Source  string `json:"source,omitempty"`
}
