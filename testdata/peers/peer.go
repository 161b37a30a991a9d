package main

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"time"
)

// plan says how much to run. One plan is played by every engine of a comparison.
type plan struct {
	set     ruleSet
	given   []float64
	changes []change
	shown   int // changes after which the derived facts are told
	pause   time.Duration
	context context.Context // ends the programs that a plan starts
}

func newPlan(rules int) plan {
	return plan{set: generate(rules, 1), given: values(1), changes: changes(200, 1), shown: 20, pause: 300 * time.Millisecond, context: context.Background()}
}

// state is the set of derived flags, by flag.
type state []bool

func (s state) String() string {
	var out []int
	for i, on := range s {
		if on {
			out = append(out, i)
		}
	}
	return fmt.Sprint(out)
}

// expected gives the states of a plan: loaded, after each shown change, with the chain's
// start taken back, and with it restored.
func (p plan) expected() []state {
	given := slices.Clone(p.given)
	out := []state{p.set.derive(given)}
	for _, c := range p.changes[:p.shown] {
		given[c.number] = c.value
		out = append(out, p.set.derive(given))
	}
	given[start] = 0 // the first link reads it as above 50 or not
	out = append(out, p.set.derive(given))
	given[start] = p.given[start]
	return append(out, p.set.derive(given))
}

// figures are seconds, but for Bytes. Zero is "not measured".
type figures struct {
	compile float64 // all rules, from the engine's own text
	load    float64 // an empty working memory, then all that is given at once
	change  float64 // one changed number
	restore float64 // the start of the chain of links taken back and given again
	bytes   float64 // a loaded working memory over rules that are compiled already
}

// outcome is what one engine did with a plan.
type outcome struct {
	figures
	states []state
}

// subject is one engine of the comparison.
type subject struct {
	name string
	// run plays a plan. It gives errMissing when what it needs is not installed.
	run func(plan) (outcome, error)
	// slow engines are spared the most rules in the quick checks.
	slow bool
}

func subjects() []subject {
	return []subject{
		{"Coilside", inProcess(compileCoilside), false},
		{"bare loop", inProcess(compileBare), false},
		{"naive loop", inProcess(compileNaive), false},
		{"CLIPS", runCLIPS, false},
		{"grule-rule-engine", inProcess(compileGrule), true},
		{"json-rules-engine", runNode, true},
	}
}

// book is a compiled rule set of an engine that runs in this process.
type book interface {
	// inputs writes what is given as the engine takes it, which is no part of loading.
	inputs(given []float64) any
	open() memory
}

// memory is one working memory. It is at its fixpoint after every call.
type memory interface {
	load(inputs any)
	change(number int, value float64)
	takeBack(number int)
	flags() state
}

// inProcess plays a plan with an engine in Go.
func inProcess(compile func(ruleSet) (func() (book, error), error)) func(plan) (outcome, error) {
	return func(p plan) (outcome, error) {
		var out outcome
		ready, err := compile(p.set)
		if err != nil {
			return out, err
		}
		var b book
		out.compile = median(p.pause, func() {
			if err == nil {
				b, err = ready()
			}
		})
		if err != nil {
			return out, err
		}
		out.states = show(p, b)
		inputs := b.inputs(p.given)
		out.load = median(p.pause, func() { b.open().load(inputs) })
		m := b.open()
		m.load(inputs)
		next := 0
		out.change = median(p.pause, func() {
			c := p.changes[next%len(p.changes)]
			m.change(c.number, c.value)
			next++
		})
		out.restore = median(p.pause, func() {
			m.takeBack(start)
			m.change(start, p.given[start])
		})
		if len(p.set.rules) == memoryRules && p.pause > 0 {
			out.bytes = bytesEach(p.pause, b, p.given)
		}
		return out, nil
	}
}

func show(p plan, b book) []state {
	m := b.open()
	m.load(b.inputs(p.given))
	out := []state{m.flags()}
	for _, c := range p.changes[:p.shown] {
		m.change(c.number, c.value)
		out = append(out, m.flags())
	}
	m.takeBack(start)
	out = append(out, m.flags())
	m.change(start, p.given[start])
	return append(out, m.flags())
}

// At least so long runs between two looks at the clock: long enough for the clock to cost
// nothing, short enough that most samples are not interrupted on a busy machine.
const sample = 100 * time.Microsecond

// median runs something again and again during the pause, at least five times, and gives the
// median of what it took, in seconds. Without a pause it runs once.
func median(pause time.Duration, run func()) float64 {
	if pause == 0 {
		run()
		return 0
	}
	const least = 5
	runtime.GC()
	batch := 1
	var took []float64
	for begin := time.Now(); len(took) < least || time.Since(begin) < pause; {
		before := time.Now()
		for range batch {
			run()
		}
		spent := time.Since(before)
		if spent < sample {
			batch *= 2
			took = nil
			continue
		}
		took = append(took, spent.Seconds()/float64(batch))
		if tooSlow(begin, pause) { // to be run five times
			break
		}
	}
	return middle(took)
}

// tooSlow says whether far more time has passed than was to be spent.
func tooSlow(begin time.Time, pause time.Duration) bool { return time.Since(begin) > 20*pause }

// At memoryRules rules, up to so many working memories are held at once to weigh one.
const (
	memoryRules = 1_000
	memories    = 1_000
)

// bytesEach holds fewer where opening takes long: an engine that copies all its rules into each
// would fill the machine.
func bytesEach(pause time.Duration, b book, given []float64) float64 {
	held := make([]memory, 0, memories)
	inputs := b.inputs(given)
	before := heap()
	for begin := time.Now(); len(held) < memories && !tooSlow(begin, pause); {
		m := b.open()
		m.load(inputs)
		held = append(held, m)
	}
	after := heap()
	runtime.KeepAlive(held)
	return float64(after-before) / float64(len(held))
}

func heap() uint64 {
	runtime.GC()
	runtime.GC() // what finalizers and pools held goes with the second
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

func middle(of []float64) float64 {
	if len(of) == 0 {
		return 0
	}
	slices.Sort(of)
	return of[len(of)/2]
}
