package pinout

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The oracle: a relay of five pins as 120 arrangements with three things that may lie
// across the coil, written without any of the code it judges. role[p] is the terminal
// at pin p.
type fact struct {
	role   [5]string
	across string
}

func allFacts() []fact {
	var out []fact
	var place func(role [5]string, left []string, at int)
	place = func(role [5]string, left []string, at int) {
		if at == 5 {
			for _, across := range []string{"none", "resistor", "diode"} {
				out = append(out, fact{role, across})
			}
			return
		}
		for i, r := range left {
			role[at] = r
			place(role, slices.Delete(slices.Clone(left), i, i+1), at+1)
		}
	}
	place([5]string{}, []string{"30", "85", "86", "87", "87a"}, 0)
	return out
}

// sees gives what a perfect technician reads. Reading number 0 to 9: ohms between two
// pins at rest; then 20 of the limited supply, plus first; then 60 of ohms beside an
// energised coil. allowed is false where power would go to anything but the coil, or
// unlimited through its diode.
func (f fact) sees(n int) (shown string, allowed bool) {
	x, y, plus, minus := oracleReading(n)
	pair := func(a, b string) bool {
		return f.role[x] == a && f.role[y] == b || f.role[x] == b && f.role[y] == a
	}
	diode := f.across == "diode"
	switch {
	case n < 10:
		switch {
		case pair("85", "86"):
			return "coil", true
		case pair("30", "87a"):
			return "closed", true
		}
		return "open", true
	case n < 30:
		if !pair("85", "86") {
			return "-", false
		}
		if diode && f.role[x] == "85" {
			return "diode", true
		}
		return "coil", true
	}
	coil := f.role[plus] == "86" && f.role[minus] == "85" || f.role[plus] == "85" && f.role[minus] == "86"
	if !coil || diode && f.role[minus] == "86" {
		return "-", false
	}
	if pair("30", "87") {
		return "closed", true
	}
	return "open", true
}

var oracleList = func() (out [][4]int) {
	for x := range 5 {
		for y := x + 1; y < 5; y++ {
			out = append(out, [4]int{x, y, -1, -1})
		}
	}
	for x := range 5 {
		for y := range 5 {
			if x != y {
				out = append(out, [4]int{x, y, -1, -1})
			}
		}
	}
	for plus := range 5 {
		for minus := range 5 {
			for x := range 5 {
				for y := x + 1; y < 5; y++ {
					if plus != minus && x != plus && x != minus && y != plus && y != minus {
						out = append(out, [4]int{x, y, plus, minus})
					}
				}
			}
		}
	}
	return out
}()

func oracleReading(n int) (x, y, plus, minus int) {
	r := oracleList[n]
	return r[0], r[1], r[2], r[3]
}

// same: nothing can tell these facts apart. A resistor is not told by a meter that does
// not know the coil, and without a diode the coil's ends are alike.
func (f fact) same(g fact) bool {
	if (f.across == "diode") != (g.across == "diode") {
		return false
	}
	for p := range 5 {
		a, b := f.role[p], g.role[p]
		coils := (a == "85" || a == "86") && (b == "85" || b == "86")
		if a != b && (f.across == "diode" || !coils) {
			return false
		}
	}
	return true
}

// optimum is the least mean number of readings, by dynamic programming over the sets of
// facts that can be left.
func optimum(facts []fact) float64 {
	type key [6]uint64
	of := func(set []int) (k key) {
		for _, i := range set {
			k[i/64] |= 1 << (i % 64)
		}
		return k
	}
	known := map[key]float64{}
	var solve func(set []int) float64
	solve = func(set []int) float64 {
		done := true
		for _, i := range set[1:] {
			done = done && facts[set[0]].same(facts[i])
		}
		if done {
			return 0
		}
		k := of(set)
		if v, ok := known[k]; ok {
			return v
		}
		best := math.Inf(1)
		for n := range oracleList {
			parts := map[string][]int{}
			mayAsk := true
			for _, i := range set {
				shown, allowed := facts[i].sees(n)
				if !allowed {
					mayAsk = false
					break
				}
				parts[shown] = append(parts[shown], i)
			}
			if !mayAsk || len(parts) < 2 {
				continue
			}
			cost := 1.0
			for _, shown := range []string{"open", "closed", "coil", "diode"} {
				if part := parts[shown]; len(part) > 0 {
					cost += float64(len(part)) / float64(len(set)) * solve(part)
				}
			}
			best = min(best, cost)
		}
		known[k] = best
		return best
	}
	all := make([]int, len(facts))
	for i := range all {
		all[i] = i
	}
	return solve(all)
}

// The plan is the exact optimum over all 120 arrangements with nothing, a resistor or a
// diode across the coil.
func TestPlanIsTheOptimum(t *testing.T) {
	want := optimum(allFacts())
	p := newPlanner(guesses(5, changeover, "unknown"), 5)
	got := p.plan(p.all()).expected
	t.Logf("exact optimum over 360 relays: %.4f readings; planned: %.4f", want, got)
	assert.InDelta(t, want, got, 1e-9)
	for across, told := range map[string][]string{"none": {"none"}, "diode": {"diode"}} {
		var some []fact
		for _, f := range allFacts() {
			if slices.Contains(told, f.across) {
				some = append(some, f)
			}
		}
		p := newPlanner(guesses(5, changeover, across), 5)
		want, got := optimum(some), p.plan(p.all()).expected
		t.Logf("%s told: optimum %.4f, planned %.4f", across, want, got)
		assert.InDelta(t, want, got, 1e-9)
	}
}

func BenchmarkPlanFromScratch(b *testing.B) {
	for range b.N {
		p := newPlanner(guesses(5, changeover, "unknown"), 5)
		p.plan(p.all())
	}
}
