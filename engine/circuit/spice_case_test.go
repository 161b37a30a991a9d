package circuit_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/engine/circuit/netlist"
	"coilside/rules"
)

// spiceCase is one random circuit, its faults, and one reading on it. Everything
// follows from the rulebook and the two seeds.
type spiceCase struct {
	seed, number uint64
	suspects     []*rules.Suspect
	choices      map[string]string
	normal       []float64 // of the draw
	faultNormal  []float64 // of the faults in turn
	setup        rules.Setup
	measure      rules.Measure
	numbers      *netlist.Numbers
}

// title is the whole case in one line.
func (c *spiceCase) title() string {
	var ids, wiring []string
	for _, s := range c.suspects {
		ids = append(ids, s.ID)
	}
	for _, k := range slices.Sorted(maps.Keys(c.choices)) {
		wiring = append(wiring, k+"="+c.choices[k])
	}
	m := c.measure
	where := strings.Join(strings.Fields(strings.Join([]string{string(m.Mode), m.Red, m.Black, m.At, m.From, m.To}, " ")), " ")
	setup := strings.Join(strings.Fields(fmt.Sprintf("relay %s key %s command %s %s %s", c.setup.Relay, c.setup.Key, c.setup.Command,
		c.setup.Coil, strings.Join(c.setup.Unplugged, " "))+c.setup.Conditions()), " ")
	return fmt.Sprintf("seed %d,%d | %s | %s | %s | %s", c.seed, c.number, strings.Join(ids, "+"), where, setup, strings.Join(wiring, " "))
}

// netlist writes the case with the given limits of fuses and armature.
func (c *spiceCase) netlist(l netlist.Limits) (string, error) {
	w := &netlist.Writer{N: c.numbers, Setup: c.setup, Measure: c.measure, Limits: l}
	return w.Write(c.title())
}

// newCase draws one case that has the given suspects; nil where a random
// wiring was found in which they cannot occur together.
func newCase(circuit *rules.Circuit, seed, number uint64, suspects []*rules.Suspect) (*spiceCase, error) {
	rng := rand.New(rand.NewPCG(seed, number))
	c := &spiceCase{seed: seed, number: number, suspects: suspects}
	var here map[string]bool
	for tries := 0; ; tries++ {
		if tries == 400 {
			return nil, nil
		}
		ok, err := c.wire(circuit, rng)
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		elements, err := netlist.Present(c.numbers)
		if err != nil {
			return nil, err
		}
		here = map[string]bool{c.numbers.First("armature"): true}
		for e := range elements {
			here[e] = true
		}
		if ok, err = c.possible(here); err != nil {
			return nil, err
		}
		// Electronics that a leak cannot start are no static resistance: see TestElectronicsSleep.
		ok = ok && (c.choices["load_kind"] != "electronics" || !slices.ContainsFunc(c.suspects, joins))
		if ok {
			break
		}
	}
	c.normal = normals(rng, netlist.Draws(circuit))
	if err := c.numbers.Draw(c.normal); err != nil {
		return nil, err
	}
	for _, s := range c.suspects {
		c.faultNormal = append(c.faultNormal, normals(rng, netlist.Takes(s.Does))...)
	}
	if err := c.fail(here); err != nil {
		return nil, err
	}
	c.chooseReading(rng)
	c.chooseConditions(rng)
	c.numbers.Under = netlist.Under(c.setup, c.measure)
	return c, c.fail(here)
}

// fail puts the suspects into the sound circuit.
func (c *spiceCase) fail(here map[string]bool) error {
	c.numbers.Mend()
	left := c.faultNormal
	for _, s := range c.suspects {
		var err error
		if left, err = c.numbers.Fail(s.Does, here, left); err != nil {
			return err
		}
	}
	return nil
}

// chooseConditions draws what few setups have, for suspects that it matters to.
func (c *spiceCase) chooseConditions(rng *rand.Rand) {
	only := map[string]bool{}
	var collect func(es []rules.Effect)
	collect = func(es []rules.Effect) {
		for _, e := range es {
			only[e.Only] = true
			only["engine_off"] = only["engine_off"] || e.To == "alternator"
			collect(e.OneOf)
			collect(e.AllOf)
		}
	}
	for _, s := range c.suspects {
		collect(s.Does)
	}
	often := func(is bool) bool { return is && rng.Float64() < 0.75 }
	if often(only["hot"]) {
		c.setup.Heat = "soaked"
	}
	if often(only["engine_off"]) {
		c.setup.Engine = "running"
	}
	if often(only["neighbours_on"] || c.numbers.Awake()) {
		c.setup.Neighbours = "on"
	}
	if only["tap_on"] && rng.Float64() < 0.3 {
		c.setup.Unplugged = append(c.setup.Unplugged, "tap")
	}
}

func (c *spiceCase) wire(circuit *rules.Circuit, rng *rand.Rand) (bool, error) {
	c.choices = map[string]string{}
	for _, w := range circuit.Wiring {
		c.choices[w.ID] = w.Of[rng.IntN(len(w.Of))]
	}
	var ok bool
	var err error
	c.numbers, ok, err = netlist.Wire(circuit, c.choices)
	return ok, err
}

func (c *spiceCase) possible(here map[string]bool) (bool, error) {
	for _, s := range c.suspects {
		if ok, err := c.numbers.Suffers(s, here); err != nil || !ok {
			return false, err
		}
	}
	return true, nil
}

func joins(s *rules.Suspect) bool {
	var any func(es []rules.Effect) bool
	any = func(es []rules.Effect) bool {
		return slices.ContainsFunc(es, func(e rules.Effect) bool { return e.Join != nil || any(e.OneOf) || any(e.AllOf) })
	}
	return any(s.Does)
}

func normals(rng *rand.Rand, n int) []float64 {
	z := make([]float64, n)
	for i := range z {
		z[i] = rng.NormFloat64()
	}
	return z
}

// chooseReading draws a setup and a reading that a technician could take in it.
func (c *spiceCase) chooseReading(rng *rand.Rand) {
	odds := func(part float64) bool { return rng.Float64() < part }
	onOff := func(part float64) string {
		if odds(part) {
			return "on"
		}
		return "off"
	}
	s := rules.Setup{Relay: "in", Key: onOff(0.9), Command: onOff(0.75)}
	switch r := rng.Float64(); {
	case r < 0.09:
		s.Relay, s.Coil = "bench", []string{"rest", "energised"}[rng.IntN(2)]
	case r < 0.27:
		s.Relay = "out"
	}
	for _, part := range []string{"load", "control"} {
		if odds(0.04) {
			s.Unplugged = append(s.Unplugged, part)
		}
	}
	elements, _ := netlist.Present(c.numbers)
	m := rules.Measure{}
	switch r := rng.Float64(); {
	case r < 0.45:
		m.Mode = rules.VoltsDC
	case r < 0.65:
		m.Mode = rules.AmpsDC
		m.At = c.somewhere(rng, elements)
	case r < 0.82:
		m.Mode = rules.Ohms
	case r < 0.90:
		m.Mode = rules.TestLamp // with the relay in, a lamp could itself feed the coil
		s.Relay, s.Coil = "out", ""
	case r < 0.96:
		m.Mode = rules.Watch
	default:
		m = rules.Measure{Mode: rules.Bridge, From: "socket.{supply}", To: "socket.{away}"}
		s.Relay, s.Coil = "out", ""
	}
	if m.Mode == rules.VoltsDC || m.Mode == rules.Ohms || m.Mode == rules.TestLamp {
		m.Red, m.Black = c.leads(rng, elements, s.Relay)
	}
	c.setup, c.measure = s, m
}

// somewhere is where a clamp goes round: an element or a terminal.
func (c *spiceCase) somewhere(rng *rand.Rand, elements map[string][2]string) string {
	ids := slices.Sorted(maps.Keys(elements))
	id := ids[rng.IntN(len(ids))]
	if t, ok := strings.CutPrefix(id, "terminal_"); ok {
		return "back." + t
	}
	return id
}

// leads picks two different places that can be reached with the relay where it
// is: often across one element or to ground, else anywhere.
func (c *spiceCase) leads(rng *rand.Rand, elements map[string][2]string, relay string) (red, black string) {
	reach := func(place string) (string, bool) {
		head, tail, _ := strings.Cut(place, ".")
		switch head {
		case "socket":
			return map[string]string{"in": "back." + tail, "out": place}[relay], relay != "bench"
		case "relay":
			return place, relay == "bench"
		}
		return place, true
	}
	var places []string
	for _, id := range slices.Sorted(maps.Keys(elements)) {
		for _, p := range elements[id] {
			if p, ok := reach(p); ok && !slices.Contains(places, p) {
				places = append(places, p)
			}
		}
	}
	var relays []string
	for _, p := range places {
		if strings.HasPrefix(p, "relay.") {
			relays = append(relays, p)
		}
	}
	for {
		red, black = places[rng.IntN(len(places))], places[rng.IntN(len(places))]
		switch r := rng.Float64(); {
		case relay == "bench" && r < 0.8: // what is on the bench hangs on nothing else
			red, black = relays[rng.IntN(len(relays))], relays[rng.IntN(len(relays))]
		case r < 0.4:
			black = "battery.negative"
		case r < 0.5:
			red = "battery.positive"
		}
		if red != black && circuit.Check(rules.Measure{Red: red, Black: black}, rules.Setup{Relay: relay}) == nil {
			return red, black
		}
	}
}
