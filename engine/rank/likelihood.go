// Package rank weighs suspects against readings. Each suspect is carried by a
// cloud of particles, complete guesses at the circuit's unknowns, whose
// predictions are held against what was read. It is pure: the random numbers come
// from a seed fixed by the job, so that the same readings in the same order give
// the same ranking.
package rank

import (
	"math"

	"coilside/engine/circuit"
	"coilside/rules"
)

// Answer is what a test gave: exactly one form.
type Answer struct {
	Number *float64    // volts, ohms or amperes
	Over   bool        // OL: open or over range
	Choice string      // one of the test's choices
	MinMax *[2]float64 // volts, lowest and highest
	Unsure bool        // carries no information
}

// How readings go wrong. Experience, no source.
const (
	// Slip is the chance that a reading is simply wrong: a lead on the wrong
	// place, a slipped probe, a misread range.
	Slip = 0.03
	// wrongEye is the chance that a thing seen or heard is named wrongly though
	// looked at.
	wrongEye = 0.03
	// voltsFloor and voltsPart make the standard deviation of a voltage against
	// the model: so many volts at 12 V, and a part of the reading.
	voltsFloor = 0.025
	voltsPart  = 0.008
	// ohmsFloor and ohmsPart do the same for resistance: contact of the tips, ohms,
	// and a part of the reading. What the leads add belongs to the guess at the
	// circuit: it is the same in every reading.
	ohmsFloor = 0.06
	ohmsPart  = 0.02
	// ampsFloor and ampsPart do it for a clamp, amperes.
	ampsFloor = 0.15
	ampsPart  = 0.03
	// inSeriesFloor and inSeriesPart do it for a meter in the current's path, amperes.
	inSeriesFloor = 0.01
	inSeriesPart  = 0.02
)

// ampsInSeries is amps_dc read by a meter in the current's path, which tells far
// smaller currents apart than a clamp or the drop of a fuse.
const ampsInSeries rules.Mode = "amps_dc in series"

// instrument is the mode of a measurement, told apart where one mode is read by
// meters that err differently.
func instrument(m rules.Measure) rules.Mode {
	if m.Mode == rules.AmpsDC && m.How == "series" {
		return ampsInSeries
	}
	return m.Mode
}

// Choices lists the answers that a mode with choices takes, in a fixed order;
// nil for a mode that gives numbers, and for ask, whose test lists them.
func Choices(mode rules.Mode) []string {
	switch mode {
	case rules.TestLamp:
		return []string{"bright", "dim", "dark"}
	case rules.Bridge, rules.Reseat, rules.Swap:
		return []string{"runs", "weak", "off", "trips"}
	case rules.Watch:
		return []string{"runs", "weak", "off", "trips", "comes_and_goes"}
	case rules.Listen:
		return []string{"click", "silent", "buzz"}
	case rules.Look:
		return []string{"sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part"}
	}
	return nil
}

// sigma is the standard deviation of a numeric reading about what the model
// says, in the reading's unit.
func sigma(mode rules.Mode, value, systemVolts float64) float64 {
	switch mode {
	case rules.Ohms:
		return ohmsFloor + ohmsPart*math.Abs(value)
	case rules.AmpsDC:
		return ampsFloor + ampsPart*math.Abs(value)
	case ampsInSeries:
		return inSeriesFloor + inSeriesPart*math.Abs(value)
	case rules.PullIn, rules.DropOut:
		return 0.15*systemVolts/12 + 0.02*math.Abs(value)
	}
	return voltsFloor*systemVolts/12 + voltsPart*math.Abs(value)
}

// likelihood is how likely an answer is when the model says raw: a density in
// the reading's unit for numbers, a probability for OL and for choices. Slips
// are not in it. A number is held to its instrument's error times blur.
func likelihood(mode rules.Mode, a *Answer, raw circuit.Raw, systemVolts, blur float64) float64 {
	switch {
	case a.Over:
		if math.IsInf(raw.A, 1) {
			return 1
		}
		return 0
	case a.Number != nil:
		return density(mode, *a.Number, raw.A, systemVolts, blur)
	case a.MinMax != nil:
		return density(mode, a.MinMax[0], raw.A, systemVolts, blur) * density(mode, a.MinMax[1], raw.B, systemVolts, blur)
	}
	return choiceProbability(mode, a.Choice, raw.A)
}

// density is a Student density with four degrees of freedom: near a normal one
// in the middle, forgiving in the tails, where model error lives.
func density(mode rules.Mode, read, model, systemVolts, blur float64) float64 {
	if math.IsInf(model, 0) || math.IsNaN(model) {
		return 0
	}
	s := blur * sigma(mode, model, systemVolts)
	t := (read - model) / s
	return 0.375 * math.Pow(1+t*t/4, -2.5) / s
}

// slipOver is the chance that a wrong reading shows OL: a lead on nothing does.
const slipOver = 0.4

// slipLikelihood is how likely an answer is when the reading went wrong.
func slipLikelihood(mode rules.Mode, a *Answer, choices int, systemVolts float64) float64 {
	switch {
	case a.Over:
		return slipOver
	case a.Number != nil:
		return slipDensity(mode, *a.Number, systemVolts)
	case a.MinMax != nil:
		return slipDensity(mode, a.MinMax[0], systemVolts) * slipDensity(mode, a.MinMax[1], systemVolts)
	}
	return 1 / float64(max(choices, 2))
}

// slipDensity spreads a wrong number over what a meter could show: for volts
// half near zero (no contact) and half over the range, for ohms log-evenly.
func slipDensity(mode rules.Mode, read, systemVolts float64) float64 {
	switch mode {
	case rules.Ohms:
		return 0.6 / (math.Max(math.Abs(read), ohmsFloor) * math.Log(circuit.OverRange/ohmsFloor))
	case rules.AmpsDC, ampsInSeries:
		return 1.0 / 60
	}
	near := 0.1 * systemVolts / 12
	z := read / near
	return 0.4*math.Exp(-z*z/2)/(near*math.Sqrt(2*math.Pi)) + 0.6/(2.4*systemVolts)
}

// choiceProbability is how likely a person names a choice when the circuit does
// what raw says. The edges between running, weak and off, and between bright,
// dim and dark, are soft: practice, no source.
func choiceProbability(mode rules.Mode, choice string, raw float64) float64 {
	return (1-wrongEye)*Named(mode, choice, raw) + wrongEye/float64(len(Choices(mode)))
}

// Named is the same for eyes and ears that never err.
func Named(mode rules.Mode, choice string, raw float64) float64 {
	p := 0.0
	switch mode {
	case rules.Bridge, rules.Watch, rules.Reseat, rules.Swap:
		p = runs(choice, raw)
	case rules.TestLamp:
		switch choice {
		case "bright":
			p = above(raw, 0.78, 0.04)
		case "dark":
			p = 1 - above(raw, 0.25, 0.04)
		case "dim":
			p = above(raw, 0.25, 0.04) - above(raw, 0.78, 0.04)
		}
	case rules.Listen:
		p = hears(choice, raw)
	case rules.Look:
		p = sees(choice, raw)
	}
	return p
}

func runs(choice string, raw float64) float64 {
	switch {
	case raw == circuit.Trips:
		return map[string]float64{"trips": 0.9, "off": 0.1}[choice]
	case raw == circuit.ComesAndGoes:
		return map[string]float64{"comes_and_goes": 0.7, "weak": 0.2, "off": 0.1}[choice]
	}
	switch choice {
	case "runs":
		return above(raw, 0.82, 0.03)
	case "off":
		return 1 - above(raw, 0.3, 0.05)
	case "weak":
		return above(raw, 0.3, 0.05) - above(raw, 0.82, 0.03)
	}
	return 0
}

func hears(choice string, raw float64) float64 {
	at := map[string]float64{"silent": circuit.Silent, "click": circuit.Clicks, "buzz": circuit.Buzzes}
	if at[choice] == raw {
		return 1
	}
	return 0
}

// sees is for a fuse, the one thing whose looks the circuit predicts: hairline
// cracks are missed.
func sees(choice string, raw float64) float64 {
	if raw == 1 {
		return map[string]float64{"blown": 0.9, "sound": 0.08, "burnt": 0.02}[choice]
	}
	return map[string]float64{"sound": 0.96, "corroded": 0.02, "blown": 0.01, "loose": 0.01}[choice]
}

// above is a smooth step from 0 to 1 at edge, so wide.
func above(x, edge, width float64) float64 { return 1 / (1 + math.Exp(-(x-edge)/width)) }
