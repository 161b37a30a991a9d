package circuit

import (
	"testing"
	"testing/fstest"

	"coilside/rules"
)

const fuseCircuit = `
facts:
  - {id: drawn, kind: number, unit: ampere, words: what the load draws}
circuits:
  - id: fused
    words: a load behind a fuse
    vary:
      - {id: load_amps, unit: ampere, known: drawn, about: 1, plus_minus: 0}
    parts:
      - {id: battery, kind: source, words: battery, values: {volts: 12, ohms: 0.000001}}
      - {id: fuse, kind: fuse, words: fuse, values: {ohms: 0.000001, amps: 10}}
      - {id: load, kind: load, words: load, values: {ohms: 12 / load_amps, cold_part: 0.1}}
      - {id: coil, kind: coil, words: no coil here, values: {ohms: 85, celsius: 20, pull_in: 7, drop_out: 1.5}}
      - {id: armature, kind: armature, words: no armature here, values: {}}
    chains:
      - chain: battery.negative [battery] battery.positive [fuse] load.in [load] battery.negative
`

// A blade fuse opens at 135 % of its rating and carries less for good (ISO 8820-3,
// from memory); what a load would draw cold does not count in the ohms range.
func TestFuseOpensAboveItsLimit(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "fuse", FS: fstest.MapFS{"fuse.yaml": {Data: []byte(fuseCircuit)}}})
	if err != nil {
		t.Fatal(err)
	}
	m, err := Compile(book, book.Circuits[0])
	if err != nil {
		t.Fatal(err)
	}
	b := bench{t, m}
	for _, c := range []struct {
		draws   float64
		measure rules.Measure
		blown   float64
	}{
		{10, rules.Measure{Mode: rules.Look, At: "fuse"}, 0},
		{13.49, rules.Measure{Mode: rules.Look, At: "fuse"}, 0},
		{13.51, rules.Measure{Mode: rules.Look, At: "fuse"}, 1},
		{200, rules.Measure{Mode: rules.Look, At: "fuse"}, 1},
	} {
		var sv Solver
		if got := sv.Read(b.with("", map[string]float64{"drawn": c.draws}), c.measure, normalUse).A; got != c.blown {
			t.Errorf("%g A on a fuse of 10 A: blown %g, want %g", c.draws, got, c.blown)
		}
	}
	var sv Solver
	across := sv.Read(b.with("", map[string]float64{"drawn": 10}),
		rules.Measure{Mode: rules.Ohms, Red: "battery.positive", Black: "load.in"}, normalUse)
	near(t, "ohms of the sound fuse", across.A, 1/(1/0.000001+1/(0.12+0.000001)), 1e-6)
}
