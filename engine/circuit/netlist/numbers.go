// Package netlist writes a circuit of the rulebook, with its faults and a meter on
// it, as a netlist for ngspice, and reads what ngspice prints. It shares no code with
// the solver of package circuit, so that each can be held against the other: fuses
// and armature are devices of the netlist, and their states come out of the
// simulation. It runs nothing.
package netlist

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"coilside/rules"
)

// This file works out the numbers of one circuit from the rulebook's data alone:
// what the wiring is, what every value is, and what the faults change. Standard
// normal numbers are handed in and used up in the order that package circuit
// documents.

// Numbers is one fully specified circuit, ready to be written as a netlist.
type Numbers struct {
	Circuit *rules.Circuit
	env     map[string]any                // choices, names that follow, quantities
	names   map[string]string             // what {placeholders} stand for
	Sound   map[string]map[string]float64 // element to value name to number
	faulty  map[string]map[string]float64 // the same with the faults in
	Open    map[string]bool
	added   map[string]float64
	hold    map[string]string
	instead map[string]string
	shorts  []shorted
	Chance  float64 // that what comes and goes is there; 1 = nothing does
	joins   []joinedPlaces
	awake   map[string]bool        // surroundings by id
	Under   func(only string) bool // whether an effect that waits is there; nil = as if it were
}

// runsAtRest reports whether the load hangs on the rest contact: a command to run it lets the relay go.
func (n *Numbers) runsAtRest() bool {
	return n.env["power_enters"] == "87a" || n.env["power_leaves"] == "87a"
}

// joinedPlaces are two places joined by a fault, and when.
type joinedPlaces struct {
	places [2]string
	ohms   float64
	only   string
}

type shorted struct {
	element string
	to      string // supply or ground
	ohms    float64
}

// number turns a standard normal number into a value: log-normal about a median,
// normal, even in the logarithm, or even.
func number(s *rules.Spread, env map[string]any, z float64) (float64, error) {
	at := func(f *rules.Formula) float64 {
		if f == nil {
			return 0
		}
		v, err := f.Number(env)
		if err != nil {
			panic(err)
		}
		return v
	}
	part := math.Erfc(-z/math.Sqrt2) / 2
	switch {
	case s.Exactly != nil:
		return at(s.Exactly), nil
	case s.PlusMinus != nil:
		return at(s.About) + z*at(s.PlusMinus), nil
	case s.About != nil:
		relative := at(s.Spread)
		return at(s.About) * math.Exp(z*math.Sqrt(math.Log(1+relative*relative))), nil
	case s.Between != nil:
		low, high := math.Log(at(s.Between[0])), math.Log(at(s.Between[1]))
		return math.Exp(low + part*(high-low)), nil
	case s.Even != nil:
		return at(s.Even[0])*(1-part) + at(s.Even[1])*part, nil
	}
	return 0, fmt.Errorf("%v: a spread without a form", s.Pos)
}

// Wire sets the choices and the names that follow; ok tells whether the
// circuit's conditions allow them.
func Wire(c *rules.Circuit, choices map[string]string) (*Numbers, bool, error) {
	n := &Numbers{Circuit: c, Chance: 1, env: map[string]any{}, names: maps.Clone(choices)}
	for _, w := range c.Wiring {
		n.env[w.ID] = choices[w.ID]
		if w.Number {
			v, err := strconv.ParseFloat(choices[w.ID], 64)
			if err != nil {
				return nil, false, err
			}
			n.env[w.ID] = v
		}
	}
	for _, allow := range c.Allow {
		if is, err := allow.Truth(n.env); err != nil || !is {
			return nil, false, err
		}
	}
	for _, name := range c.Names {
		is, err := name.Is.TextValue(n.env)
		if err != nil {
			return nil, false, err
		}
		n.names[name.ID], n.env[name.ID] = is, is
	}
	return n, true, nil
}

// Draws is how many normal numbers a sound circuit takes.
func Draws(c *rules.Circuit) int {
	n := len(c.Vary)
	for _, e := range c.Parts {
		n += len(e.Values)
	}
	return n
}

// Draw fills in the sound values: quantities first, then the parts' values in
// the order of the parts and of the values' names.
func (n *Numbers) Draw(z []float64) error {
	take := func(s *rules.Spread) (float64, error) {
		v, err := number(s, n.env, z[0])
		z = z[1:]
		return v, err
	}
	for _, q := range n.Circuit.Vary {
		v, err := take(&q.Value)
		if err != nil {
			return err
		}
		n.env[q.ID] = v
	}
	n.Sound, n.faulty = map[string]map[string]float64{}, map[string]map[string]float64{}
	for _, e := range n.Circuit.Parts {
		n.Sound[e.ID] = map[string]float64{}
		for _, name := range slices.Sorted(maps.Keys(e.Values)) {
			s := e.Values[name]
			v, err := take(&s)
			if err != nil {
				return err
			}
			n.Sound[e.ID][name] = v
		}
		n.faulty[e.ID] = maps.Clone(n.Sound[e.ID])
	}
	n.Mend()
	return nil
}

// Mend takes every fault out again.
func (n *Numbers) Mend() {
	n.Open, n.added, n.hold, n.instead = map[string]bool{}, map[string]float64{}, map[string]string{}, map[string]string{}
	n.shorts, n.joins, n.awake = nil, nil, map[string]bool{}
	for id, values := range n.Sound {
		n.faulty[id] = maps.Clone(values)
	}
}

// Takes is how many normal numbers an effect uses up.
func Takes(effects []rules.Effect) int {
	total := 0
	for i := range effects {
		e := &effects[i]
		for _, s := range []*rules.Spread{e.ComesAnd, e.AddOhms, e.Ohms, e.By, e.Pulse} {
			if s != nil {
				total++
			}
		}
		if len(e.OneOf) > 0 {
			total += 1 + Takes(e.OneOf)
		}
		total += Takes(e.AllOf)
	}
	return total
}

// can reports whether the wiring has what an effect acts on. The moving part of
// a relay is in no chain and is always there.
func (n *Numbers) can(e *rules.Effect, present map[string]bool) bool {
	switch {
	case len(e.OneOf) > 0:
		return slices.ContainsFunc(e.OneOf, func(o rules.Effect) bool { return n.can(&o, present) })
	case len(e.AllOf) > 0:
		return !slices.ContainsFunc(e.AllOf, func(o rules.Effect) bool { return !n.can(&o, present) })
	}
	switch {
	case e.Rewire != "":
		return n.stands(e.Rewire, "")
	case e.Join != nil:
		return n.place(e.Join[0]) && n.place(e.Join[1])
	}
	around := n.around(e.To)
	return present[e.To] || n.kind(e.To) == "alternator" || around != "" && n.stands(around, e.To)
}

// place reports whether the sound circuit has a place.
func (n *Numbers) place(name string) bool {
	elements, err := Present(n)
	if err != nil {
		return false
	}
	for _, ends := range elements {
		if slices.Contains(ends[:], n.fill(name)) {
			return true
		}
	}
	return false
}

// around is the surrounding that an element stands in, "" for the circuit's own.
func (n *Numbers) around(element string) string {
	for _, c := range n.Circuit.Chains {
		for i := 1; i < len(c.Steps); i += 2 {
			if n.fill(c.Steps[i]) == element {
				return ""
			}
		}
	}
	for _, s := range n.Circuit.Surroundings {
		for _, c := range s.Chains {
			for i := 1; i < len(c.Steps); i += 2 {
				if c.Steps[i] == element {
					return s.ID
				}
			}
		}
	}
	return ""
}

// stands reports whether the wiring has chains of a surrounding, with the element
// in one of them where one is named.
func (n *Numbers) stands(id, element string) bool {
	for _, s := range n.Circuit.Surroundings {
		for _, c := range s.Chains {
			is := true
			if c.When != nil {
				is, _ = c.When.Truth(n.env)
			}
			if s.ID == id && is && (element == "" || slices.Contains(c.Steps, element)) {
				return true
			}
		}
	}
	return false
}

// Suffers reports whether a suspect can occur in the wiring.
func (n *Numbers) Suffers(s *rules.Suspect, present map[string]bool) (bool, error) {
	if s.When != nil {
		if is, err := s.When.Truth(n.env); err != nil || !is {
			return false, err
		}
	}
	return !slices.ContainsFunc(s.Does, func(e rules.Effect) bool { return !n.can(&e, present) }), nil
}

// Fail puts a suspect's effects on the circuit and returns the numbers left over.
func (n *Numbers) Fail(effects []rules.Effect, present map[string]bool, z []float64) ([]float64, error) {
	for i := range effects {
		e := &effects[i]
		if e.ComesAnd != nil { // the netlist is of the time when it is there
			chance, err := number(e.ComesAnd, n.env, z[0])
			if err != nil {
				return nil, err
			}
			n.Chance, z = chance, z[1:]
		}
		if len(e.OneOf) == 0 && len(e.AllOf) == 0 {
			var err error
			if z, err = n.failOne(e, z); err != nil {
				return nil, err
			}
			continue
		}
		if len(e.OneOf) > 0 {
			var possible []rules.Effect
			for _, o := range e.OneOf {
				if n.can(&o, present) {
					possible = append(possible, o)
				}
			}
			part := math.Erfc(-z[0]/math.Sqrt2) / 2
			pick := min(int(part*float64(len(possible))), len(possible)-1)
			if _, err := n.Fail(possible[pick:pick+1], present, z[1:]); err != nil {
				return nil, err
			}
			z = z[1+Takes(e.OneOf):]
		}
		var err error
		if z, err = n.Fail(e.AllOf, present, z); err != nil {
			return nil, err
		}
	}
	return z, nil
}

func (n *Numbers) failOne(e *rules.Effect, z []float64) ([]float64, error) {
	var failed error
	take := func(s *rules.Spread, otherwise float64) float64 {
		if s == nil {
			return otherwise
		}
		v, err := number(s, n.env, z[0])
		if err != nil {
			failed = err
		}
		z = z[1:]
		return v
	}
	if e.Join != nil {
		n.joins = append(n.joins, joinedPlaces{[2]string{n.fill(e.Join[0]), n.fill(e.Join[1])}, take(e.Ohms, 0), e.Only})
		return z, failed
	}
	if e.Only != "" && n.Under != nil && !n.Under(e.Only) {
		return z[Takes([]rules.Effect{*e}):], nil
	}
	if e.Rewire != "" {
		n.awake[e.Rewire] = true
		return z, nil
	}
	if around := n.around(e.To); around != "" && n.kind(e.To) != "alternator" && n.kind(e.To) != "armature" {
		n.awake[around] = true
	}
	n.Open[e.To] = n.Open[e.To] || e.Open
	n.added[e.To] += take(e.AddOhms, 0)
	if e.ShortTo != "" {
		n.shorts = append(n.shorts, shorted{e.To, e.ShortTo, take(e.Ohms, 0.01)})
	}
	if e.Hold != "" {
		n.hold[e.To] = e.Hold
	}
	if e.Scale != "" {
		at := e.To
		if n.kind(at) == "armature" { // what moves it is kept with the coil
			at = n.First("coil")
		}
		n.faulty[at][e.Scale] *= take(e.By, 1)
	}
	if e.Instead != "" {
		n.instead[e.To] = e.Instead
	}
	return z, failed
}

// kind is the kind of an element.
func (n *Numbers) kind(id string) string {
	for _, e := range n.Circuit.Parts {
		if e.ID == id {
			return e.Kind
		}
	}
	return ""
}

// First is the first element of a kind.
func (n *Numbers) First(kind string) string {
	for _, e := range n.Circuit.Parts {
		if e.Kind == kind {
			return e.ID
		}
	}
	return ""
}

// Number is a choice or quantity of the circuit by its id; 0 where it is none.
func (n *Numbers) Number(id string) float64 {
	v, _ := n.env[id].(float64)
	return v
}

// hotCelsius is a coil soaked in heat, at least; practice, no source.
const hotCelsius = 95

// Soaked is the same circuit with its coil soaked in heat.
func (n *Numbers) Soaked() *Numbers {
	return n.AtCelsius(max(n.faulty[n.First("coil")]["celsius"], hotCelsius))
}

// AtCelsius is the same circuit with its coil at another temperature.
func (n *Numbers) AtCelsius(celsius float64) *Numbers {
	hot := *n
	hot.faulty = maps.Clone(n.faulty)
	coil := n.First("coil")
	hot.faulty[coil] = maps.Clone(n.faulty[coil])
	hot.faulty[coil]["celsius"] = celsius
	return &hot
}

// Threshold is the voltage across the relay on the bench, in volts, at which it pulls
// in or lets go; false where it never does. The current is what moves the armature:
// the stated volts across the sound coil at 20 °C.
func (n *Numbers) Threshold(pullIn bool) (volts float64, ok bool) {
	coil := n.First("coil")
	if coil == "" || n.Open[coil] || n.hold[n.First("armature")] != "" || n.hold[n.First("suppressor")] == "closed" {
		return 0, false
	}
	at, name := n.faulty[coil], "drop_out"
	if pullIn {
		name = "pull_in"
	}
	return at[name] / n.Sound[coil]["ohms"] * (at["ohms"]*(234.5+at["celsius"])/254.5 + n.added[coil]), true
}

// Knows reports whether a netlist can have all of some effects.
func Knows(effects []rules.Effect) bool {
	return !slices.ContainsFunc(effects, func(e rules.Effect) bool {
		return e.Pulse != nil || e.Only != "" || !Knows(e.OneOf) || !Knows(e.AllOf)
	})
}

// Awake reports whether a fault brought in something of the surroundings.
func (n *Numbers) Awake() bool { return len(n.awake) > 0 }

// Under tells whether an effect that waits for something is there in a setup.
func Under(s rules.Setup, m rules.Measure) func(only string) bool {
	return func(only string) bool {
		switch only {
		case "hot":
			return s.Heat != ""
		case "loaded":
			return m.Mode != rules.Ohms
		case "engine_off":
			return s.Engine != "running"
		case "neighbours_on":
			return s.Neighbours == "on"
		case "tap_on":
			return !slices.Contains(s.Unplugged, "tap")
		}
		return true
	}
}
