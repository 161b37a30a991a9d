// Package wire sizes the wires, the fuse, the connectors and the relay of a new
// relay circuit, by voltage drop and by what the wires carry.
package wire

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilside/rules"
)

// squareOfMil is one circular mil in square millimetres.
const squareOfMil = math.Pi / 4 * 0.0254 * 0.0254

// foot in metres.
const foot = 0.3048

// Number reads an AWG size as a number: 18 is 18, 1/0 is 0, 2/0 is -1. Source:
// ASTM B258.
func Number(awg string) (int, error) {
	n, err := strconv.Atoi(strings.TrimSuffix(awg, "/0"))
	if err != nil || strings.HasSuffix(awg, "/0") && (n < 1 || n > 4) || n < 0 || n > 40 {
		return 0, fmt.Errorf("%q is no AWG size; write 18, 2 or 1/0", awg)
	}
	if strings.HasSuffix(awg, "/0") {
		return 1 - n, nil
	}
	return n, nil
}

// CircularMils is the cross-section of a size by its number: the square of the
// diameter in thousandths of an inch, 5 × 92^((36-n)/39). Source: ASTM B258.
func CircularMils(n int) float64 {
	mils := 5 * math.Pow(92, float64(36-n)/39)
	return mils * mils
}

// Area is the cross-section of a size by its number, in square millimetres.
func Area(n int) float64 { return CircularMils(n) * squareOfMil }

// Copper is what copper resists.
type Copper struct {
	Resistivity float64 // ohm × square millimetre / metre at 20 °C
	Coefficient float64 // per kelvin at 20 °C
	Zero        float64 // kelvins below 0 °C at which it would resist nothing
}

func readCopper(book *rules.Book) (Copper, error) {
	var c Copper
	err := book.Values(map[string]*float64{"copper_resistivity": &c.Resistivity, "copper_coefficient": &c.Coefficient, "copper_zero": &c.Zero})
	return c, err
}

// PerMetre is what a conductor of that cross-section (square millimetres)
// resists at a temperature (degrees Celsius), in ohms a metre.
func (c Copper) PerMetre(area, celsius float64) float64 {
	return c.Resistivity / area * c.warm(celsius)
}

// warm is the resistance at a temperature in multiples of that at 20 °C.
func (c Copper) warm(celsius float64) float64 { return 1 + c.Coefficient*(celsius-20) }

// LongestWarm shortens a length that was right at 20 °C for a warmer conductor:
// L₂ = 254.5 L₁ / (234.5 + T). Source: FAA AC 43.13-1B.
func (c Copper) LongestWarm(metres, celsius float64) float64 {
	return metres * (c.Zero + 20) / (c.Zero + celsius)
}
