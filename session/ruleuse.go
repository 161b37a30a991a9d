package session

import (
	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/session/experience"
)

// ReviewOptions tells a review of rules what jobs give them: the facts of an opening,
// and what a meter on a vehicle can show at all.
func ReviewOptions() rules.ReviewOptions {
	given := []string{"load_moves", "exposed", "relay_sealed", "relay_part", "relay_access", experience.LabelFact}
	for _, tool := range []string{"lamp", "jumper", "clamp", "bench_supply", "spare_relay", "scan_tool"} {
		given = append(given, diagnosis.ToolFact+tool)
	}
	for _, f := range choiceFields(OpenRequest{}) {
		given = append(given, f.fact)
	}
	for _, f := range numberFields(OpenRequest{}) {
		given = append(given, f.fact)
	}
	const volts = mostVoltsFactor * 24
	return rules.ReviewOptions{Given: given, Readings: map[rules.Mode][2]float64{
		rules.VoltsDC: {-volts, volts}, rules.MinMax: {-volts, volts}, rules.PullIn: {0, volts}, rules.DropOut: {0, volts},
		rules.Ohms: {0, mostOhms}, rules.AmpsDC: {-mostAmps, mostAmps},
	}}
}
