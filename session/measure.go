package session

import (
	"slices"

	"coilside/rules"
)

var modes = []string{"volts_dc", "ohms", "amps_dc", "min_max", "test_lamp", "bridge", "watch", "listen", "reseat",
	"swap", "look", "pull_in", "drop_out"}

// checkMeasure checks that a measurement taken unasked names what its mode needs.
// Which places the circuit has is the diagnosis's to say.
func checkMeasure(m rules.Measure) error {
	if !slices.Contains(modes, string(m.Mode)) {
		if m.Mode == rules.Ask {
			return invalid("measure.mode", "a question can be answered only by its test id: give test")
		}
		return notOneOf("measure.mode", string(m.Mode), modes)
	}
	for _, need := range neededBy(m) {
		if need.value == "" {
			return invalid("measure."+need.name, "measure.%s is missing: %s needs it", need.name, m.Mode)
		}
		if need.of != nil && !slices.Contains(need.of, need.value) {
			return notOneOf("measure."+need.name, need.value, need.of)
		}
	}
	if m.Red != "" && m.Red == m.Black {
		return invalid("measure.black", "both leads are on %s", m.Red)
	}
	return nil
}

type needed struct {
	name, value string
	of          []string
}

func neededBy(m rules.Measure) []needed {
	places := placeNames()
	during := []string{"wiggle", "command", "crank"}
	switch m.Mode {
	case rules.VoltsDC, rules.Ohms, rules.TestLamp:
		return []needed{{"red", m.Red, places}, {"black", m.Black, places}}
	case rules.MinMax:
		return []needed{{"red", m.Red, places}, {"black", m.Black, places}, {"during", m.During, during}}
	case rules.AmpsDC:
		return []needed{{"at", m.At, nil}, {"how", m.How, []string{"clamp", "fuse_drop", "series"}}}
	case rules.Bridge:
		return []needed{{"from", m.From, places}, {"to", m.To, places}}
	case rules.Look:
		return []needed{{"at", m.At, nil}}
	case rules.Watch:
		if m.During != "" {
			return []needed{{"during", m.During, during}}
		}
	}
	return nil
}

// placeNames lists every place a lead can touch.
func placeNames() []string {
	var names []string
	for _, at := range []string{"socket", "relay", "back"} {
		for _, t := range []string{"30", "85", "86", "87", "87a"} {
			names = append(names, at+"."+t)
		}
	}
	names = append(names, "battery.positive", "battery.negative", "chassis")
	for _, at := range []string{"load", "feed_fuse", "coil_fuse", "control", "load_part", "control_part"} {
		names = append(names, at+".in", at+".out")
	}
	return names
}

// checkSetup checks the state a measurement was taken in.
func checkSetup(s rules.Setup) error {
	for _, f := range []needed{
		{"relay", s.Relay, []string{"in", "out", "bench"}},
		{"key", s.Key, []string{"on", "off"}},
		{"command", s.Command, []string{"on", "off"}},
		{"coil", s.Coil, []string{"rest", "energised"}},
	} {
		optional := f.name == "coil" || s.Relay == "bench"
		if f.value == "" && optional {
			continue
		}
		if f.value == "" {
			return invalid("setup."+f.name, "setup.%s is missing; it takes %s", f.name, either(f.of))
		}
		if !slices.Contains(f.of, f.value) {
			return notOneOf("setup."+f.name, f.value, f.of)
		}
	}
	for _, f := range []needed{
		{"heat", s.Heat, []string{"soaked"}},
		{"engine", s.Engine, []string{"off", "running"}},
		{"neighbours", s.Neighbours, []string{"off", "on"}},
	} {
		if f.value != "" && !slices.Contains(f.of, f.value) {
			return notOneOf("setup."+f.name, f.value, f.of)
		}
	}
	if s.Coil != "" && s.Relay != "bench" {
		return invalid("setup.coil", "setup.coil goes with relay bench only")
	}
	return nil
}
