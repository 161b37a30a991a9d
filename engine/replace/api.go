// Package replace judges whether a relay may go into a place: not only whether it fits
// the socket, but whether it does harm there.
package replace

import "coilside/engine/quantity"

// Choice is a part that is offered for a place. What is left out of either is not
// known, and never taken as fitting.
type Choice struct {
	Part  Part  `json:"part"`
	Place Place `json:"place"`
}

// Part is a relay as its marks and data sheet give it.
type Part struct {
	Name        string            `json:"name,omitempty"`
	Contact     string            `json:"contact,omitempty"` // make, break, changeover, two_87
	Size        string            `json:"size,omitempty"`    // micro, mini, maxi, other: the pattern of the blades
	Layout      string            `json:"layout,omitempty"`  // of 30 and 86 in the same case: usual, changed_over
	Labels      string            `json:"labels,omitempty"`  // din, numbers, en
	CoilVolts   *quantity.Volts   `json:"coil_volts,omitempty"`
	CoilOhms    *quantity.Ohms    `json:"coil_ohms,omitempty"`
	Suppression string            `json:"suppression,omitempty"` // none, resistor, diode
	Resistor    *quantity.Ohms    `json:"resistor_ohms,omitempty"`
	Cathode     string            `json:"cathode,omitempty"`         // of a diode: 86 or 85; 86 where a standard is followed
	RatedAmps   *quantity.Amps    `json:"rated_amps,omitempty"`      // working contact, resistive, at the place's volts
	RatedRest   *quantity.Amps    `json:"rated_rest_amps,omitempty"` // rest contact
	IP          string            `json:"ip,omitempty"`              // none, IP40, IP54, IP64, IP65, IP67, IP68, IP69K
	HottestC    *quantity.Celsius `json:"hottest_c,omitempty"`       // around it
	GoldContact *bool             `json:"gold_contact,omitempty"`    // made for small currents
}

// Place is the socket, its circuit and where it is.
type Place struct {
	Contact      string            `json:"contact,omitempty"` // what the circuit uses: make, break, changeover
	Size         string            `json:"size,omitempty"`
	Layout       string            `json:"layout,omitempty"`
	Labels       string            `json:"labels,omitempty"`
	SystemVolts  *quantity.Volts   `json:"system_volts,omitempty"`
	ControlSide  string            `json:"control_side,omitempty"`   // ground, positive
	CoilPositive string            `json:"coil_positive,omitempty"`  // 86, 85
	Driver       string            `json:"driver,omitempty"`         // switch, module
	Clamped      *bool             `json:"driver_clamped,omitempty"` // the module bears a coil without suppression
	CoilOhms     *quantity.Ohms    `json:"coil_ohms,omitempty"`      // of the relay that was in
	Suppression  string            `json:"suppression,omitempty"`    // of the relay that was in
	LoadKind     string            `json:"load_kind,omitempty"`      // heater, lamp, motor, solenoid, electronics
	LoadAmps     *quantity.Amps    `json:"load_amps,omitempty"`
	RestAmps     *quantity.Amps    `json:"rest_amps,omitempty"`        // through 87a
	Hazard       string            `json:"hazard,omitempty"`           // none, starting, fuel, lifting, brakes_or_steering, restraint, high_voltage
	QuickRelease *bool             `json:"quick_release,omitempty"`    // it must let go fast
	LiveSpare    *bool             `json:"cavity_87a_wired,omitempty"` // a wire sits in the cavity of 87a
	Mounting     string            `json:"mounting,omitempty"`         // cab, engine_bay, outside, pressure_wash
	HottestC     *quantity.Celsius `json:"hottest_c,omitempty"`
}

// Chosen is the verdict on a part in a place.
type Chosen struct {
	Verdict  string   `json:"verdict"` // fits, fits_with_care, not_known, does_not_fit, harmful
	Text     string   `json:"text"`
	Reasons  []Ground `json:"reasons"`  // worst first
	Find     []string `json:"find_out"` // what must be known first
	Needed   *float64 `json:"needed_amps,omitempty"`
	Cautions []string `json:"cautions"`
}

// Ground is one reason.
type Ground struct {
	About   string `json:"about"`   // layout, contact, coil_volts, suppression, …
	Verdict string `json:"verdict"` // fits, fits_with_care, not_known, does_not_fit, harmful
	Words   string `json:"words"`
	Source  string `json:"source,omitempty"`
}
