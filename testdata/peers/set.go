package main

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// Shape of every generated rule set, whatever its size.
const (
	numbers = 100 // facts that are given
	depth   = 8   // rules in a chain
	links   = 20  // rules in the chain that is taken back and restored
)

// comparison compares a given number with a constant, or with another given number.
type comparison struct {
	number   int
	op       string // > or <
	constant float64
	other    int // the other number, or -1
}

// rule sets a flag as long as its condition holds: the flag before it in its chain, if there
// is one, and all or any of its comparisons.
type rule struct {
	after       int // flag, or -1 at the head of a chain
	any         bool
	comparisons []comparison
	sets        int // flag; each flag has one rule
	level       int
}

// ruleSet is what every engine gets in its own language. Flag i is set by rule i.
type ruleSet struct {
	rules []rule
}

// start is the number that alone feeds the first rule of the chain of links.
const start = numbers

// generate makes so many rules in chains: the last `links` of them form one chain, the others
// chains of eight. Most comparisons hold for most values, so that chains go deep; one rule in
// ten compares two numbers.
func generate(count int, seed uint64) ruleSet {
	r := rand.New(rand.NewPCG(seed, 1))
	var s ruleSet
	for i := range count - links {
		s.rules = append(s.rules, drawRule(r, i, i%depth))
	}
	for i := range links {
		s.rules = append(s.rules, linkRule(len(s.rules), i))
	}
	return s
}

func drawRule(r *rand.Rand, flag, level int) rule {
	out := rule{after: -1, sets: flag, level: level}
	if level > 0 {
		out.after = flag - 1
	}
	if r.IntN(10) == 0 {
		a := r.IntN(numbers)
		out.comparisons = []comparison{{number: a, op: ">", other: (a + 1 + r.IntN(numbers-1)) % numbers}}
		return out
	}
	for range 1 + r.IntN(2) {
		c := comparison{number: r.IntN(numbers), op: ">", constant: round(25 * r.Float64()), other: -1}
		if r.IntN(2) == 0 {
			c.op, c.constant = "<", round(75+25*r.Float64())
		}
		out.comparisons = append(out.comparisons, c)
	}
	out.any = len(out.comparisons) == 2 && r.IntN(2) == 0
	return out
}

func linkRule(flag, level int) rule {
	if level == 0 {
		return rule{after: -1, sets: flag, comparisons: []comparison{{number: start, op: ">", constant: 50, other: -1}}}
	}
	return rule{after: flag - 1, sets: flag, level: level,
		comparisons: []comparison{{number: level % numbers, op: "<", constant: 101, other: -1}}}
}

// round keeps two decimals, so that every language writes the same number.
func round(v float64) float64 { return float64(int(v*100)) / 100 }

// values draws what is given at first, the start of the chain of links included.
func values(seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 2))
	out := make([]float64, numbers+1)
	for i := range out {
		out[i] = round(100 * r.Float64())
	}
	out[start] = 75
	return out
}

// change gives one number another value.
type change struct {
	number int
	value  float64
}

// changes draws numbers and new values for them, each from the whole range.
func changes(count int, seed uint64) []change {
	r := rand.New(rand.NewPCG(seed, 3))
	out := make([]change, count)
	for i := range out {
		out[i] = change{r.IntN(numbers), round(100 * r.Float64())}
	}
	return out
}

func numberName(i int) string { return fmt.Sprintf("n%d", i) }
func flagName(i int) string   { return fmt.Sprintf("f%d", i) }

// written gives a comparison in the notation that most languages share; fact says how
// the language names a number.
func (c comparison) written(fact func(int) string) string {
	if c.other >= 0 {
		return fmt.Sprintf("%s %s %s", fact(c.number), c.op, fact(c.other))
	}
	return fmt.Sprintf("%s %s %.2f", fact(c.number), c.op, c.constant)
}

// condition writes a whole condition with a language's words for `and` and `or`.
func (r rule) condition(and, or string, flag, fact func(int) string) string {
	var parts []string
	for _, c := range r.comparisons {
		parts = append(parts, c.written(fact))
	}
	join := and
	if r.any {
		join = or
	}
	out := strings.Join(parts, join)
	if r.after < 0 {
		return out
	}
	if r.any {
		out = "(" + out + ")"
	}
	return flag(r.after) + and + out
}

// derive is what the rules mean, in the plainest code: which flags are set for these
// numbers. Rules stand in the order of their chains, so one pass is enough.
func (s ruleSet) derive(given []float64) []bool {
	out := make([]bool, len(s.rules))
	for _, r := range s.rules {
		all, some := true, false
		for _, c := range r.comparisons {
			right := c.constant
			if c.other >= 0 {
				right = given[c.other]
			}
			holds := given[c.number] > right
			if c.op == "<" {
				holds = given[c.number] < right
			}
			all, some = all && holds, some || holds
		}
		holds := all || r.any && some
		out[r.sets] = holds && (r.after < 0 || out[r.after])
	}
	return out
}
