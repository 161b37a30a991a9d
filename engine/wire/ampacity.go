package wire

import (
	"fmt"
	"math"
	"slices"

	"coilside/rules"
)

// size is one wire that can be bought.
type size struct {
	name string  // "12" or "2.5"
	area float64 // square millimetres
	ohms float64 // ohms a metre at 20 °C
	amps float64 // carried at 30 °C with the insulation in question
}

// insulations are the ratings of the ampacity table, degrees Celsius.
var insulations = []int{60, 75, 80, 90, 105, 125}

// awgSizes lists the sizes of the ampacity table, thinnest first.
func awgSizes(book *rules.Book, insulation int, c Copper) ([]size, error) {
	column := fmt.Sprintf("c%d", insulation)
	table, err := book.Table("ampacity", column)
	if err != nil {
		return nil, err
	}
	var out []size
	for _, row := range table.Rows {
		amps, ok := row.Number(column)
		if !ok {
			continue
		}
		n, err := Number(row.Key)
		if err != nil {
			return nil, &rules.Error{Pos: row.Pos, Code: rules.CodeValue, Message: err.Error()}
		}
		out = append(out, size{name: row.Key, area: Area(n), ohms: c.PerMetre(Area(n), 20), amps: amps})
	}
	slices.SortFunc(out, thinner)
	return out, nil
}

// metricSizes lists the metric wires, thinnest first. What they carry is taken
// between the AWG sizes around them, on a scale of logarithms.
func metricSizes(book *rules.Book, awg []size) ([]size, error) {
	table, err := book.Table("metric_wire", "area", "ohms")
	if err != nil {
		return nil, err
	}
	var out []size
	for _, row := range table.Rows {
		area, ok := row.Number("area")
		ohms, known := row.Number("ohms")
		if !ok || !known || area <= 0 || ohms <= 0 {
			return nil, &rules.Error{Pos: row.Pos, Code: rules.CodeValue, Message: fmt.Sprintf("the wire %q needs an area and ohms above 0", row.Key)}
		}
		out = append(out, size{name: row.Key, area: area, ohms: ohms, amps: carries(awg, area)})
	}
	slices.SortFunc(out, thinner)
	return out, nil
}

func thinner(a, b size) int {
	if a.area < b.area {
		return -1
	}
	return 1
}

// carries interpolates what a cross-section carries.
func carries(known []size, area float64) float64 {
	i := 1
	for i < len(known)-1 && known[i].area < area {
		i++
	}
	low, high := known[i-1], known[i]
	share := math.Log(area/low.area) / math.Log(high.area/low.area)
	return low.amps * math.Pow(high.amps/low.amps, share)
}

// warmth is what is left of an ampacity given for 30 °C: heat leaves in proportion
// to the difference of temperatures and grows with the square of the current. It
// gives the factors of 33 CFR 183.425 table 5 note 1.
func warmth(insulation, ambient, basis float64) float64 {
	if ambient <= basis {
		return 1
	}
	return math.Sqrt((insulation - ambient) / (insulation - basis))
}

// bundled is what is left of an ampacity among so many wires under load.
func bundled(book *rules.Book, wires float64) (float64, error) {
	table, err := book.Table("bundle", "from", "factor")
	if err != nil {
		return 0, err
	}
	factor, most := 1.0, 0.0
	for _, row := range table.Rows {
		from, _ := row.Number("from")
		if f, ok := row.Number("factor"); ok && from <= wires && from >= most {
			factor, most = f, from
		}
	}
	return factor, nil
}
