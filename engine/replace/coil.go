package replace

import (
	"fmt"
	"math"

	"coilside/engine/quantity"
)

func show(v float64) string { return quantity.Plain(v) }

// coil: its volts against the vehicle's.
func (t *trial) coil() {
	switch {
	case math.IsNaN(t.coilVolts) || math.IsNaN(t.volts):
		t.ask("coil_volts", "For how many volts is the coil, and has the vehicle 12 or 24?")
	case t.coilVolts == t.volts:
		t.say("coil_volts", fits, "", "The coil is for the vehicle's volts.")
	case t.coilVolts > t.volts:
		t.say("coil_volts", harmful, "relay data sheets: 24 V coils pull in by 14.8 to 16 V",
			fmt.Sprintf("A coil of %s V does not pull in on %s V, or chatters and burns its contacts.", show(t.coilVolts), show(t.volts)))
	default:
		times := t.volts / t.coilVolts
		t.say("coil_volts", harmful, "computed: heat goes with the square of the volts",
			fmt.Sprintf("A coil of %s V takes %s times its power on %s V and burns out.", show(t.coilVolts), show(times*times), show(t.volts)))
	}
}

// polarity: a diode across the coil conducts if the coil is fed the other way round.
func (t *trial) polarity() {
	if t.Suppression != "diode" {
		return
	}
	const source = "for a relay with a diode 86 is positive"
	cathode := t.Cathode
	if cathode == "" {
		t.ask("polarity", "It has a diode: which of 85 and 86 is marked plus?")
		return
	}
	switch {
	case t.place.CoilPositive == "":
		t.ask("polarity", "It has a diode: which cavity of the coil is plus, 85 or 86? Read volts at both, relay out, control on.")
	case t.place.CoilPositive == cathode:
		t.say("polarity", fits, source, "The diode is the right way round for this socket.")
	default:
		t.say("polarity", harmful, source, fmt.Sprintf("The diode lies the wrong way round: %s is plus here. It shorts the coil's supply at 0.7 to 1 V; the fuse or the driver dies.", t.place.CoilPositive))
	}
}

// suppress: without something across the coil a driver takes its kick.
func (t *trial) suppress() {
	const source = "coil suppression notes: an unsuppressed 12 V coil kicks back several hundred volts to over 1 kV"
	module := t.place.Driver == "module"
	clamped := t.place.Clamped != nil && *t.place.Clamped
	switch {
	case t.Suppression == "":
		t.ask("suppression", "What lies across its coil: nothing, a resistor or a diode?")
	case t.Suppression == "none" && clamped:
		t.say("suppression", care, source, "Nothing lies across its coil. The module is said to bear the kick.")
	case t.Suppression == "none" && module:
		t.say("suppression", harmful, source, "Nothing lies across its coil, and a module drives it: the kick of several hundred volts kills the output.")
	case t.Suppression == "none" && (t.place.Suppression == "diode" || t.place.Suppression == "resistor"):
		t.say("suppression", harmful, source, "The one that was in had suppression and this has none: what needed it is hit by several hundred volts.")
	case t.Suppression == "none" && t.place.Driver == "":
		t.ask("suppression", "Nothing lies across its coil. What drives it: a plain switch, or a module?")
	case t.Suppression == "none":
		t.say("suppression", care, source, "Nothing lies across its coil. A plain switch bears that; radio and modules nearby may not.")
	case t.Suppression == "resistor":
		t.byResistor(module && !clamped)
	case t.place.QuickRelease != nil && *t.place.QuickRelease:
		t.say("suppression", doesNotFit, "coil suppression notes: with a diode release is several times slower", "With a diode it lets go several times slower, and this circuit must let go fast.")
	case t.place.Suppression == "none":
		t.say("suppression", care, "coil suppression notes: with a diode release is several times slower", "It has a diode and the old one had none: it lets go slower, and the way round now matters.")
	default:
		t.say("suppression", fits, "", "Its diode holds the coil's kick down.")
	}
}

// byResistor: the kick over a resistor is the coil's current through it.
func (t *trial) byResistor(module bool) {
	kick := t.coilVolts / t.coilOhms * t.resistor
	switch {
	case !module:
		t.say("suppression", fits, "", "Its resistor holds the coil's kick down, either way round.")
	case math.IsNaN(kick) && t.place.Suppression == "resistor":
		t.say("suppression", fits, "", "It has a resistor, as the one before had.")
	case math.IsNaN(kick):
		t.say("suppression", care, "practice", "A resistor lets more of the kick through than a diode. Look up what the module is made for.")
	case kick > t.kick:
		t.say("suppression", harmful, "computed: coil current times resistor",
			fmt.Sprintf("Over its %s Ω the coil kicks back %s V, more than the %s V that a module's output bears.", show(t.resistor), show(kick), show(t.kick)))
	case t.place.Suppression == "diode":
		t.say("suppression", care, "computed: coil current times resistor", fmt.Sprintf("The one before had a diode; over this resistor the coil kicks back %s V.", show(kick)))
	default:
		t.say("suppression", fits, "", fmt.Sprintf("Over its resistor the coil kicks back %s V only.", show(kick)))
	}
}

// driver: a coil of fewer ohms draws more than the one before.
func (t *trial) driver() {
	if math.IsNaN(t.coilOhms) || math.IsNaN(t.before) {
		return
	}
	times := t.before / t.coilOhms
	words := fmt.Sprintf("Its coil draws %s times what the one before drew (%s Ω against %s Ω)", show(times), show(t.coilOhms), show(t.before))
	switch {
	case times <= t.more:
		t.say("coil_current", fits, "", "Its coil draws no more than the control is used to.")
	case t.place.Driver == "module":
		t.say("coil_current", harmful, "practice", words+": more than the module's output may be made for.")
	default:
		t.say("coil_current", care, "practice", words+": see that the control and its fuse bear it.")
	}
}
