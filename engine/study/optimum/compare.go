package optimum

import (
	"fmt"
	"io"
	"math/rand/v2"
)

// Compared is how a policy did over many problems.
type Compared struct {
	ID          string
	Mean, Worst float64 // cost over the optimum's
	Total       float64 // summed minutes over the optimum's
	Optimal     float64 // share of problems solved at the optimum's cost
}

// Compare holds policies against the optimum on n problems from a seed.
func Compare(policies []Named, n int, seed uint64) []Compared {
	out := make([]Compared, len(policies))
	minutes := make([]float64, len(policies))
	sum := 0.0
	for i := range n {
		p := New(rand.New(rand.NewPCG(seed, uint64(i))))
		best := Optimum(p)
		sum += best
		for k, named := range policies {
			cost := Cost(p, named.Policy())
			c := &out[k]
			c.ID = named.ID
			c.Mean += cost / best / float64(n)
			c.Worst = max(c.Worst, cost/best)
			minutes[k] += cost
			if cost < best*(1+1e-9) {
				c.Optimal += 1 / float64(n)
			}
		}
	}
	for k := range out {
		out[k].Total = minutes[k] / sum
	}
	return out
}

// Table prints how policies did.
func Table(w io.Writer, all []Compared) {
	fmt.Fprintf(w, "%-28s %11s %11s %7s %8s\n", "policy", "mean ratio", "all minutes", "worst", "optimal")
	for _, c := range all {
		fmt.Fprintf(w, "%-28s %11.4f %11.4f %7.3f %6.1f %%\n", c.ID, c.Mean, c.Total, c.Worst, 100*c.Optimal)
	}
}

// NoisyTable prints how policies did on problems whose tests err.
func NoisyTable(w io.Writer, all []Compared) {
	fmt.Fprintf(w, "%-28s %s\n", "policy, tests that err", "all minutes, over those of the last")
	for _, c := range all {
		fmt.Fprintf(w, "%-28s %11.4f\n", c.ID, c.Total)
	}
}
