package circuit

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"

	"coilside/rules"
)

// bench is one small published circuit, ready to be read.
type bench struct {
	t     *testing.T
	model *Model
}

// publishedCircuit loads one file of testdata/published.
func publishedCircuit(t *testing.T, file string) bench {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../../testdata/published", file))
	if err != nil {
		t.Fatal(err)
	}
	book, err := rules.Load(rules.Layer{Name: file, FS: fstest.MapFS{file: {Data: data}}})
	if err != nil {
		t.Fatal(err)
	}
	m, err := Compile(book, book.Circuits[0])
	if err != nil {
		t.Fatal(err)
	}
	return bench{t, m}
}

// with builds the circuit with numbers given and one suspect, "" = none.
func (b bench) with(suspect string, known map[string]float64) *Instance {
	b.t.Helper()
	ws, err := b.model.Wirings(nil)
	if err != nil {
		b.t.Fatal(err)
	}
	w := ws.Pick(make([]float64, ws.Dims()))
	d, err := b.model.Draw(w, known, make([]float64, b.model.Dims()))
	if err != nil {
		b.t.Fatal(err)
	}
	var faults []*Fault
	if suspect != "" {
		f, ok := b.model.Fault(suspect)
		if !ok {
			b.t.Fatalf("no suspect %s", suspect)
		}
		faults = append(faults, f)
	}
	in, err := b.model.Instance(d, faults, make([]float64, 9))
	if err != nil {
		b.t.Fatal(err)
	}
	return in
}

var normalUse = rules.Setup{Relay: "in", Key: "on", Command: "on"}

func voltsAt(in *Instance, red, black string) float64 {
	var sv Solver
	return sv.Read(in, rules.Measure{Mode: rules.VoltsDC, Red: red, Black: black}, normalUse).A
}

func ampsAt(in *Instance, element string) float64 {
	var sv Solver
	return sv.Read(in, rules.Measure{Mode: rules.AmpsDC, At: element}, normalUse).A
}

// within holds a reading against a published figure to half its last digit.
func within(t *testing.T, what string, got, want, digit float64) {
	t.Helper()
	if math.Abs(got-want) > digit/2 {
		t.Errorf("%s: %.6g, published %.6g", what, got, want)
	}
}

// Lessons in Electric Circuits, volume DC, chapter 5: a series circuit and what
// its readings say of it. The book's meter is ideal; 10 megohms on 300 ohms take
// less than its last digit.
func TestPublishedSeries(t *testing.T) {
	b := publishedCircuit(t, "series.yaml")
	for _, c := range []struct {
		suspect            string
		v1, v2, v3, milliA float64
	}{
		{"", 2, 6, 1, 20},
		{"r2.shorted", 6, 0, 3, 60},
		{"r2.open", 0, 9, 0, 0},
	} {
		in := b.with(c.suspect, nil)
		within(t, c.suspect+" first", voltsAt(in, "battery.positive", "first.out"), c.v1, 0.001)
		within(t, c.suspect+" second", voltsAt(in, "first.out", "second.out"), c.v2, 0.001)
		within(t, c.suspect+" third", voltsAt(in, "second.out", "battery.negative"), c.v3, 0.001)
		within(t, c.suspect+" current", 1000*ampsAt(in, "r1"), c.milliA, 0.01)
	}
}

// The same chapter: an open branch of a parallel circuit changes the currents
// and not the volts.
func TestPublishedParallel(t *testing.T) {
	b := publishedCircuit(t, "parallel.yaml")
	for suspect, middle := range map[string]float64{"": 200, "r2.open": 0} {
		in := b.with(suspect, nil)
		for element, want := range map[string]float64{"r1": 100, "r2": middle, "r3": 50} {
			within(t, suspect+" current of "+element, 1000*ampsAt(in, element), want, 0.01)
		}
		within(t, suspect+" volts", voltsAt(in, "battery.positive", "battery.negative"), 9, 0.001)
	}
}

// Chapter 11: what a battery's internal resistance takes from 100 ohms.
func TestPublishedBattery(t *testing.T) {
	b := publishedCircuit(t, "line.yaml")
	for _, c := range []struct{ emf, inner, loaded float64 }{
		{13.2, 0.1, 13.187}, {13.0, 5, 12.381}, {11.5, 20, 9.583}, {7.5, 50, 5},
	} {
		in := b.with("", map[string]float64{"emf": c.emf, "inner": c.inner, "loaded": 100})
		within(t, "under load", voltsAt(in, "battery.positive", "battery.negative"), c.loaded, 0.001)
		var sv Solver
		unplugged := normalUse
		unplugged.Unplugged = []string{"load"}
		free := sv.Read(in, rules.Measure{Mode: rules.VoltsDC, Red: "battery.positive", Black: "battery.negative"}, unplugged)
		within(t, "without load", free.A, c.emf, 0.001)
	}
}

// Chapter 12: 15 ohms of wire each way leave 12.5 of 14 V for 250 ohms, at 50 mA.
// Chapter 2: volts between two points that should be common mean an open between.
func TestPublishedLine(t *testing.T) {
	b := publishedCircuit(t, "line.yaml")
	known := map[string]float64{"emf": 14, "out": 15, "back": 15, "loaded": 250}
	in := b.with("", known)
	within(t, "at the load", voltsAt(in, "load.in", "load.out"), 12.5, 0.001)
	within(t, "current", 1000*ampsAt(in, "load"), 50, 0.01)
	open := b.with("wire_back.open", known)
	within(t, "across the open wire", voltsAt(open, "load.out", "battery.negative"), 14, 0.01)
	within(t, "across the sound wire", voltsAt(open, "battery.positive", "load.in"), 0, 0.001)
	within(t, "across the load", voltsAt(open, "load.in", "load.out"), 0, 0.001)
}

// Chapter 8: a meter of 10 megohms on the lower of two 250 megohms at 24 V reads
// 0.8889 V; one of 20 kilohms a volt on its 20 V range reads 10 V on the lower of
// two 400 kilohms at 30 V, where 15 V are true.
func TestPublishedMeterLoading(t *testing.T) {
	b := publishedCircuit(t, "line.yaml")
	in := b.with("", map[string]float64{"emf": 24, "out": 250e6, "loaded": 250e6})
	within(t, "digital meter", voltsAt(in, "load.in", "load.out"), 0.8889, 0.0001)
	in = b.with("", map[string]float64{"emf": 30, "out": 400e3, "loaded": 400e3})
	var sv Solver
	sv.Settle(in, normalUse)
	p := b.model.Resolve(in.draw.Wiring, rules.Measure{Mode: rules.VoltsDC, Red: "load.in", Black: "load.out"}, normalUse)
	within(t, "20 kilohms a volt", sv.volts(p.a, p.b, 20e3*20), 10, 0.001)
	within(t, "no meter", sv.volts(p.a, p.b, 1e15), 15, 0.001)
}

// A resistance in series with nothing hides from a meter of 10 megohms. The
// figures are computed, E R/(R+r), not published.
func TestUnloadedVoltsProveLittle(t *testing.T) {
	b := publishedCircuit(t, "line.yaml")
	for ohms, want := range map[float64]float64{1e3: 12.599, 100e3: 12.475, 1e6: 11.455} {
		in := b.with("wire_back.open", map[string]float64{"emf": 12.6, "out": ohms})
		within(t, "behind a fault", voltsAt(in, "load.in", "battery.negative"), want, 0.001)
	}
}
