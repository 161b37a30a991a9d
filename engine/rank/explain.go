package rank

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/choose"
	"coilside/rules"
)

// Figure prints a reading with three digits that count.
func Figure(v float64) string {
	switch a := math.Abs(v); {
	case a >= 1e6:
		return strconv.FormatFloat(v/1e6, 'f', 1, 64) + "M"
	case a >= 1e4:
		return strconv.FormatFloat(v/1e3, 'f', 1, 64) + "k"
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

// ComplaintBits is how far the complaint counted against the hypothesis, in bits.
func (h *Hypothesis) ComplaintBits() float64 { return h.likeliest().complain / math.Ln2 }

// Expects says in words what a hypothesis expected of a reading that was taken:
// from what it knew before the reading, or, where it hardly counted then, what it
// makes of it now.
func (b *Belief) Expects(h *Hypothesis, id int) string {
	h = h.likeliest()
	for _, m := range b.readings {
		if m.ID != id {
			continue
		}
		if !m.circuit || h.cloud == nil || m.wiring != "" {
			return ""
		}
		if words, ok := h.expects[m]; ok {
			return words
		}
		return b.predictionWords(h, m) // never kept: it must not matter when it was first asked for
	}
	return ""
}

// expect notes in words what is expected of a reading.
func (h *Hypothesis) expect(m *measurement, words string) {
	if h.expects == nil {
		h.expects = map[*measurement]string{}
	}
	h.expects[m] = words
}

func (b *Belief) predictionWords(h *Hypothesis, m *measurement) string {
	b.choose(h.cloud, h.bare)
	mixes := make([]mix, len(h.cloud.chosen))
	for k, at := range h.cloud.chosen {
		b.predict(&h.cloud.particles[at], []*measurement{m}, mixes[k:k+1])
	}
	return inWords(m, mixes, h.cloud.share)
}

// inWords says what weighted predictions come to: the likeliest choice, or where
// four fifths of the numbers lie.
func inWords(m *measurement, mixes []mix, weights []float64) string {
	var values []weighted
	if m.asked != nil {
		sums := make([]float64, len(m.Test.Of))
		for i, w := range weights {
			sums[m.asked.Nearest(mixes[i].raw[0].A)] += w
		}
		return m.Test.Of[argmax(sums)]
	}
	choices := Choices(m.Measure.Mode)
	shares := make([]float64, len(choices))
	over := 0.0
	for i, w := range weights {
		x := &mixes[i]
		for k := range x.n {
			raw, part := x.raw[k].A, w*x.chance[k]
			for c, choice := range choices {
				shares[c] += part * Named(m.Measure.Mode, choice, raw)
			}
			if math.IsInf(raw, 0) {
				over += part
				continue
			}
			values = append(values, weighted{raw, part})
		}
	}
	switch {
	case len(choices) > 0:
		return strings.ReplaceAll(choices[argmax(shares)], "_", " ")
	case over > 0.5:
		return "OL"
	case len(values) == 0:
		return ""
	}
	slices.SortFunc(values, func(x, y weighted) int { return cmp.Compare(x.value, y.value) })
	return span(instrument(m.Measure), quantile(values, 0.1*(1-over)), quantile(values, 0.9*(1-over)))
}

// span says a range in words, as one figure when it is narrow.
func span(mode rules.Mode, low, high float64) string {
	unit := " V"
	switch mode {
	case rules.Ohms:
		unit = " ohms"
	case rules.AmpsDC, ampsInSeries:
		unit = " A"
	}
	s := sigma(mode, 0, 12)
	if low <= 0 && math.Max(math.Abs(low), math.Abs(high)) <= 4*s {
		return "about 0" + unit
	}
	if low <= 0 && low >= -4*s { // what is below 0 is the meter's error
		return "at most " + Figure(high) + unit
	}
	if high-low <= 4*sigma(mode, (low+high)/2, 12) {
		return "about " + Figure((low+high)/2) + unit
	}
	return Figure(low) + " to " + Figure(high) + unit
}

func argmax(v []float64) int {
	best := 0
	for i := range v {
		if v[i] > v[best] {
			best = i
		}
	}
	return best
}

// LikelyOutcome is one outcome of a test not yet done, neighbouring numbers
// gathered into one.
type LikelyOutcome struct {
	Words  string
	Chance float64
	After  []float64 // by hypothesis of the outlook
}

// Likely gathers the outcomes a test may have into at most n, likeliest first.
func (o *Outlook) Likely(n int) []LikelyOutcome {
	if len(o.Cells) == 0 {
		return nil
	}
	var out []LikelyOutcome
	for _, r := range o.runs() {
		after := make([]float64, len(o.Prior))
		var chance float64
		for cell := r[0]; cell <= r[1]; cell++ {
			post, c := choose.Posterior(o.Prior, o.Cells, cell)
			chance += c
			for h := range after {
				after[h] += c * post[h]
			}
		}
		for h := range after {
			after[h] /= chance
		}
		if chance >= 0.04 {
			out = append(out, LikelyOutcome{Words: o.words(r), Chance: chance, After: after})
		}
	}
	slices.SortStableFunc(out, func(a, b LikelyOutcome) int { return int(math.Copysign(1, b.Chance-a.Chance)) })
	return out[:min(n, len(out))]
}

// runs are the ranges of outcomes that belong together: each choice by itself, and
// numbers between gaps where hardly anything is expected.
func (o *Outlook) runs() [][2]int {
	n := len(o.Cells[0])
	var out [][2]int
	if o.grid.half == 0 {
		for i := range n {
			out = append(out, [2]int{i, i})
		}
		return out
	}
	start := -1
	for i := range n {
		chance := 0.0
		for h, p := range o.Prior {
			chance += p * o.Cells[h][i]
		}
		busy := chance > 0.001 && o.cell(i) != rest
		over := o.cell(i) == o.grid.cells-1
		if start >= 0 && (!busy || over || o.cell(i) != o.cell(i-1)+1) {
			out = append(out, [2]int{start, i - 1})
			start = -1
		}
		if busy && start < 0 {
			start = i
		}
		if over && busy {
			out = append(out, [2]int{i, i})
			start = -1
		}
	}
	if start >= 0 {
		out = append(out, [2]int{start, n - 1})
	}
	return out
}

func (o *Outlook) words(r [2]int) string {
	switch {
	case o.grid.mode == rules.MinMax:
		cell := o.cell(r[0])
		low := o.grid.systemVolts * (1.5*float64(cell/spanCells)/spanCells - 0.2)
		high := o.grid.systemVolts * (1.5*float64(cell%spanCells)/spanCells - 0.2)
		return span(rules.VoltsDC, low, high)
	case o.grid.half == 0:
		return strings.ReplaceAll(o.grid.of[r[0]], "_", " ")
	}
	low, high := o.grid.value(o.cell(r[0])), o.grid.value(o.cell(r[1]))
	if math.IsInf(low, 1) {
		return "OL"
	}
	return span(o.grid.mode, low, high)
}
