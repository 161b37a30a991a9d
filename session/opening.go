package session

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"coilside/rules"
	"coilside/session/experience"
)

const unknown = "unknown"

// purposes are what a job may be opened for.
var purposes = append([]string{"diagnose"}, coursePurposes...)

// given is one field of an opening that was filled in.
type given struct {
	field string // as the caller names it, dotted
	fact  string
	value rules.Value
}

// factsOf checks an opening against the rulebook and turns it into facts by
// id. Fields left out or "unknown" set nothing. The error is an *Error that names
// the field and, where a choice is wrong, the nearest valid one.
func factsOf(b *base, o OpenRequest) (map[string]rules.Value, error) {
	if err := checkPurpose(o); err != nil {
		return nil, err
	}
	if err := checkTexts(o); err != nil {
		return nil, err
	}
	if err := refuseHazard(o.Circuit.Load.Hazard); err != nil {
		return nil, err
	}
	fields, err := givenFields(b.book, o)
	if err != nil {
		return nil, err
	}
	follows, err := b.agree(fields)
	if err != nil {
		return nil, err
	}
	facts := map[string]rules.Value{}
	for _, g := range append(fields, follows...) {
		facts[g.fact] = g.value
	}
	return facts, nil
}

func checkPurpose(o OpenRequest) error {
	if o.Purpose != "" && !slices.Contains(purposes, o.Purpose) {
		return notOneOf("purpose", o.Purpose, purposes)
	}
	return nil
}

// checkTexts bounds the free texts of an opening.
func checkTexts(o OpenRequest) error {
	for _, t := range []struct{ field, text string }{
		{"label", o.Label}, {"relay.part", o.Relay.Part}, {"environment.mounting", o.Environment.Mounting}, {"key", o.Key},
	} {
		if err := checkText(t.field, t.text); err != nil {
			return err
		}
	}
	return nil
}

// checkText bounds one free text that is kept and shown.
func checkText(field, text string) error {
	const most = 200
	if utf8.RuneCountInString(text) > most {
		return &Error{Kind: Limit, Field: field, Message: field + " is longer than " + strconv.Itoa(most) + " characters"}
	}
	if !utf8.ValidString(text) || slices.ContainsFunc([]rune(text), func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return invalid(field, "%s holds characters that cannot be printed", field)
	}
	return nil
}

func refuseHazard(hazard string) error {
	switch hazard {
	case "restraint":
		return &Error{Kind: Unsafe, Field: "circuit.load.hazard",
			Message: "This is a restraint circuit (airbag or belt tensioner). Stop. Do not measure it. Get a person qualified for restraint systems"}
	case "high_voltage":
		return &Error{Kind: Unsafe, Field: "circuit.load.hazard",
			Message: "This is a high-voltage circuit. Stop. Do not touch it. Get a person qualified for high-voltage vehicles"}
	}
	return nil
}

// choiceField is a field of the opening whose value is one of some words. The
// words here stand where the rulebook declares none of its own.
type choiceField struct {
	field, fact, value string
	of                 []string
}

func choiceFields(o OpenRequest) []choiceField {
	c := o.Circuit
	return []choiceField{
		{"complaint", "complaint", o.Complaint, []string{"dead", "stays_on", "weak", "intermittent", "chatters", "drops_out_hot", "blows_fuse", "inverted"}},
		{"circuit.contact", "contact", c.Contact, []string{"make", "break", "changeover"}},
		{"circuit.control_side", "control_side", c.ControlSide, []string{"ground", "positive"}},
		{"circuit.power_enters", "power_enters", c.PowerEnters, []string{"30", "87", "87a"}},
		{"circuit.load_on", "load_on", c.LoadOn, []string{"30", "87", "87a"}},
		{"circuit.load_side", "load_side", c.LoadSide, []string{"ground", "supply"}},
		{"circuit.labels", "labels", c.Labels, []string{"din", "numbers", "en"}},
		{"circuit.suppression", "suppression", c.Suppression, []string{"none", "resistor", "diode"}},
		{"circuit.load.kind", "load_kind", c.Load.Kind, []string{"lamp", "motor", "heater", "solenoid", "electronics"}},
		{"circuit.load.hazard", "load_hazard", c.Load.Hazard, []string{"none", "starting", "fuel", "lifting", "brakes_or_steering", "restraint", "high_voltage"}},
		{"circuit.driver", "driver", c.Driver, []string{"switch", "module"}},
		{"circuit.coil_supply", "coil_supply", c.CoilSupply, []string{"ignition", "battery", "contact_feed"}},
		{"circuit.coil_positive", "coil_positive", c.CoilPositive, []string{"86", "85"}},
		{"circuit.feed_fuse_at", "feed_fuse_at", c.FeedFuseAt, []string{"before_relay", "after_relay"}},
		{"environment.mounting", "mounting", o.Environment.Mounting, nil},
	}
}

// numberField is a field of the opening that holds a number; least and most are
// inclusive and stand where the rulebook declares no range.
type numberField struct {
	field, fact string
	value       *float64
	least, most float64
	unit        string
}

func numberFields(o OpenRequest) []numberField {
	return []numberField{
		{"circuit.system_volts", "system_volts", o.Circuit.SystemVolts, 12, 24, "volts"},
		{"circuit.coil_ohms", "coil_ohms", o.Circuit.CoilOhms, 1, 10000, "ohms"},
		{"circuit.load.amps", "load_amps", o.Circuit.Load.Amps, 0.01, 1000, "amperes"},
		{"environment.temperature_c", "temperature_c", o.Environment.TemperatureC, -60, 150, "degrees Celsius"},
		{"relay.rated_amps", "relay_rated_amps", o.Relay.RatedAmps, 0.1, 1000, "amperes"},
	}
}

func givenFields(book *rules.Book, o OpenRequest) ([]given, error) {
	var out []given
	for _, c := range choiceFields(o) {
		g, err := c.read(book)
		if err != nil {
			return nil, err
		}
		out = append(out, g...)
	}
	if o.Complaint == "" && !slices.Contains(coursePurposes, o.Purpose) {
		of := complaintsOf(book)
		return nil, invalid("complaint", "complaint is missing; it takes %s", either(of))
	}
	for _, n := range numberFields(o) {
		g, err := n.read(book)
		if err != nil {
			return nil, err
		}
		out = append(out, g...)
	}
	for _, b := range []struct {
		fact  string
		value *bool
	}{{"load_moves", o.Circuit.Load.Moves}, {"exposed", o.Environment.Exposed}, {"relay_sealed", o.Relay.Sealed}} {
		if b.value != nil {
			out = append(out, given{b.fact, b.fact, rules.Value{Kind: rules.Bool, Bool: *b.value}})
		}
	}
	tools, err := toolFacts(book, o.Tools)
	if err != nil {
		return nil, err
	}
	out = append(out, tools...)
	if label := strings.TrimSpace(o.Label); label != "" {
		out = append(out, given{"label", experience.LabelFact, rules.Value{Kind: rules.Text, Text: label}})
	}
	if o.Relay.Part != "" {
		out = append(out, given{"relay.part", "relay_part", rules.Value{Kind: rules.Text, Text: o.Relay.Part}})
	}
	return out, nil
}

func (c choiceField) read(book *rules.Book) ([]given, error) {
	if c.value == "" || c.value == unknown {
		return nil, nil
	}
	of := c.of
	if declared := choicesOf(book, c.fact); declared != nil {
		of = declared
	}
	if of != nil && !slices.Contains(of, c.value) {
		return nil, notOneOf(c.field, c.value, append(slices.Clone(of), unknown))
	}
	return []given{{c.field, c.fact, rules.Value{Kind: rules.Choice, Text: c.value}}}, nil
}

// choicesOf lists the words the rulebook takes for a fact or an unknown of the
// wiring; nil where it declares none.
func choicesOf(book *rules.Book, id string) []string {
	if id == "complaint" {
		var of []string
		for _, c := range book.Complaints {
			of = append(of, c.ID)
		}
		return of
	}
	for _, circuit := range book.Circuits {
		for _, w := range circuit.Wiring {
			if w.ID == id {
				return w.Of
			}
		}
	}
	if f, ok := book.Fact(id); ok && f.Kind == rules.Choice {
		return f.Of
	}
	return nil
}

func (n numberField) read(book *rules.Book) ([]given, error) {
	if n.value == nil {
		return nil, nil
	}
	v := *n.value
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil, invalid(n.field, "%s must be a finite number of %s", n.field, n.unit)
	}
	if of := choicesOf(book, n.fact); of != nil {
		text := strconv.FormatFloat(v, 'f', -1, 64)
		if !slices.Contains(of, text) {
			return nil, invalid(n.field, "%s takes %s, not %s", n.field, either(of), plain(v))
		}
		return []given{{n.field, n.fact, rules.Value{Kind: rules.Number, Number: v, Text: text}}}, nil
	}
	least, most := n.least, n.most
	if f, ok := book.Fact(n.fact); ok && f.Range[0] != f.Range[1] {
		least, most = f.Range[0], f.Range[1]
	}
	if v < least || v > most || (v == 0 && n.unit != "degrees Celsius") {
		return nil, invalid(n.field, "%s is %s; it takes %s to %s %s", n.field, plain(v), plain(least), plain(most), n.unit)
	}
	return []given{{n.field, n.fact, rules.Value{Kind: rules.Number, Number: v}}}, nil
}

// complaintsOf are the ids of a rulebook's complaints.
func complaintsOf(book *rules.Book) []string {
	of := make([]string, len(book.Complaints))
	for i, c := range book.Complaints {
		of[i] = c.ID
	}
	return of
}
