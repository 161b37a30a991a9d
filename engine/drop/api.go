// Package drop judges the voltage that the parts of a path take under load.
package drop

import "coilside/engine/quantity"

// Path is one path under load, with what was read across its parts.
type Path struct {
	Path        string          `json:"path,omitempty"`         // load (if left out), coil or starter
	SystemVolts *quantity.Volts `json:"system_volts,omitempty"` // 12 or 24
	Amps        *quantity.Amps  `json:"amps,omitempty"`         // measured in the path meanwhile
	RatedAmps   *quantity.Amps  `json:"rated_amps,omitempty"`   // what the path carries normally; as measured if left out
	SupplyVolts *quantity.Volts `json:"supply_volts,omitempty"` // between the battery's posts meanwhile
	LoadVolts   *quantity.Volts `json:"load_volts,omitempty"`   // across the load, or the coil, meanwhile
	Parts       []Piece         `json:"parts"`
}

// Piece is one part of a path.
type Piece struct {
	Part  string          `json:"part,omitempty"` // what it is called: "feed wire"; its kind if left out
	Kind  string          `json:"kind,omitempty"` // wire, ground, switch, contact, … as the table drop_limits has them
	Side  string          `json:"side,omitempty"` // supply or ground; follows from the kind where it can
	Volts *quantity.Volts `json:"volts,omitempty"`
}

// Judgement is what a path's drops mean.
type Judgement struct {
	Verdict     string        `json:"verdict"` // good, high, incomplete, wrong
	Text        string        `json:"text"`
	Where       string        `json:"where"` // the part that is worst, or "not measured"
	Parts       []PieceJudged `json:"parts"`
	SupplySide  Side          `json:"supply_side"`
	GroundSide  Side          `json:"ground_side"`
	Total       PieceJudged   `json:"total"`
	MissingLoss *float64      `json:"missing_volts,omitempty"` // lost, but across no part that was measured
	Cautions    []string      `json:"cautions"`
}

// PieceJudged is one part with what its drop means.
type PieceJudged struct {
	Part    string  `json:"part"`
	Kind    string  `json:"kind"`
	Verdict string  `json:"verdict"` // good, high, wrong
	Volts   float64 `json:"volts"`
	AtRated float64 `json:"volts_at_rated"` // what it would be at the rated current
	Ohms    float64 `json:"ohms"`
	Watts   float64 `json:"watts"`
	Share   float64 `json:"share"` // of what all parts take, 0 to 1
	Limits  []Limit `json:"limits"`

	excess float64 // volts past the limit that judges it, at the rated current
}

// Limit is one published limit held against a drop.
type Limit struct {
	Limit  string  `json:"limit"`
	Volts  float64 `json:"volts"`
	Keeps  bool    `json:"keeps"`  // the drop stays within it
	Judges bool    `json:"judges"` // it decides
	Source string  `json:"source"`
}

// Side is what one side of the load takes.
type Side struct {
	Volts float64 `json:"volts"`
	Watts float64 `json:"watts"`
}
