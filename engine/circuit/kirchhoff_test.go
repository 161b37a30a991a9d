package circuit

import (
	"math"
	"math/rand/v2"
	"testing"

	"coilside/rules"
	"coilside/rulesets"
)

// randomInstance draws a circuit of the shipped rulebook with one of its suspects.
func randomInstance(t *testing.T, m *Model, ws *Wirings, book *rules.Book, rng *rand.Rand) *Instance {
	t.Helper()
	normals := func(n int) []float64 {
		z := make([]float64, n)
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		return z
	}
	f, _ := m.Fault(book.Suspects[rng.IntN(len(book.Suspects))].ID)
	w := ws.Pick(normals(ws.Dims()))
	for !m.Possible(f, w) {
		w = ws.Pick(normals(ws.Dims()))
	}
	d, err := m.Draw(w, nil, normals(m.Dims()))
	if err != nil {
		t.Fatal(err)
	}
	in, err := m.Instance(d, []*Fault{f}, normals(f.Dims))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// In every settled circuit the currents at every place sum to zero, and the
// source's electromotive force delivers what the resistances turn into heat
// (Kirchhoff, Tellegen).
func TestSettledCircuitsKeepTheLaws(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		t.Fatal(err)
	}
	m, err := Compile(book, book.Circuits[0])
	if err != nil {
		t.Fatal(err)
	}
	ws, err := m.Wirings(nil)
	if err != nil {
		t.Fatal(err)
	}
	var sv Solver
	busy := 0
	for i := range uint64(400) {
		rng := rand.New(rand.NewPCG(lawSeed, i))
		in := randomInstance(t, m, ws, book, rng)
		if in.diode != 0 || in.pulse > 0 {
			continue // a diode that conducts and means over time have tests of their own
		}
		word := func(often, seldom string) string { return [4]string{often, often, often, seldom}[rng.IntN(4)] }
		setup := rules.Setup{Relay: word("in", "out"), Key: word("on", "off"), Command: word("on", "off")}
		sv.Settle(in, setup)
		heat, given := balance(t, &sv)
		if math.Abs(heat-given) > 1e-9*(1+given) {
			t.Errorf("%g W of heat, %g W delivered", heat, given)
		}
		if given > 1 {
			busy++
		}
		if t.Failed() {
			t.Fatalf("seed %d,%d: %v", lawSeed, i, setup)
		}
	}
	if busy < 100 {
		t.Errorf("only %d of 400 circuits carry a watt", busy)
	}
}

// balance checks the currents at every node and sums the power, watts.
func balance(t *testing.T, sv *Solver) (heat, given float64) {
	t.Helper()
	in := sv.in
	net := in.net
	sum, size := make([]float64, len(net.names)), make([]float64, len(net.names))
	flow := func(from, to int, amps float64) {
		for node, sign := range map[int]float64{from: -1, to: 1} {
			if node >= 0 {
				sum[node] += sign * amps
				size[node] += math.Abs(amps)
			}
		}
	}
	for e, b := range net.branches {
		if !b.here() {
			continue
		}
		amps := sv.branchAmps(e)
		flow(b.from, b.to, amps)
		across := at(sv.sys.volts, b.from) - at(sv.sys.volts, b.to)
		if e == in.model.special.source {
			emf := in.values[in.model.special.volts]
			given += emf * amps
			across += emf
		}
		heat += across * amps
	}
	for _, s := range in.shorts {
		b := net.branches[s.element]
		if !b.here() {
			continue
		}
		to := ground
		if s.toSupply {
			to = net.branches[in.model.special.source].to
		}
		across := at(sv.sys.volts, b.to) - at(sv.sys.volts, to)
		flow(b.to, to, s.siemens*across)
		heat += s.siemens * across * across
	}
	for _, j := range in.joins {
		for i, a := range in.model.around {
			b, ok := net.joint(in.draw.Wiring, a.join)
			if j.bit != 1<<i || !ok {
				continue
			}
			across := at(sv.sys.volts, b.from) - at(sv.sys.volts, b.to)
			flow(b.from, b.to, j.siemens*across)
			heat += j.siemens * across * across
		}
	}
	for n, v := range sv.sys.volts {
		flow(n, ground, leak*v)
		heat += leak * v * v
		// A branch of 1000 S between nodes at 24 V rounds its current by 1e-11 A.
		if math.Abs(sum[n]) > 1e-9*(1+size[n]) {
			t.Errorf("at %s %g A are left over of %g A", net.names[n], sum[n], size[n])
		}
	}
	return heat, given
}
