// Command peers plays the same generated rule sets with Coilside's firing engine and with
// other ways to evaluate rules, and prints what each takes and the ratios to Coilside.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"time"
)

func main() {
	pause := flag.Duration("time", 500*time.Millisecond, "how long to repeat each measure")
	only := flag.String("only", "", "comma-separated names, or parts of them: only these peers")
	most := flag.Int("rules", 10_000, "the largest rule set to play")
	curves := flag.String("growth", "", "instead of the table, write the cost by number of rules as SVG to this file")
	flag.Parse()
	run := func() error { return table(os.Stdout, *pause, *only, *most) }
	if *curves != "" {
		run = func() error { return growth(os.Stdout, *pause, *curves) }
	}
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

var sizes = []int{100, 1_000, 10_000}

// row is one measure as the table shows it.
type row struct {
	title string
	of    func(figures) float64
	unit  func(float64) string
	sizes []int
}

var rows = []row{
	{"loading everything", func(f figures) float64 { return f.load }, duration, sizes},
	{"one changed fact", func(f figures) float64 { return f.change }, duration, sizes},
	{"a 20-rule chain taken back and restored", func(f figures) float64 { return f.restore }, duration, sizes},
	{"compiling", func(f figures) float64 { return f.compile }, duration, []int{10_000}},
	{"bytes a working memory", func(f figures) float64 { return f.bytes }, kilobytes, []int{memoryRules}},
}

// table plays every size with every engine, Coilside first, and prints one line for each
// measure and size: what Coilside takes, and how many times that the others take.
func table(w io.Writer, pause time.Duration, only string, most int) error {
	fmt.Fprintf(w, "%s, %s/%s, %d processors, %s\n\n", time.Now().Format("2006-01-02"), runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), runtime.Version())
	measured := map[int]map[string]figures{}
	var list []subject
	for i, s := range subjects() {
		if i == 0 || wanted(s.name, only) {
			list = append(list, s)
		}
	}
	for _, size := range sizes {
		if size > most {
			continue
		}
		measured[size] = map[string]figures{}
		p := newPlan(size)
		p.pause = pause
		for _, s := range list {
			out, err := s.run(p)
			if errors.Is(err, errMissing) {
				fmt.Fprintf(os.Stderr, "%s is left out: %v\n", s.name, err)
				continue
			}
			if err != nil {
				return fmt.Errorf("%s, %d rules: %w", s.name, size, err)
			}
			if at := differs(p.expected(), out.states); at >= 0 {
				return fmt.Errorf("%s, %d rules: other facts than the rules mean at step %d", s.name, size, at)
			}
			measured[size][s.name] = out.figures
			fmt.Fprintf(os.Stderr, "%s, %d rules: done\n", s.name, size)
		}
	}
	header(w, list)
	for _, r := range rows {
		for _, size := range r.sizes {
			if size <= most {
				r.print(w, size, list, measured[size])
			}
		}
	}
	return nil
}

func wanted(name, only string) bool {
	for part := range strings.SplitSeq(only, ",") {
		if strings.Contains(name, part) {
			return true
		}
	}
	return false
}

// differs gives the first step at which states differ, or -1.
func differs(want, got []state) int {
	for i := range want {
		if i >= len(got) || want[i].String() != got[i].String() {
			return i
		}
	}
	return -1
}

func header(w io.Writer, list []subject) {
	fmt.Fprint(w, "| | rules |")
	for _, s := range list {
		fmt.Fprintf(w, " %s |", s.name)
	}
	fmt.Fprintf(w, "\n| --- | --- |%s\n", strings.Repeat(" --- |", len(list)))
}

func (r row) print(w io.Writer, size int, list []subject, measured map[string]figures) {
	fmt.Fprintf(w, "| %s | %d |", r.title, size)
	own := r.of(measured[list[0].name])
	for i, s := range list {
		v := r.of(measured[s.name])
		switch {
		case v == 0:
			fmt.Fprint(w, " |")
		case i == 0:
			fmt.Fprintf(w, " %s |", r.unit(v))
		default:
			fmt.Fprintf(w, " %s (%.3g ×) |", r.unit(v), v/own)
		}
	}
	fmt.Fprintln(w)
}

func duration(seconds float64) string {
	switch {
	case seconds < 1e-3:
		return fmt.Sprintf("%.3g µs", seconds*1e6)
	case seconds < 1:
		return fmt.Sprintf("%.3g ms", seconds*1e3)
	}
	return fmt.Sprintf("%.3g s", seconds)
}

func kilobytes(bytes float64) string { return fmt.Sprintf("%.1f kB", bytes/1000) }
