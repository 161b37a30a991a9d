// Package ngspice is a vehicle whose readings come from ngspice: the second opinion of
// the study of the diagnosis. Its circuit is worked out from the rulebook by package
// netlist, and neither that nor its meter and eyes share code with the solver behind
// the diagnosis or with the simulated vehicle. Only what no circuit decides, such as
// what a part looks like, it takes from that vehicle.
package ngspice

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"coilside/engine/circuit/netlist"
	"coilside/engine/rank"
	"coilside/engine/vehicle"
	"coilside/rules"
)

// Vehicle is the twin of a simulated vehicle: the same wiring, values and faults. Not
// safe for concurrent use.
type Vehicle struct {
	book    *rules.Book
	twin    *vehicle.Vehicle
	choices map[string]string
	normal  []float64
	faults  []fault
	rng     *rand.Rand
	gain    float64 // of the meter: 1 = true
	leads   float64 // ohms
	Runs    int     // netlists solved
	GaveUp  int     // of them, those that ngspice could not finish
}

type fault struct {
	suspect *rules.Suspect
	normal  []float64
}

// New makes the twin of a vehicle. Errors name a suspect that a netlist can't have.
func New(book *rules.Book, twin *vehicle.Vehicle, seed uint64) (*Vehicle, error) {
	v := &Vehicle{book: book, twin: twin, choices: twin.Choices(), rng: rand.New(rand.NewPCG(seed, 0x591ce))}
	v.gain, v.leads = 1+0.006*(2*v.rng.Float64()-1), 0.05+0.3*v.rng.Float64()
	normal, faults := twin.Variates()
	v.normal = normal
	for _, id := range twin.Faults() {
		s, ok := book.Suspect(id)
		if !ok {
			return nil, fmt.Errorf("no suspect is called %q", id)
		}
		v.faults = append(v.faults, fault{s, faults[id]})
	}
	_, err := v.numbers(v.faults)
	return v, err
}

// numbers works out the circuit with some of the faults.
func (v *Vehicle) numbers(faults []fault) (*netlist.Numbers, error) {
	n, ok, err := netlist.Wire(v.book.Circuits[0], v.choices)
	if err != nil || !ok {
		return nil, errors.Join(err, fmt.Errorf("the rulebook allows no circuit wired like this: %v", v.choices))
	}
	if err := n.Draw(v.normal); err != nil {
		return nil, err
	}
	elements, err := netlist.Present(n)
	if err != nil {
		return nil, err
	}
	here := map[string]bool{n.First("armature"): true}
	for e := range elements {
		here[e] = true
	}
	for _, f := range faults {
		if _, err := n.Fail(f.suspect.Does, here, f.normal); err != nil {
			return nil, fmt.Errorf("%s: %w", f.suspect.ID, err)
		}
	}
	return n, nil
}

// there is the circuit with its faults there, or with those away that come and go.
func (v *Vehicle) there(there bool) (*netlist.Numbers, error) {
	return v.without(func(s *rules.Suspect) bool { return !there && vehicle.Intermittent(s) })
}

// without is the circuit without some of its faults.
func (v *Vehicle) without(gone func(*rules.Suspect) bool) (*netlist.Numbers, error) {
	var left []fault
	for _, f := range v.faults {
		if !gone(f.suspect) {
			left = append(left, f)
		}
	}
	return v.numbers(left)
}

// Repair mends a suspect; with a new relay every fault inside the old one goes.
func (v *Vehicle) Repair(suspect string) (bool, error) {
	mended, known := v.book.Suspect(suspect)
	before := len(v.faults)
	v.faults = slices.DeleteFunc(v.faults, func(f fault) bool {
		return f.suspect.ID == suspect || known && v.inRelay(mended) && v.inRelay(f.suspect)
	})
	return len(v.faults) < before, nil
}

func (v *Vehicle) inRelay(s *rules.Suspect) bool {
	return v.actsOn(s.Does, "coil", "armature", "make", "rest", "suppressor")
}

func (v *Vehicle) inJoint(s *rules.Suspect) bool { return v.actsOn(s.Does, "terminal") }

// actsOn reports whether effects act on an element of one of some kinds.
func (v *Vehicle) actsOn(effects []rules.Effect, kinds ...string) bool {
	for _, e := range effects {
		for _, part := range v.book.Circuits[0].Parts {
			if part.ID == e.To && slices.Contains(kinds, part.Kind) {
				return true
			}
		}
		if v.actsOn(e.OneOf, kinds...) || v.actsOn(e.AllOf, kinds...) {
			return true
		}
	}
	return false
}

// Answer takes a reading. One that ngspice can't finish is unsure.
func (v *Vehicle) Answer(m rules.Measure, s rules.Setup) (rank.Answer, error) {
	a, err := v.answer(m, s)
	if errors.Is(err, netlist.ErrGaveUp) {
		return rank.Answer{Unsure: true}, nil
	}
	return a, err
}

func (v *Vehicle) answer(m rules.Measure, s rules.Setup) (rank.Answer, error) {
	fuse := slices.ContainsFunc(v.book.Circuits[0].Parts, func(e *rules.Element) bool { return e.ID == m.At && e.Kind == "fuse" })
	switch m.Mode {
	case rules.Ask:
		return v.twin.Answer(m, s)
	case rules.Look:
		if !fuse {
			return v.twin.Answer(m, s)
		}
		return v.look(m, s)
	case rules.MinMax:
		return v.span(m, s)
	case rules.Listen:
		return v.listen(s)
	case rules.PullIn, rules.DropOut:
		return v.onTheBench(m.Mode, s)
	}
	n, err := v.now(m.Mode)
	if err != nil {
		return rank.Answer{}, err
	}
	r, err := v.solve(n, m, s)
	if err != nil {
		return rank.Answer{}, err
	}
	return v.say(m, n, r), nil
}

// now is the circuit as it is at one reading: what comes and goes is there or not,
// and a relay that was out and in again has new joints more often than not.
func (v *Vehicle) now(mode rules.Mode) (*netlist.Numbers, error) {
	if mode == rules.Swap || mode == rules.Reseat {
		cured := v.rng.Float64() < 0.6
		return v.without(func(s *rules.Suspect) bool {
			return mode == rules.Swap && v.inRelay(s) || cured && v.inJoint(s)
		})
	}
	n, err := v.there(true)
	if err == nil && v.rng.Float64() >= n.Chance {
		return v.there(false)
	}
	return n, err
}

// onTheBench is the voltage at which the relay pulls in or lets go, the current that
// does it times the winding's ohms at its temperature.
func (v *Vehicle) onTheBench(mode rules.Mode, s rules.Setup) (rank.Answer, error) {
	n, err := v.there(true)
	if err != nil {
		return rank.Answer{}, err
	}
	if s.Heat != "" {
		n = n.Soaked()
	}
	volts, ok := n.Threshold(mode == rules.PullIn)
	if !ok || volts > 1.5*n.Number("system_volts") {
		return rank.Answer{Over: true}, nil
	}
	shown := math.Round(10*(volts*v.gain+0.05*v.rng.NormFloat64())) / 10
	return rank.Answer{Number: &shown}, nil
}

// Can reports whether a netlist can have a suspect's fault.
func Can(s *rules.Suspect) bool { return netlist.Knows(s.Does) }
