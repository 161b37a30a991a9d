package circuit

import (
	"testing"

	"coilside/rules"
	"coilside/rulesets"
)

// benchRelay is a sound relay of the shipped circuit whose coil has the given
// ohms and pull-in volts at 20 °C and is at the given temperature; resistor is
// across it, 0 = none.
func benchRelay(t *testing.T, volts string, ohms, pullIn, celsius, resistor float64) *Instance {
	t.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		t.Fatal(err)
	}
	m, err := Compile(book, book.Circuits[0])
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]string{"system_volts": volts, "suppression": "none"}
	if resistor > 0 {
		known["suppression"] = "resistor"
	}
	ws, err := m.Wirings(known)
	if err != nil {
		t.Fatal(err)
	}
	d, err := m.Draw(ws.Pick(make([]float64, ws.Dims())), nil, make([]float64, m.Dims()))
	if err != nil {
		t.Fatal(err)
	}
	s := m.special
	d.Values[s.coilOhms], d.Values[s.pullIn], d.Values[s.celsius] = ohms, pullIn, celsius
	if resistor > 0 {
		d.Values[m.ohmsSlot[s.suppressor]] = resistor
	}
	d.conduct()
	in, err := m.Instance(d, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func onBench(in *Instance, mode rules.Mode) float64 {
	var sv Solver
	return sv.Read(in, rules.Measure{Mode: mode, Red: "relay.86", Black: "relay.85"},
		rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "rest"}).A
}

// at20 takes a figure stated at another temperature to 20 °C.
func at20(figure, celsius float64) float64 { return figure * 254.5 / (234.5 + celsius) }

// Babcock relay application notes: 320 ohms at 25 °C are 443.3 at 125 °C, and
// 13.0 V of pull-in become 18 V. Kilovac application note on voltages: 16 V at
// 25 °C become 19.7 V at 85, 20.6 V at 100 and 12.9 V at -25 °C.
func TestPublishedCoilTemperature(t *testing.T) {
	within(t, "ohms at 125 °C", CoilOhmsAt(320, 25, 125), 443.3, 0.1)
	hot := benchRelay(t, "24", at20(320, 25), at20(13, 25), 125, 0)
	within(t, "measured at 125 °C", onBench(hot, rules.Ohms), 443.3, 0.1)
	within(t, "measured at 25 °C", onBench(hot.AtCelsius(25), rules.Ohms), 320, 0.1)
	within(t, "pull-in at 25 °C", onBench(hot.AtCelsius(25), rules.PullIn), 13.0, 0.01)
	within(t, "pull-in at 125 °C", onBench(hot, rules.PullIn), 18, 0.1)
	for celsius, want := range map[float64]float64{85: 19.7, 100: 20.6, -25: 12.9} {
		in := benchRelay(t, "24", 300, at20(16, 25), celsius, 0)
		within(t, "pull-in of 16 V", onBench(in, rules.PullIn), want, 0.1)
	}
}

// Leach application note 102: the rise is (234.5+T1)(R2/R1-1).
func TestPublishedTemperatureRise(t *testing.T) {
	for _, c := range []struct{ ohms, from, to float64 }{{320, 25, 125}, {85, 20, 70}, {255, -25, 85}} {
		r2 := CoilOhmsAt(c.ohms, c.from, c.to)
		near(t, "rise", (234.5+c.from)*(r2/c.ohms-1), c.to-c.from, 1e-12)
	}
}

// Coils and suppression resistors as in relay data sheets (12 V: 85 ohms, 680
// ohms; 24 V: 320 ohms, 2700 ohms); what they read together is computed.
func TestCoilBesideItsResistor(t *testing.T) {
	for _, c := range []struct {
		volts                string
		coil, resistor, want float64
	}{{"12", 85, 680, 75.6}, {"12", 90, 680, 79.5}, {"24", 320, 2700, 286.1}} {
		in := benchRelay(t, c.volts, c.coil, 7, 20, c.resistor)
		within(t, "coil and resistor", onBench(in, rules.Ohms), c.want, 0.1)
	}
}

// Relays whose data sheets state coil and voltages pull in by the stated volts
// and hold above the stated release: 12 V 85 ohms 8/1.5 V, 24 V 255 ohms 16/3 V.
func TestDataSheetRelaysPullInAndRelease(t *testing.T) {
	for _, c := range []struct {
		volts                 string
		ohms, pullIn, dropOut float64
	}{{"12", 85, 8, 1.5}, {"24", 255, 16, 3}} {
		in := benchRelay(t, c.volts, c.ohms, c.pullIn, 20, 0)
		in.values[in.model.special.dropOut] = c.dropOut
		within(t, "pull-in", onBench(in, rules.PullIn), c.pullIn, 0.001)
		within(t, "drop-out", onBench(in, rules.DropOut), c.dropOut, 0.001)
		for scale, want := range map[float64]Armature{1: PulledOver, 1.4: PulledOver, 1.6: AtRest} {
			weak := benchRelay(t, c.volts, c.ohms, c.pullIn, 20, 0) // the same relay, made to pull in later
			weak.own()
			weak.values[in.model.special.pullIn] = c.pullIn * scale
			var sv Solver
			sv.Settle(weak, rules.Setup{Relay: "bench", Coil: "energised"})
			if sv.Armature() != want {
				t.Errorf("%s V, pull-in %g V: armature %v, want %v", c.volts, c.pullIn*scale, sv.Armature(), want)
			}
		}
	}
}
