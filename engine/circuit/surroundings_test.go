package circuit_test

import (
	"math"
	"testing"

	"coilside/engine/circuit"
	"coilside/rules"
)

// surrounded builds a circuit with one suspect, every spread at its middle.
func surrounded(t *testing.T, suspect string, known map[string]string) (*circuit.Instance, *circuit.Draw) {
	t.Helper()
	_, m := shipped(t)
	ws, err := m.Wirings(known)
	if err != nil {
		t.Fatal(err)
	}
	f, ok := m.Fault(suspect)
	if !ok {
		t.Fatalf("no suspect %s", suspect)
	}
	some, _ := ws.Possible(f)
	d, err := m.Draw(some.Pick(make([]float64, some.Dims())), nil, make([]float64, m.Dims()))
	if err != nil {
		t.Fatal(err)
	}
	in, err := m.Instance(d, []*circuit.Fault{f}, make([]float64, f.Dims))
	if err != nil {
		t.Fatal(err)
	}
	return in, d
}

var runningCircuit = map[string]string{"system_volts": "12", "contact": "make", "control_side": "ground", "power_enters": "30", "power_leaves": "87",
	"load_side": "ground", "coil_supply": "ignition", "coil_positive": "86", "suppression": "none", "feed_fuse_at": "before_relay", "load_kind": "lamp"}

func reads(in *circuit.Instance, red, black string, s rules.Setup) float64 {
	var sv circuit.Solver
	return sv.Read(in, rules.Measure{Mode: rules.VoltsDC, Red: red, Black: black}, s).A
}

// A fault of heat is there hot and only then; the coil's copper is hotter too.
func TestHeatShowsOnlyHot(t *testing.T) {
	in, _ := surrounded(t, "coil.open_hot", runningCircuit)
	on := rules.Setup{Relay: "in", Key: "on", Command: "on"}
	hot := on
	hot.Heat = "soaked"
	if cold, warm := reads(in, "load.in", "battery.negative", on), reads(in, "load.in", "battery.negative", hot); cold < 10 || warm > 0.1 {
		t.Errorf("the load gets %.2f V cold and %.2f V hot", cold, warm)
	}
	bench := rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "rest"}
	ohms := rules.Measure{Mode: rules.Ohms, Red: "relay.86", Black: "relay.85"}
	var sv circuit.Solver
	if r := sv.Read(in, ohms, bench).A; r < 60 || r > 130 {
		t.Errorf("cold on the bench the coil reads %.1f ohms", r)
	}
	bench.Heat = "soaked"
	if r := sv.Read(in, ohms, bench).A; !math.IsInf(r, 1) {
		t.Errorf("hot on the bench the coil reads %.1f ohms", r)
	}
}

// A relay with 30 and 86 in each other's place works, and its contact draws the load's
// current through the coil's fuse.
func TestLayoutDrawsTheLoadThroughTheCoilFuse(t *testing.T) {
	in, _ := surrounded(t, "relay.layout_30_86_changed", map[string]string{"system_volts": "12", "contact": "make", "control_side": "ground",
		"power_enters": "30", "power_leaves": "87", "load_side": "ground", "coil_supply": "ignition", "coil_positive": "86", "suppression": "none",
		"feed_fuse_at": "before_relay", "load_kind": "motor"})
	on := rules.Setup{Relay: "in", Key: "on", Command: "on"}
	var sv circuit.Solver
	amps := func(at string) float64 {
		return sv.Read(in, rules.Measure{Mode: rules.AmpsDC, At: at, How: "clamp"}, on).A
	}
	coil, feed := amps("coil_fuse"), amps("feed_fuse")
	if coil < 2 || feed > 0.3 {
		t.Errorf("%.2f A through the coil's fuse, %.2f A through the load's", coil, feed)
	}
}

// A driver of short pulses makes the relay buzz, and across the coil a meter shows the
// mean: part of the time all of the volts, else none.
func TestPulsedControl(t *testing.T) {
	in, d := surrounded(t, "control.pulsed", runningCircuit)
	var sv circuit.Solver
	on := rules.Setup{Relay: "in", Key: "on", Command: "on"}
	if sound := sv.Read(in, rules.Measure{Mode: rules.Listen}, on).A; sound != circuit.Buzzes {
		t.Errorf("the relay sounds %v, not a buzz", sound)
	}
	volts := reads(in, "back.86", "back.85", on)
	if source := d.Values[0]; volts < 0.03*12 || volts > 0.15*14 || source == 0 { // short pulses, about 1 in 11
		t.Errorf("%.2f V across the coil on the mean", volts)
	}
}

// Electronics that a leak cannot start take next to nothing: ghost volts stand there for
// a meter, and a lamp takes them down.
func TestElectronicsSleep(t *testing.T) {
	known := map[string]string{}
	for k, v := range runningCircuit {
		known[k] = v
	}
	known["load_kind"] = "electronics"
	in, _ := surrounded(t, "box.leakage", known)
	idle := rules.Setup{Relay: "out", Key: "off", Command: "off"}
	var sv circuit.Solver
	ghost := reads(in, "socket.87", "battery.negative", idle)
	lamp := sv.Read(in, rules.Measure{Mode: rules.TestLamp, Red: "socket.87", Black: "battery.negative"}, idle).A
	if ghost > 0 && lamp > 0.1 {
		t.Errorf("%.2f V stand at 87 and light a lamp to %.2f of its volts", ghost, lamp)
	}
}
