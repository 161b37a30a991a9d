// Command growth measures how cost grows with how much there is of suspects, tests, draws,
// rules that a reading touches, jobs and clients, and how far the main figures are from the
// least that any program could take. It writes a report and its drawing:
//
//	go run ./testdata/growth
//
// What runs in this process alone is measured in processor time, which other work on the
// machine does not lengthen; what waits for a disk or a connection by the clock.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"
)

func main() {
	folder := flag.String("to", "testdata/growth", "folder for report.md and growth.svg")
	repeat := flag.Int("repeat", 7, "how often each point is measured; the median counts")
	flag.Parse()
	if err := run(*folder, *repeat); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(folder string, repeat int) error {
	var curves []*curve
	for _, measure := range []func(int) (*curve, error){touched, suspects, tests, draws, jobs, clients} {
		c, err := measure(repeat)
		if err != nil {
			return err
		}
		fmt.Fprintf(os.Stderr, "%s by %s: done\n", c.title, c.across)
		curves = append(curves, c)
	}
	floors, err := floors(repeat)
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(folder, "growth.svg"), []byte(sheet(curves)), 0o644); err != nil {
		return err
	}
	text := report(curves, floors)
	fmt.Print(text)
	return os.WriteFile(filepath.Join(folder, "report.md"), []byte(text), 0o644)
}

func report(curves []*curve, floors []floor) string {
	var b strings.Builder
	b.WriteString("# How cost grows, and how far it is from the least\n\nWritten by `go run ./testdata/growth`. ")
	fmt.Fprintf(&b, "%s, %s/%s, %d processors, %s, load before: %s.\n\n", time.Now().Format("2006-01-02"), runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), runtime.Version(), load())
	b.WriteString("![Six charts with logarithmic axes; a dashed line is growth in step](growth.svg)\n\n")
	b.WriteString("\"Slope\" is the power by which cost grows over the last three points: 1 is in step with what stands above, 0 not at all. By the number of rules: `testdata/peers`. What is by the clock (jobs, clients, calls) is rough where the load exceeds the processors.\n\n")
	for _, c := range curves {
		fmt.Fprintf(&b, "%s\n%s Slope %.2f.\n\n", c.table(), c.note, c.slope())
	}
	b.WriteString("## The least possible\n\n| | takes | the least | takes | times |\n| --- | --- | --- | --- | --- |\n")
	for _, f := range floors {
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %.3g |\n", f.what, brief(f.took), f.least, brief(f.takes), float64(f.took)/float64(f.takes))
	}
	return b.String()
}

func brief(d time.Duration) string {
	switch {
	case d < time.Millisecond:
		return fmt.Sprintf("%.3g µs", float64(d)/1e3)
	case d < time.Second:
		return fmt.Sprintf("%.3g ms", float64(d)/1e6)
	}
	return fmt.Sprintf("%.3g s", d.Seconds())
}

func load() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "unknown"
	}
	return strings.Join(strings.Fields(string(text))[:3], " ")
}

// ms is milliseconds as a number for a chart.
func ms(d time.Duration) float64 { return float64(d) / 1e6 }

func median(of []time.Duration) time.Duration {
	slices.Sort(of)
	return of[len(of)/2]
}

// byClock gives the median of what something takes by the clock.
func byClock(repeat int, do func() error) (time.Duration, error) { return warm(repeat, clock, do) }

// byProcessor gives the median of the processor time that something takes.
func byProcessor(repeat int, do func() error) (time.Duration, error) {
	return warm(repeat, processor, do)
}

// warm leaves the first time out: caches are filled by it.
func warm(repeat int, now func() time.Duration, do func() error) (time.Duration, error) {
	if err := do(); err != nil {
		return 0, err
	}
	return timed(repeat, now, func(int) (func() error, error) { return do, nil })
}

// timed gives the median of what each preparation gives to do takes; preparing is not counted.
func timed(repeat int, now func() time.Duration, prepare func(round int) (do func() error, err error)) (time.Duration, error) {
	var took []time.Duration
	for round := range repeat {
		do, err := prepare(round)
		if err != nil {
			return 0, err
		}
		before := now()
		if err := do(); err != nil {
			return 0, err
		}
		took = append(took, now()-before)
	}
	return median(took), nil
}

var begin = time.Now()

func clock() time.Duration { return time.Since(begin) }

// processor is the processor time that this process has used.
func processor() time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		panic(err) // it knows no failure but a bad argument
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
