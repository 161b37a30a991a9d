package circuit_test

import (
	"fmt"
	"math"
	"slices"

	"coilside/engine/circuit"
	"coilside/engine/circuit/netlist"
	"coilside/rules"
)

// solverSays is what the package under test makes of a case.
type solverSays struct {
	Armature string
	Blown    []string
	Value    float64
	Note     string
}

// instance builds a case with the package under test, and holds the numbers that
// it draws against those the test worked out itself.
func instance(m *circuit.Model, c *spiceCase) (*circuit.Instance, error) {
	ws, err := m.Wirings(c.choices)
	if err != nil {
		return nil, err
	}
	if ws.Count() != 1 {
		return nil, fmt.Errorf("%d wirings fit one set of choices", ws.Count())
	}
	w := ws.Pick(make([]float64, ws.Dims()))
	d, err := m.Draw(w, nil, c.normal)
	if err != nil {
		return nil, err
	}
	if err := sameNumbers(c.numbers, d); err != nil {
		return nil, err
	}
	var faults []*circuit.Fault
	for _, s := range c.suspects {
		f, ok := m.Fault(s.ID)
		if !ok || !m.Possible(f, w) {
			return nil, fmt.Errorf("the model takes %s to be impossible in this wiring", s.ID)
		}
		faults = append(faults, f)
	}
	return m.Instance(d, faults, c.faultNormal)
}

// bySolver reads a case with the package under test.
func bySolver(m *circuit.Model, c *spiceCase) (solverSays, error) {
	var says solverSays
	in, err := instance(m, c)
	if err != nil {
		return says, err
	}
	var sv circuit.Solver
	raw := sv.Read(in, c.measure, c.setup)
	says.Armature = [...]string{"rest", "over", "buzz"}[sv.Armature()]
	says.Value, says.Note = raw.A, note(c.measure.Mode, raw.A)
	if says.Note != "" {
		says.Value = 0
	}
	setup := circuit.SetupFor(c.measure, c.setup)
	for _, e := range c.numbers.Circuit.Parts {
		if e.Kind == "fuse" && sv.Read(in, rules.Measure{Mode: rules.Look, At: e.ID}, setup).A == 1 {
			says.Blown = append(says.Blown, e.ID)
		}
	}
	slices.Sort(says.Blown)
	return says, nil
}

func note(mode rules.Mode, a float64) string {
	switch {
	case mode == rules.Ohms && math.IsInf(a, 1):
		return "OL"
	case (mode == rules.Bridge || mode == rules.Watch) && a == circuit.Trips:
		return "trips"
	case (mode == rules.Bridge || mode == rules.Watch) && a == circuit.ComesAndGoes:
		return "comes and goes"
	}
	return ""
}

// sameNumbers compares the values that the package drew with the test's own.
func sameNumbers(n *netlist.Numbers, d *circuit.Draw) error {
	i := 0
	for _, e := range n.Circuit.Parts {
		for _, name := range sortedNames(e) {
			mine := n.Sound[e.ID][name]
			if i >= len(d.Values) || math.Abs(d.Values[i]-mine) > 1e-12*math.Abs(mine) {
				return fmt.Errorf("%s of %s: drawn %v, by hand %v", name, e.ID, d.Values[i], mine)
			}
			i++
		}
	}
	return nil
}

func sortedNames(e *rules.Element) []string {
	names := make([]string, 0, len(e.Values))
	for name := range e.Values {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// tolerance is how far a reading may be off: 0.1 % + 1 mV, 0.1 % + 0.1 mA,
// 0.5 % + 0.1 ohm; for what is a part of something, 0.1 % + 0.0001.
func tolerance(mode rules.Mode, want float64) float64 {
	switch mode {
	case rules.VoltsDC:
		return 0.001*math.Abs(want) + 0.001
	case rules.Ohms:
		return 0.005*math.Abs(want) + 0.1
	}
	return 0.001*math.Abs(want) + 0.0001
}

// differ says in which way the solver is at odds with what ngspice found, "" if
// in none.
func differ(c *spiceCase, says solverSays, want recorded) string {
	switch {
	case says.Armature != want.Armature:
		return fmt.Sprintf("armature %s, ngspice %s", says.Armature, want.Armature)
	case !slices.Equal(says.Blown, want.Blown):
		return fmt.Sprintf("blown %v, ngspice %v", says.Blown, want.Blown)
	case says.Note != want.Note:
		return fmt.Sprintf("reads %v %s, ngspice %v %s", says.Value, says.Note, want.Value, want.Note)
	case want.Armature == "buzz":
		return "" // no steady value to compare
	case math.Abs(says.Value-want.Value) > tolerance(c.measure.Mode, want.Value):
		return fmt.Sprintf("reads %.9g, ngspice %.9g", says.Value, want.Value)
	}
	return ""
}
