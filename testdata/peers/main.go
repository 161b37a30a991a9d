// Command peers plays the same generated rule sets with Coilside's firing engine and with
// other ways to evaluate rules, and prints what each takes and the ratios to Coilside.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"runtime"
	"strings"
	"time"
)

func main() {
	pause := flag.Duration("time", 500*time.Millisecond, "how long to repeat each measure")
	only := flag.String("only", "", "comma-separated names, or parts of them: only these peers")
	limit := flag.Duration("limit", 3*time.Minute, "how long an engine may take for one rule set before it is cut short")
	work := flag.String("alone", "", "for the command itself: plays one engine")
	most := flag.Int("rules", 10_000, "the largest rule set to play")
	curves := flag.String("growth", "", "instead of the table, write the cost by number of rules as SVG to this file")
	flag.Parse()
	run := func() error { return table(os.Stdout, *pause, *limit, *only, *most) }
	if *work != "" {
		run = func() error { return playAlone(*work) }
	} else if *curves != "" {
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
func table(w io.Writer, pause, limit time.Duration, only string, most int) error {
	fmt.Fprintf(w, "%s, %s/%s, %d processors, %s\n\n", time.Now().Format("2006-01-02"), runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), runtime.Version())
	measured := map[int]map[string]figures{}
	cut := map[string]int{} // by engine: rules of the set at which it was cut short
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
		for i, s := range subjects() {
			if i > 0 && !wanted(s.name, only) || cut[s.name] > 0 {
				continue
			}
			out, err := alone(task{i, size, pause, limit})
			switch {
			case errors.Is(err, errMissing):
				fmt.Fprintf(os.Stderr, "%s is left out\n", s.name)
				continue
			case errors.Is(err, errTooLong):
				fmt.Fprintf(os.Stderr, "%s, %d rules: cut short after %v\n", s.name, size, limit)
				cut[s.name] = size
				continue
			case err != nil:
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
				r.print(w, size, list, measured[size], cut)
			}
		}
	}
	if len(cut) > 0 {
		fmt.Fprintf(w, "\nA dash: not through its plan of that many rules, or of fewer, in %v. Load when it ended: %s", limit, load())
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

// load tells how busy the machine is, where it says so.
func load() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "unknown\n"
	}
	return string(text)
}

func (r row) print(w io.Writer, size int, list []subject, measured map[string]figures, cut map[string]int) {
	fmt.Fprintf(w, "| %s | %d |", r.title, size)
	own := r.of(measured[list[0].name])
	for i, s := range list {
		v := r.of(measured[s.name])
		switch {
		case v == 0 && cut[s.name] > 0 && cut[s.name] <= size:
			fmt.Fprint(w, " — |")
		case v == 0:
			fmt.Fprint(w, " |")
		case i == 0:
			fmt.Fprintf(w, " %s |", r.unit(v))
		default:
			fmt.Fprintf(w, " %s (%s ×) |", r.unit(v), multiple(v/own))
		}
	}
	fmt.Fprintln(w)
}

// multiple writes a ratio with three digits that count.
func multiple(v float64) string {
	if v < 1000 {
		return fmt.Sprintf("%.3g", v)
	}
	unit := math.Pow(10, math.Floor(math.Log10(v))-2)
	return fmt.Sprintf("%.0f", math.Round(v/unit)*unit)
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
