package wire

import (
	"coilside/engine/quantity"
)

// Run is a relay circuit to be wired: the load's side and the coil's. What may be
// left out is taken on the safe side, and Sizing.Taken says so.
type Run struct {
	Amps         *quantity.Amps    `json:"amps,omitempty"`            // the load's running current
	Length       *quantity.Metres  `json:"length_m,omitempty"`        // from the supply over the relay to the load, one way
	GroundLength *quantity.Metres  `json:"ground_length_m,omitempty"` // the way back; as long as the way there if left out
	SystemVolts  *quantity.Volts   `json:"system_volts,omitempty"`    // 12 or 24
	LoadKind     string            `json:"load_kind,omitempty"`       // heater, lamp, motor, solenoid, electronics, unknown
	Critical     *bool             `json:"critical,omitempty"`        // a load that must have its voltage; true if left out
	DropPercent  *quantity.Percent `json:"drop_percent,omitempty"`    // instead of what critical stands for
	EngineSpace  *bool             `json:"engine_space,omitempty"`    // true if left out
	Ambient      *quantity.Celsius `json:"ambient_c,omitempty"`       // around the wire; follows from engine_space if left out
	Insulation   *quantity.Celsius `json:"insulation_c,omitempty"`    // what the insulation is rated for: 60, 75, 80, 90, 105 or 125
	Bundle       *int              `json:"bundle,omitempty"`          // wires under load in the bundle, this one counted; 1 if left out
	CoilAmps     *quantity.Amps    `json:"coil_amps,omitempty"`
	CoilLength   *quantity.Metres  `json:"coil_length_m,omitempty"` // supply to coil to control to ground, one way; as length_m if left out
}

// Sizing is how to wire a circuit.
type Sizing struct {
	Text      string     `json:"text"`
	Load      Leg        `json:"load"`
	Coil      Leg        `json:"coil"`
	Fuse      Fuse       `json:"fuse"`
	Relay     RelaySize  `json:"relay_size"`
	Connector Connector  `json:"connector"`
	Taken     []string   `json:"taken"` // what was not said and was taken
	Notes     []string   `json:"notes"`
	Cautions  []string   `json:"cautions"`
	Sources   []string   `json:"sources"`
	Options   []LegOther `json:"options"` // the load's wire by other limits
}

// Leg is the wire of one side.
type Leg struct {
	Amps         float64 `json:"amps"`
	Metres       float64 `json:"metres"`        // out and back
	CircularMils float64 `json:"circular_mils"` // asked by the drop
	AllowedVolts float64 `json:"allowed_volts"`
	AWG          Wire    `json:"awg"`
	MM2          Wire    `json:"mm2"`
}

// Wire is one size that does, with what it does.
type Wire struct {
	Size       string  `json:"size"`
	ByDrop     string  `json:"by_drop"`     // the thinnest that the drop allows
	ByAmpacity string  `json:"by_ampacity"` // the thinnest that carries the current
	Because    string  `json:"because"`     // what decided: drop, heat, ampacity, fuse or strength
	Carries    float64 `json:"carries"`     // amperes, where it lies
	ConductorC float64 `json:"conductor_c"` // degrees Celsius at this current
	DropVolts  float64 `json:"drop_volts"`  // out and back, at that temperature
	DropPct    float64 `json:"drop_percent"`
	Watts      float64 `json:"watts"`
}

// LegOther is the wire that another limit of the drop would give.
type LegOther struct {
	DropPercent float64 `json:"drop_percent"`
	AWG         string  `json:"awg"`
	MM2         string  `json:"mm2"`
	Source      string  `json:"source"`
}

// Fuse is the load's fuse.
type Fuse struct {
	Amps    float64 `json:"amps"`
	Because string  `json:"because"`
}

// RelaySize is the relay that the load needs.
type RelaySize struct {
	Size       string  `json:"size"`
	NeededAmps float64 `json:"needed_amps"` // resistive rating
	Because    string  `json:"because"`
}

// Connector is the blade that carries the load.
type Connector struct {
	Blade   string `json:"blade"`
	Because string `json:"because"`
}
