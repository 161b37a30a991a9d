package circuit

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Closed forms. Expected values take the leak of 1e-12 S into account where it
// could show; elsewhere it is below what is checked.

func TestSeriesAndParallel(t *testing.T) {
	for i := range uint64(100) {
		rng := rand.New(rand.NewPCG(lawSeed, i))
		n := 1 + rng.IntN(20)
		series, parallel := &mesh{nodes: n}, &mesh{nodes: 1}
		sum, inverse := 0.0, 0.0
		for k := range n {
			ohms := 1e-3 * math.Pow(1e7, rng.Float64())
			series.add(k, k-1, ohms)
			parallel.add(0, -1, ohms)
			sum, inverse = sum+ohms, inverse+1/ohms
		}
		series.factor()
		parallel.factor()
		near(t, "series", series.between(n-1, -1), sum, float64(n)*sum*leak+1e-14) // as far as the leaks let it
		near(t, "parallel", parallel.between(0, -1), 1/(inverse+leak), 1e-13)
		if t.Failed() {
			t.Fatalf("seed %d,%d", lawSeed, i)
		}
	}
}

// A ladder of one-ohm rungs and rails looks like the golden ratio from its end;
// a complete graph of n nodes has 2/n of one resistance between any two.
func TestLadderAndCompleteGraph(t *testing.T) {
	const rungs = 40
	ladder := &mesh{nodes: rungs}
	for k := range rungs {
		ladder.add(k, -1, 1)
		if k > 0 {
			ladder.add(k-1, k, 1)
		}
	}
	ladder.add(rungs-1, -1, 1)
	ladder.factor()
	near(t, "ladder", 1+ladder.between(0, -1), math.Phi, 1e-9)
	for n := 3; n < 12; n++ {
		graph := &mesh{nodes: n - 1}
		for a := range n {
			for b := range a {
				graph.add(a-1, b-1, 7)
			}
		}
		graph.factor()
		near(t, "complete graph", graph.between(0, 1), 2*7/float64(n), 1e-10)
		near(t, "complete graph", graph.between(0, -1), 2*7/float64(n), 1e-10)
	}
}

// A balanced bridge has no volts across its middle, whatever stands there.
func TestBalancedBridge(t *testing.T) {
	for _, middle := range []float64{1e-3, 1, 1e6} {
		bridge := &mesh{nodes: 3}
		bridge.add(0, 1, 10)
		bridge.add(1, -1, 20)
		bridge.add(0, 2, 1000)
		bridge.add(2, -1, 2000)
		bridge.add(1, 2, middle)
		bridge.factor()
		v := bridge.solve(bridge.one(0))
		if diff := math.Abs(v[1] - v[2]); diff > 1e-8*v[1] {
			t.Errorf("%g ohms in the middle: %g V across it", middle, diff)
		}
	}
}

// A milliohm beside a gigaohm: nine digits of the smaller voltage, of the larger
// one, and of what is in parallel, stay.
func TestExtremeRatios(t *testing.T) {
	const milli, giga = 1e-3, 1e9
	divider := &mesh{nodes: 2}
	divider.add(0, 1, giga)
	divider.add(1, -1, milli)
	divider.factor()
	v := divider.solve(divider.one(0))
	near(t, "divided down", v[1]/v[0], milli/(giga+milli), 1e-12)

	parallel := &mesh{nodes: 1}
	parallel.add(0, -1, milli)
	parallel.add(0, -1, giga)
	parallel.factor()
	near(t, "in parallel", parallel.between(0, -1), 1/(1/milli+1/giga+leak), 1e-15)

	// A source of 1 A through a milliohm into a chain of gigaohms and milliohms:
	// each milliohm drops what the chain's current says.
	const links = 6
	chain := &mesh{nodes: 2 * links}
	for k := range links {
		chain.add(2*k, 2*k-1, giga)
		chain.add(2*k+1, 2*k, milli)
	}
	chain.factor()
	want := chain.dense(chain.one(2*links - 1))
	for n, got := range chain.solve(chain.one(2*links - 1)) {
		near(t, "chain", got, want[n], 1e-12)
	}
	// The drop across a milliohm with a gigaohm on both sides, read as the
	// resistance between its ends, is the milliohm.
	near(t, "a milliohm among gigaohms", chain.between(1, 0), milli, 1e-9)
}
