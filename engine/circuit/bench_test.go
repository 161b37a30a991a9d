package circuit_test

import (
	"testing"

	"coilside/engine/circuit"
	"coilside/rules"
	"coilside/rulesets"
)

// shipped loads the shipped circuit.
func shipped(tb testing.TB) (*rules.Book, *circuit.Model) {
	tb.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		tb.Fatal(err)
	}
	m, err := circuit.Compile(book, book.Circuits[0])
	if err != nil {
		tb.Fatal(err)
	}
	return book, m
}

// BenchmarkReading is what one reading of one guess costs: settle and read.
func BenchmarkReading(b *testing.B) {
	book, m := shipped(b)
	on := rules.Setup{Relay: "in", Key: "on", Command: "on"}
	for _, r := range []struct {
		name    string
		measure rules.Measure
		setup   rules.Setup
	}{
		{"volts", rules.Measure{Mode: rules.VoltsDC, Red: "load.in", Black: "load.out"}, on},
		{"amps", rules.Measure{Mode: rules.AmpsDC, At: "load"}, on},
		{"ohms", rules.Measure{Mode: rules.Ohms, Red: "load.in", Black: "battery.negative"}, rules.Setup{Relay: "out", Key: "off", Command: "off"}},
	} {
		b.Run(r.name, func(b *testing.B) {
			c, err := newCase(book.Circuits[0], 1, 1, nil)
			if err != nil {
				b.Fatal(err)
			}
			in, err := instance(m, c)
			if err != nil {
				b.Fatal(err)
			}
			var sv circuit.Solver
			b.ReportAllocs()
			for b.Loop() {
				sv.Read(in, r.measure, r.setup)
			}
		})
	}
}
