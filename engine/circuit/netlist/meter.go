package netlist

import (
	"fmt"
	"slices"
	"strings"

	"coilside/rules"
)

// meterOhms is what a reading loads the circuit with, ohms; 0 = nothing.
func (w *Writer) meterOhms() float64 {
	switch w.Measure.Mode {
	case rules.VoltsDC:
		return 10e6
	case rules.TestLamp: // 5 W at the system's nominal volts
		volts := w.N.env["system_volts"].(float64)
		return volts * volts / 5
	}
	return 0
}

// ammeterAt is the element whose current is measured, or "".
func (w *Writer) ammeterAt() string {
	if w.Measure.Mode != rules.AmpsDC {
		return ""
	}
	head, tail, _ := strings.Cut(w.N.fill(w.Measure.At), ".")
	switch head {
	case "socket", "back", "relay":
		return "terminal_" + tail
	}
	return strings.TrimSuffix(head, "_part")
}

// leads are the places that the meter touches; ok is false where the wiring lacks
// one of them.
func (w *Writer) leads() (red, black string, ok bool) {
	red, black = spiceName(w.N.fill(w.Measure.Red)), spiceName(w.N.fill(w.Measure.Black))
	places := w.allPlaces()
	known := func(name string) bool {
		return slices.ContainsFunc(places, func(p string) bool { return spiceName(p) == name })
	}
	return red, black, known(red) && known(black)
}

// across is the expression for the volts between two nodes.
func across(red, black string) string {
	v := func(node string) string {
		if node == "0" {
			return "0"
		}
		return "v(" + node + ")"
	}
	return "(" + v(red) + "-" + v(black) + ")"
}

// meter writes what is connected for the reading.
func (w *Writer) meter() {
	red, black, ok := w.leads()
	switch {
	case w.meterOhms() > 0 && ok:
		w.gate(red, black, "mtr", "0", w.meterOhms())
	case w.ohms() && ok:
		w.linef("Gm %s %s mtr 0 1m", black, red) // a milliampere into the red lead's place
	}
}

// readings are the expressions whose last values are the reading: volts, ohms,
// amperes, or for the load its volts and its amperes.
func (w *Writer) readings() []string {
	red, black, ok := w.leads()
	volts := across(red, black)
	load := w.N.First("load")
	switch {
	case w.Measure.Mode == rules.AmpsDC:
		if _, here := w.elements[w.ammeterAt()]; here {
			return []string{fmt.Sprintf("i(vs_%s)", w.ammeterAt())}
		}
		return nil
	case w.Measure.Mode == rules.Bridge || w.Measure.Mode == rules.Watch:
		return []string{across(spiceName(w.elements[load][0]), spiceName(w.elements[load][1])),
			fmt.Sprintf("i(vs_%s)", load)}
	case !ok:
		return nil
	case w.ohms():
		return []string{"1000*" + volts}
	}
	return []string{volts}
}

// analysis writes the transient and what is printed of it: the armature's lowest
// and highest position before the reading, and each fuse's latch after ordinary
// use and at the end. The reading itself is then solved for the states found:
// pivots chosen while switches stood otherwise would spoil it.
func (w *Writer) analysis() {
	w.linef(".options reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-15 pivrel=0.9 method=gear")
	w.linef(".tran 50u %gm 0 50u uic", readAt)
	w.linef(".control\nset numdgt=13\nrun")
	w.linef("meas tran low MIN v(x) from=47m to=%gm", phases[reading]-0.5)
	w.linef("meas tran high MAX v(x) from=47m to=%gm", phases[reading]-0.5)
	w.linef("let stop = time[length(time)-1]\nprint low high stop")
	for _, f := range w.fuses {
		w.linef("meas tran used_%s FIND v(q_%s) AT=%gm", f, f, phases[dead]+9)
		w.linef("let end_%s = v(q_%s)[length(time)-1]", f, f)
		w.linef("print used_%s end_%s", f, f)
	}
	for _, node := range w.states {
		w.linef("let was = v(%s)[length(time)-1]\nalter vfix_%s dc = was", node, node)
	}
	w.linef("op")
	for i, r := range w.readings() {
		w.linef("let read_%d = %s\nprint read_%d", i, r, i)
	}
	w.linef("quit\n.endc\n.end")
}
