package optimum

import (
	"math"
	"math/rand/v2"
	"testing"
)

// exhaustive is the optimum found without memory, set by set: an oracle for tiny
// problems.
func exhaustive(p *Problem, left Set, at int) float64 {
	if p.Done(left) {
		return 0
	}
	best := math.Inf(1)
	for t := range p.Says {
		parts := p.Split(t, left)
		if len(parts) < 2 {
			continue
		}
		cost := p.Own[t] + p.Change[at][p.Setup[t]]
		for _, part := range parts {
			cost += p.Weight(part) / p.Weight(left) * exhaustive(p, part, p.Setup[t])
		}
		best = min(best, cost)
	}
	return best
}

func TestOptimumIsTheLeast(t *testing.T) {
	for i := range uint64(20) {
		p := New(rand.New(rand.NewPCG(5, i)))
		p.Says, p.Own, p.Setup = p.Says[:min(7, len(p.Says))], p.Own[:min(7, len(p.Own))], p.Setup[:min(7, len(p.Setup))]
		if !p.separable() {
			continue
		}
		want := exhaustive(p, p.All(), 0)
		if got := Optimum(p); math.Abs(got-want) > 1e-9 {
			t.Errorf("problem %d: %g, by trying everything %g", i, got, want)
		}
	}
}

// With n equally likely repairs and tests that each take a minute and halve, the
// optimum is log2 n minutes; a change of setup is charged once, however many tests
// are done in it.
func TestClosedForms(t *testing.T) {
	p := &Problem{Change: [][]float64{{0, 7}, {7, 0}}}
	for f := range 8 {
		p.Prior, p.Class = append(p.Prior, 0.125), append(p.Class, f)
	}
	for bit := range 3 {
		says := make([]int, 8)
		for f := range says {
			says[f] = f >> bit & 1
		}
		p.Says, p.Own, p.Setup = append(p.Says, says), append(p.Own, 1), append(p.Setup, 1)
	}
	if got := Optimum(p); math.Abs(got-10) > 1e-12 {
		t.Errorf("three halvings after one change of setup: %g minutes, want 10", got)
	}
}

// No policy beats the optimum, and looking ahead does better than not.
func TestPoliciesAgainstTheOptimum(t *testing.T) {
	all := Compare(Policies, 100, 1)
	for _, c := range all {
		if c.Mean < 1-1e-9 {
			t.Errorf("%s beats the optimum: %g", c.ID, c.Mean)
		}
	}
	by := map[string]Compared{}
	for _, c := range all {
		by[c.ID] = c
	}
	if ahead, greedy := by["look-ahead over EC2"].Mean, by["EC2 per minute"].Mean; ahead >= greedy || ahead > 1.02 {
		t.Errorf("look-ahead %g, greedy %g", ahead, greedy)
	}
	if own := by["as the assistant chooses"].Mean; own > 1.02 {
		t.Errorf("the assistant's own choice takes %g times the optimum", own)
	}
}

// What is believed is the prior times the likelihood; every policy comes to an end.
func TestNoisy(t *testing.T) {
	n := &Noisy{New(rand.New(rand.NewPCG(9, 9))), 0.1}
	for test := range n.Says {
		sum, back := 0.0, make([]float64, len(n.Prior))
		for o := range n.outcomes(test) {
			next, chance := n.after(n.Prior, test, o)
			sum += chance
			for f := range back {
				back[f] += chance * next[f]
			}
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Errorf("test %d: chances sum to %g", test, sum)
		}
		for f := range back {
			if math.Abs(back[f]-n.Prior[f]) > 1e-12 {
				t.Errorf("test %d, fault %d: on average %g is believed, want the prior %g", test, f, back[f], n.Prior[f])
			}
		}
	}
	all := CompareNoisy(NoisyPolicies[:3], 5, 2)
	for _, c := range all {
		if c.Total < 0.5 || c.Total > 2 {
			t.Errorf("%s takes %g times the minutes of another way to look ahead", c.ID, c.Total)
		}
	}
}
