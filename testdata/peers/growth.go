package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"
)

// curve is what one measure of one engine costs by number of rules.
type curve struct {
	title  string
	colour string
	of     func(figures) float64
	points map[int]float64 // seconds by number of rules
}

var growthSizes = []int{100, 300, 1_000, 3_000, 10_000, 30_000}

// growth measures Coilside and the bare loop at rising numbers of rules, prints a table and
// draws it. A changed fact is read by two of a hundred rules, so that what it touches grows
// with the rules; the chain of links is twenty rules whatever stands beside it.
func growth(w io.Writer, pause time.Duration, file string) error {
	var curves []*curve
	for i, s := range subjects()[:2] {
		own := []*curve{
			{s.name + ": loading everything", []string{"#1f5fa8", "#8aa4c0"}[i], func(f figures) float64 { return f.load }, map[int]float64{}},
			{s.name + ": one changed fact", []string{"#2a7d46", "#93b89f"}[i], func(f figures) float64 { return f.change }, map[int]float64{}},
			{s.name + ": chain of 20 restored", []string{"#b3541e", "#d0a78f"}[i], func(f figures) float64 { return f.restore }, map[int]float64{}},
		}
		for _, size := range growthSizes {
			p := newPlan(size)
			p.pause = pause
			out, err := s.run(p)
			if err != nil {
				return fmt.Errorf("%s, %d rules: %w", s.name, size, err)
			}
			for _, c := range own {
				c.points[size] = c.of(out.figures)
			}
		}
		curves = append(curves, own...)
	}
	growthTable(w, curves)
	return os.WriteFile(file, []byte(drawing(curves)), 0o644)
}

func growthTable(w io.Writer, curves []*curve) {
	fmt.Fprint(w, "| rules |")
	for _, size := range growthSizes {
		fmt.Fprintf(w, " %d |", size)
	}
	fmt.Fprintf(w, "\n| --- |%s\n", strings.Repeat(" --- |", len(growthSizes)))
	for _, c := range curves {
		fmt.Fprintf(w, "| %s |", c.title)
		for _, size := range growthSizes {
			fmt.Fprintf(w, " %s |", duration(c.points[size]))
		}
		fmt.Fprintln(w)
	}
}

// The drawing's axes are logarithmic: decades of rules across, decades of seconds upwards.
const (
	left, top, width, height = 60.0, 20.0, 420.0, 320.0
	fewest, most             = 2.0, 4.5   // powers of ten: rules
	quickest, slowest        = -7.0, -1.0 // powers of ten: seconds
)

func across(rules float64) float64 {
	return left + width*(math.Log10(rules)-fewest)/(most-fewest)
}

func down(seconds float64) float64 {
	return top + height*(slowest-math.Log10(seconds))/(slowest-quickest)
}

func drawing(curves []*curve) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 780 390" font-family="sans-serif" font-size="12" role="img">`+"\n")
	b.WriteString("<title>Cost by number of rules</title>\n<rect width=\"780\" height=\"390\" fill=\"#ffffff\"/>\n")
	for power := quickest; power <= slowest; power++ {
		y := down(math.Pow(10, power))
		fmt.Fprintf(&b, `<path d="M%.0f %.1fh%.0f" stroke="#dddddd"/><text x="%.0f" y="%.1f" text-anchor="end">%s</text>`+"\n",
			left, y, width, left-6, y+4, duration(math.Pow(10, power)))
	}
	for _, size := range growthSizes {
		x := across(float64(size))
		fmt.Fprintf(&b, `<path d="M%.1f %.0fv%.0f" stroke="#dddddd"/><text x="%.1f" y="%.0f" text-anchor="middle">%d</text>`+"\n",
			x, top, height, x, top+height+18, size)
	}
	fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" text-anchor="middle">rules</text>`+"\n", left+width/2, top+height+38)
	for i, c := range curves {
		var points []string
		for _, size := range growthSizes {
			points = append(points, fmt.Sprintf("%.1f,%.1f", across(float64(size)), down(c.points[size])))
		}
		dash := ""
		if i >= len(curves)/2 {
			dash = ` stroke-dasharray="5 4"`
		}
		fmt.Fprintf(&b, `<polyline points="%s" fill="none" stroke="%s" stroke-width="2"%s/>`+"\n", strings.Join(points, " "), c.colour, dash)
		y := top + 14 + 20*float64(i)
		fmt.Fprintf(&b, `<path d="M%.0f %.0fh24" stroke="%s" stroke-width="2"%s/><text x="%.0f" y="%.0f">%s</text>`+"\n",
			left+width+14, y-4, c.colour, dash, left+width+44, y, c.title)
	}
	return b.String() + "</svg>\n"
}
