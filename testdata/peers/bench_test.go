//go:build unix

package main

import (
	"fmt"
	"runtime"
	"slices"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// compared are the engines that run in this process and stand any number of rules.
var compared = []struct {
	name    string
	compile func(ruleSet) (func() (book, error), error)
}{{"Coilside", compileCoilside}, {"bare", compileBare}}

// The benchmarks are for comparing two states of this tree with benchstat; the table holds
// engines against each other.

func BenchmarkRestore(b *testing.B) {
	onLoaded(b, 1_000, func(b *testing.B, p plan, m memory) {
		for b.Loop() {
			m.takeBack(start)
			m.change(start, p.given[start])
		}
	})
}

func BenchmarkChange(b *testing.B) {
	for _, rules := range []int{1_000, 10_000} {
		onLoaded(b, rules, func(b *testing.B, p plan, m memory) {
			for i := 0; b.Loop(); i++ {
				c := p.changes[i%len(p.changes)]
				m.change(c.number, c.value)
			}
		})
	}
}

// onLoaded runs on a loaded memory of each engine.
func onLoaded(b *testing.B, rules int, run func(*testing.B, plan, memory)) {
	p := newPlan(rules)
	for _, e := range compared {
		b.Run(fmt.Sprintf("%s/%d", e.name, rules), func(b *testing.B) {
			ready, err := e.compile(p.set)
			require.NoError(b, err)
			book, err := ready()
			require.NoError(b, err)
			m := book.open()
			m.load(book.inputs(p.given))
			onProcessor(b, func() { run(b, p, m) })
		})
	}
}

func BenchmarkCompile(b *testing.B) {
	p := newPlan(10_000)
	for _, e := range compared {
		b.Run(fmt.Sprintf("%s/%d", e.name, len(p.set.rules)), func(b *testing.B) {
			ready, err := e.compile(p.set)
			require.NoError(b, err)
			b.ReportAllocs()
			onProcessor(b, func() {
				for b.Loop() {
					_, err := ready()
					require.NoError(b, err)
				}
			})
		})
	}
}

// BenchmarkCompileRatio compiles with both in turns, so that what else the machine does meets
// both alike, and reports how many times the loop's processor time Coilside takes.
func BenchmarkCompileRatio(b *testing.B) {
	p := newPlan(10_000)
	var ready [2]func() (book, error)
	for i, e := range compared {
		var err error
		ready[i], err = e.compile(p.set)
		require.NoError(b, err)
	}
	var took [2][]float64
	for b.Loop() {
		for i := range ready {
			runtime.GC() // none sweeps what the other left
			before := processor(b)
			_, err := ready[i]()
			require.NoError(b, err)
			took[i] = append(took[i], float64(processor(b)-before))
		}
	}
	b.ReportMetric(middle(took[0])/middle(took[1]), "times-bare")
	b.ReportMetric(slices.Min(took[0])/slices.Min(took[1]), "least-times-bare")
}

// onProcessor reports processor time as well: on a busy machine the clock measures the others.
func onProcessor(b *testing.B, run func()) {
	before := processor(b)
	run()
	b.ReportMetric(float64(processor(b)-before)/float64(b.N), "cpu-ns/op")
}

func processor(b *testing.B) int64 {
	var used syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &used))
	return used.Utime.Nano() + used.Stime.Nano()
}
