package session

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

func number(v float64) *float64 { return &v }

func yes() *bool { b := true; return &b }

// van is a usual circuit, wholly told.
func van() OpenRequest {
	return OpenRequest{Complaint: "dead", Label: "van fan", Circuit: CircuitSpec{
		Contact: "make", ControlSide: "ground", PowerEnters: "30", LoadSide: "ground", Labels: "din", Suppression: "none",
		SystemVolts: number(12), Load: LoadSpec{Kind: "motor", Amps: number(18), Moves: yes(), Hazard: "none"}, Driver: "switch",
		CoilSupply: "ignition", CoilPositive: "86", FeedFuseAt: "before_relay",
	}}
}

func TestOpeningBecomesFacts(t *testing.T) {
	facts, err := factsOf(baseOf(t), van())
	require.NoError(t, err)
	text := func(id string) string { return facts[id].Text }
	require.Equal(t, "87", text("power_leaves"), "follows from power_enters 30 and contact make")
	require.Equal(t, "ground", text("control_side"))
	require.Equal(t, 12.0, facts["system_volts"].Number)
	require.Equal(t, 18.0, facts["load_amps"].Number)
	require.Equal(t, rules.Value{Kind: rules.Bool, Bool: true}, facts["load_moves"])

	o := van()
	o.Circuit.LoadSide, o.Circuit.LoadOn, o.Circuit.PowerEnters = "supply", "30", ""
	facts, err = factsOf(baseOf(t), o)
	require.NoError(t, err)
	require.Equal(t, "30", facts["power_enters"].Text, "the load lies on the supply side, so power enters where the load is")
}

func TestUnknownIsAsGoodAsAbsent(t *testing.T) {
	o := OpenRequest{Complaint: "dead", Circuit: CircuitSpec{Contact: "unknown", ControlSide: "unknown", PowerEnters: "unknown", LoadOn: "unknown",
		LoadSide: "unknown", Labels: "unknown", Suppression: "unknown", Driver: "unknown", CoilSupply: "unknown", CoilPositive: "unknown",
		FeedFuseAt: "unknown", Load: LoadSpec{Kind: "unknown", Hazard: "unknown"}}}
	facts, err := factsOf(baseOf(t), o)
	require.NoError(t, err)
	bare, err := factsOf(baseOf(t), OpenRequest{Complaint: "dead"})
	require.NoError(t, err)
	require.Equal(t, bare, facts)
	require.Len(t, bare, 1, "nothing but the complaint: %v", bare)
}

func TestOpeningRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		change                func(*OpenRequest)
		kind                  Kind
		field, words, nearest string
	}{
		"no complaint":        {func(o *OpenRequest) { o.Complaint = "" }, Invalid, "complaint", "complaint is missing; it takes dead", ""},
		"misspelt complaint":  {func(o *OpenRequest) { o.Complaint = "stay_on" }, Invalid, "complaint", `did you mean "stays_on"?`, "stays_on"},
		"misspelt contact":    {func(o *OpenRequest) { o.Circuit.Contact = "mak" }, Invalid, "circuit.contact", `not "mak"; did you mean "make"?`, "make"},
		"a side that is none": {func(o *OpenRequest) { o.Circuit.ControlSide = "left" }, Invalid, "circuit.control_side", `takes ground, positive or unknown, not "left"`, ""},
		"terminal 88":         {func(o *OpenRequest) { o.Circuit.PowerEnters = "88" }, Invalid, "circuit.power_enters", `not "88"`, "87"},
		"six volts":           {func(o *OpenRequest) { o.Circuit.SystemVolts = number(6) }, Invalid, "circuit.system_volts", "takes 12 or 24, not 6", ""},
		"volts not a number":  {func(o *OpenRequest) { o.Circuit.SystemVolts = number(math.NaN()) }, Invalid, "circuit.system_volts", "finite", ""},
		"no amps":             {func(o *OpenRequest) { o.Circuit.Load.Amps = number(0) }, Invalid, "circuit.load.amps", "circuit.load.amps is 0", ""},
		"negative coil":       {func(o *OpenRequest) { o.Circuit.CoilOhms = number(-84) }, Invalid, "circuit.coil_ohms", "is -84; it takes", ""},
		"endless amps":        {func(o *OpenRequest) { o.Circuit.Load.Amps = number(math.Inf(1)) }, Invalid, "circuit.load.amps", "finite", ""},
		"airbag":              {func(o *OpenRequest) { o.Circuit.Load.Hazard = "restraint" }, Unsafe, "circuit.load.hazard", "qualified", ""},
		"high voltage":        {func(o *OpenRequest) { o.Circuit.Load.Hazard = "high_voltage" }, Unsafe, "circuit.load.hazard", "qualified", ""},
		"no purpose at all":   {func(o *OpenRequest) { o.Purpose = "diagnoze" }, Invalid, "purpose", `did you mean "diagnose"?`, "diagnose"},
		"long label":          {func(o *OpenRequest) { o.Label = strings.Repeat("x", 201) }, Limit, "label", "longer than 200", ""},
		"label with a bell":   {func(o *OpenRequest) { o.Label = "van\a" }, Invalid, "label", "cannot be printed", ""},
		"make fed at 87a":     {func(o *OpenRequest) { o.Circuit.PowerEnters = "87a" }, Invalid, "circuit.power_enters", "power_enters 87a does not go with contact make; with contact make, power_enters can be 30 or 87", ""},
		"break fed at 87": {func(o *OpenRequest) { o.Circuit.Contact, o.Circuit.PowerEnters = "break", "87" }, Invalid, "circuit.power_enters",
			"power_enters 87 does not go with contact break", ""},
		"load on a terminal the contact lacks": {func(o *OpenRequest) { o.Circuit.LoadOn = "87a" }, Invalid, "circuit.load_on", "load_on 87a does not go with", ""},
		"load where power enters":              {func(o *OpenRequest) { o.Circuit.LoadOn = "30" }, Invalid, "circuit.load_side", "cannot all be true of one circuit", "supply"},
		"switched ground, load elsewhere": {func(o *OpenRequest) { o.Circuit.LoadSide, o.Circuit.LoadOn = "supply", "87" }, Invalid, "circuit.load_side",
			"power_enters 30, load_on 87 and load_side supply cannot all be true", "ground"},
		"diode the wrong way": {func(o *OpenRequest) { o.Circuit.Suppression, o.Circuit.CoilPositive = "diode", "85" }, Invalid, "circuit.coil_positive",
			"coil_positive 85 does not go with suppression diode", "86"},
	} {
		o := van()
		c.change(&o)
		_, err := factsOf(baseOf(t), o)
		var e *Error
		require.True(t, errors.As(err, &e), "%s: %v", name, err)
		require.Equal(t, c.kind, e.Kind, name)
		require.Equal(t, c.field, e.Field, name)
		require.Contains(t, e.Message, c.words, name)
		require.Equal(t, c.nearest, e.Nearest, name)
	}
}
