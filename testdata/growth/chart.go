package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// curve is what something costs by how much there is of something else.
type curve struct {
	title, across, unit string
	note                string // what it shows, in a sentence
	at, cost            []float64
}

func (c *curve) add(at, cost float64) {
	c.at, c.cost = append(c.at, at), append(c.cost, cost)
}

// slope is the power with which the cost grows over the last three points: 1 is in step, 0
// is not at all.
func (c *curve) slope() float64 {
	n := len(c.at)
	return math.Log(c.cost[n-1]/c.cost[n-3]) / math.Log(c.at[n-1]/c.at[n-3])
}

func (c *curve) table() string {
	var b strings.Builder
	line := func(head string, values []float64) {
		fmt.Fprintf(&b, "| %s |", head)
		for _, v := range values {
			fmt.Fprintf(&b, " %s |", threeDigits(v))
		}
		b.WriteString("\n")
	}
	line(c.across, c.at)
	b.WriteString("| --- |" + strings.Repeat(" --- |", len(c.at)) + "\n")
	line(c.title+", "+c.unit, c.cost)
	return b.String()
}

// threeDigits writes a number with three digits that count, and never as a power of ten.
func threeDigits(v float64) string {
	unit := math.Pow(10, math.Floor(math.Log10(v))-2)
	return strconv.FormatFloat(math.Round(v/unit)*unit, 'g', 6, 64)
}

// The sheet has two charts in a row. Both axes are logarithmic, so that growth in step with
// what stands below is a slope of one, drawn beside each curve.
const (
	chartWide, chartHigh      = 380.0, 250.0
	marginLeft, marginTop     = 52.0, 30.0
	plotWide, plotHigh        = 300.0, 170.0
	belowPlot                 = marginTop + plotHigh
	chartsInRow           int = 2
)

func sheet(curves []*curve) string {
	rows := (len(curves) + chartsInRow - 1) / chartsInRow
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" font-family="sans-serif" font-size="11" role="img">`+"\n", chartWide*float64(chartsInRow), chartHigh*float64(rows))
	b.WriteString("<title>Cost by how much there is</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n")
	for i, c := range curves {
		fmt.Fprintf(&b, `<g transform="translate(%.0f %.0f)">`+"\n%s</g>\n", chartWide*float64(i%chartsInRow), chartHigh*float64(i/chartsInRow), c.chart())
	}
	return b.String() + "</svg>\n"
}

// span gives the whole decades that hold all values, one at least.
func span(values []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		low, high = math.Min(low, math.Floor(math.Log10(v))), math.Max(high, math.Ceil(math.Log10(v)))
	}
	return low, math.Max(high, low+1)
}

func (c *curve) chart() string {
	left, right := span(c.at)
	bottom, top := span(c.cost)
	x := func(v float64) float64 { return marginLeft + plotWide*(math.Log10(v)-left)/(right-left) }
	y := func(v float64) float64 { return marginTop + plotHigh*(top-math.Log10(v))/(top-bottom) }
	var b strings.Builder
	fmt.Fprintf(&b, `<text x="%.0f" y="16" font-weight="bold">%s, %s</text>`+"\n", marginLeft, c.title, c.unit)
	for p := bottom; p <= top; p++ {
		fmt.Fprintf(&b, `<path d="M%.0f %.1fh%.0f" stroke="#dddddd"/><text x="%.0f" y="%.1f" text-anchor="end">%g</text>`+"\n",
			marginLeft, y(math.Pow(10, p)), plotWide, marginLeft-5, y(math.Pow(10, p))+4, math.Pow(10, p))
	}
	for p := left; p <= right; p++ {
		fmt.Fprintf(&b, `<path d="M%.1f %.0fv%.0f" stroke="#dddddd"/><text x="%.1f" y="%.0f" text-anchor="middle">%g</text>`+"\n",
			x(math.Pow(10, p)), marginTop, plotHigh, x(math.Pow(10, p)), belowPlot+14, math.Pow(10, p))
	}
	fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" text-anchor="middle">%s</text>`+"\n", marginLeft+plotWide/2, belowPlot+30, c.across)
	var points []string
	for i := range c.at {
		points = append(points, fmt.Sprintf("%.1f,%.1f", x(c.at[i]), y(c.cost[i])))
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="3" fill="#1f5fa8"/>`+"\n", x(c.at[i]), y(c.cost[i]))
	}
	fmt.Fprintf(&b, `<polyline points="%s" fill="none" stroke="#1f5fa8" stroke-width="2"/>`+"\n", strings.Join(points, " "))
	return b.String() + c.inStep(x, y, top)
}

// inStep draws, dashed, what the first figure would become if it grew in step.
func (c *curve) inStep(x, y func(float64) float64, top float64) string {
	last := math.Min(c.at[len(c.at)-1], c.at[0]*math.Pow(10, top)/c.cost[0])
	return fmt.Sprintf(`<path d="M%.1f %.1fL%.1f %.1f" stroke="#999999" stroke-dasharray="4 4"/>`+"\n",
		x(c.at[0]), y(c.cost[0]), x(last), y(c.cost[0]*last/c.at[0]))
}
