package rank

import (
	"math"

	"coilside/engine/circuit"
	"coilside/rules"
)

// grid maps raw predictions of one mode to cells, and cells to outcomes.
type grid struct {
	mode        rules.Mode
	of          []string // choices
	cells       int
	half        int            // numeric: cells on each side of zero
	asked       *circuit.Asked // a question about a number of the circuit: a cell is a choice
	systemVolts float64
}

// cellWidth is the width of a numeric cell in standard deviations of a reading: with wider
// ones it would matter at which side of a border a prediction falls.
const cellWidth = 1.0

// meterError is how the meter's error spreads a number over cells, from its own outward:
// the normal distribution's share of each.
var meterError = [...]float64{0.3829, 0.2417, 0.0606, 0.0062}

// levels is how finely a load's or lamp's brightness is kept, cells from 0 to 1.2.
const levels = 60

// spanCells is how finely each end of a min/max reading is kept.
const spanCells = 24

func (b *Belief) gridFor(m *measurement) grid {
	g := grid{mode: instrument(m.Measure), systemVolts: b.systemVolts, of: Choices(m.Measure.Mode)}
	switch g.mode {
	case rules.Ask:
		g.of = m.Test.Of
		g.cells, g.asked = len(g.of), m.asked
	case rules.MinMax:
		g.cells = spanCells * spanCells
	case rules.VoltsDC, rules.Ohms, rules.AmpsDC, ampsInSeries, rules.PullIn, rules.DropOut:
		g.half = int(g.stretch(g.most())/cellWidth) + 1
		g.cells = 2*g.half + 2 // the last is OL
	default:
		g.cells = levels + 3
	}
	return g
}

// most is the largest number a mode can show, in its unit.
func (g *grid) most() float64 {
	switch g.mode {
	case rules.Ohms:
		return circuit.OverRange
	case rules.AmpsDC, ampsInSeries:
		return 200
	}
	return 1.3 * g.systemVolts
}

// stretch counts standard deviations from zero to v >= 0: the integral of
// dv / sigma(v) with sigma = floor + part v.
func (g *grid) stretch(v float64) float64 {
	floor := sigma(g.mode, 0, g.systemVolts)
	part := (sigma(g.mode, 1, g.systemVolts) - floor)
	return math.Log1p(part*v/floor) / part
}

// cell of a raw prediction.
func (g *grid) cell(raw circuit.Raw) int16 {
	switch {
	case g.asked != nil:
		return int16(g.asked.Nearest(raw.A))
	case g.mode == rules.MinMax:
		return int16(g.spanCell(raw.A)*spanCells + g.spanCell(raw.B))
	case g.half > 0:
		if math.IsInf(raw.A, 0) {
			return int16(g.cells - 1)
		}
		n := int(math.Round(g.stretch(math.Min(math.Abs(raw.A), g.most())) / cellWidth))
		if raw.A < 0 {
			n = -n
		}
		return int16(min(max(n+g.half, 0), g.cells-2))
	case raw.A < 0 || g.mode == rules.Listen || g.mode == rules.Look:
		return int16(levels + int(math.Abs(raw.A))) // a mark, not a level
	}
	return int16(min(int(raw.A*levels/1.2), levels-1))
}

func (g *grid) spanCell(v float64) int {
	part := (v/g.systemVolts + 0.2) / 1.5
	return min(max(int(part*spanCells), 0), spanCells-1)
}

// value is the middle of a numeric cell, in the mode's unit; +Inf for OL.
func (g *grid) value(cell int) float64 {
	if cell == g.cells-1 {
		return math.Inf(1)
	}
	n := float64(cell-g.half) * cellWidth
	floor := sigma(g.mode, 0, g.systemVolts)
	part := sigma(g.mode, 1, g.systemVolts) - floor
	return math.Copysign(math.Expm1(math.Abs(n)*part)*floor/part, n)
}

// raw is a representative raw value of a cell of a mode with choices.
func (g *grid) raw(cell int) float64 {
	switch {
	case g.mode == rules.Listen || g.mode == rules.Look:
		return float64(cell - levels)
	case cell >= levels:
		return -float64(cell - levels)
	}
	return (float64(cell) + 0.5) * 1.2 / levels
}

// outcomes is how many outcomes a test can have.
func (g *grid) outcomes() int {
	if len(g.of) > 0 {
		return len(g.of)
	}
	return g.cells
}
