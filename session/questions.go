package session

import (
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// questions are what an interview asks, in order.
func (i *Interview) questions() []question {
	what := question{text: "What is it, and what does it do wrong?", fields: []string{"complaint"}}
	for _, c := range i.book.Complaints {
		what.offer = append(what.offer, offer{c.Words, nil, func(o *OpenRequest) { o.Complaint = c.ID }})
	}
	fact := func(id string, v rules.Value) func(*OpenRequest) {
		return func(o *OpenRequest) { o.setFact(id, v) }
	}
	text := func(id, value string) func(*OpenRequest) {
		return fact(id, rules.Value{Kind: rules.Choice, Text: value})
	}
	runs := func(moves bool, hazard string) func(*OpenRequest) {
		return func(o *OpenRequest) { o.Circuit.Load.Moves, o.Circuit.Load.Hazard = &moves, hazard }
	}
	return []question{
		what,
		{"12 or 24 volts?", []string{"system_volts"}, []offer{
			{"12 volts", nil, fact("system_volts", rules.Value{Kind: rules.Number, Number: 12})},
			{"24 volts", nil, fact("system_volts", rules.Value{Kind: rules.Number, Number: 24})},
		}},
		{"What kind of load is it?", []string{"load_kind"}, []offer{
			{"lamp", nil, text("load_kind", "lamp")}, {"motor", nil, text("load_kind", "motor")}, {"heater", nil, text("load_kind", "heater")},
			{"solenoid or valve", nil, text("load_kind", "solenoid")}, {"electronics", nil, text("load_kind", "electronics")},
		}},
		{"What happens when it runs?", []string{"load_moves", "load_hazard"}, []offer{
			{"nothing moves", []string{"nothing", "no", "none"}, runs(false, "none")}, {"a fan, pump or other part turns", []string{"something moves", "it turns", "yes", "blower turns"}, runs(true, "none")},
			{"the engine starts", nil, runs(true, "starting")}, {"fuel moves", nil, runs(true, "fuel")}, {"it lifts or lowers", nil, runs(true, "lifting")},
			{"it brakes or steers", nil, runs(true, "brakes_or_steering")}, {"an airbag or belt fires", nil, runs(true, "restraint")},
			{"it switches high voltage", nil, runs(false, "high_voltage")},
		}},
		{"How are the relay's terminals marked?", []string{"labels"}, []offer{
			{"30, 85, 86, 87", []string{"din", "30 85 86 87 87a", "normal numbers", "usual numbers", "standard numbers", "the normal way", "the usual way", "standard"}, text("labels", "din")}, {"1 to 5", []string{"1 2 3 4 5", "1 2 3 5", "numbers", "iso"}, text("labels", "numbers")}, {"A1, A2, 11, 12, 14", []string{"en", "a1 a2 11 14"}, text("labels", "en")},
		}},
		{"Has the relay a terminal 87, 87a (4 or 12 by other marks), or both?", []string{"contact"}, []offer{
			{"only 87", []string{"four pins", "4 pins", "four pin", "4 pin", "no 87a", "87 only"}, text("contact", "make")}, {"only 87a", []string{"87a only", "no 87"}, text("contact", "break")},
			{"both 87 and 87a", []string{"both", "five pins", "5 pins", "five pin", "5 pin", "changeover"}, text("contact", "changeover")},
		}},
	}
}

// knows reports whether everything a question fills in is known.
func (i *Interview) knows(q question) bool { return i.known(q) == len(q.fields) }

// known counts what is known of the things a question fills in.
func (i *Interview) known(q question) int {
	c := i.o.Circuit
	known := map[string]bool{
		"complaint": i.o.Complaint != "", "system_volts": c.SystemVolts != nil, "load_kind": c.Load.Kind != "",
		"load_moves": c.Load.Moves != nil, "load_hazard": c.Load.Hazard != "", "labels": c.Labels != "", "contact": c.Contact != "",
	}
	n := 0
	for _, f := range q.fields {
		if known[f] {
			n++
		}
	}
	return n
}

// setFact fills in the field of the opening that gives a fact; false where there
// is none.
func (o *OpenRequest) setFact(id string, v rules.Value) bool {
	c := &o.Circuit
	texts := map[string]*string{
		"contact": &c.Contact, "control_side": &c.ControlSide, "power_enters": &c.PowerEnters, "load_on": &c.LoadOn, "load_side": &c.LoadSide,
		"labels": &c.Labels, "suppression": &c.Suppression, "load_kind": &c.Load.Kind, "load_hazard": &c.Load.Hazard, "driver": &c.Driver,
		"coil_supply": &c.CoilSupply, "coil_positive": &c.CoilPositive, "feed_fuse_at": &c.FeedFuseAt,
		"mounting": &o.Environment.Mounting, "relay_part": &o.Relay.Part,
	}
	numbers := map[string]**float64{
		"system_volts": &c.SystemVolts, "load_amps": &c.Load.Amps, "coil_ohms": &c.CoilOhms,
		"temperature_c": &o.Environment.TemperatureC, "relay_rated_amps": &o.Relay.RatedAmps,
	}
	bools := map[string]**bool{"load_moves": &c.Load.Moves, "exposed": &o.Environment.Exposed, "relay_sealed": &o.Relay.Sealed}
	if tool, ok := strings.CutPrefix(id, diagnosis.ToolFact); ok && v.Kind == rules.Bool {
		if o.Tools == nil {
			o.Tools = map[string]bool{}
		}
		o.Tools[tool] = v.Bool
		return true
	}
	if to, ok := texts[id]; ok && v.Text != "" {
		*to = v.Text
		return true
	}
	if to, ok := numbers[id]; ok && v.Kind == rules.Number {
		*to = &v.Number
		return true
	}
	if to, ok := bools[id]; ok && v.Kind == rules.Bool {
		*to = &v.Bool
		return true
	}
	return false
}
