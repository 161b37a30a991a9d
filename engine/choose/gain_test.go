package choose

import (
	"math"
	"math/rand/v2"
	"testing"
)

const (
	seed  = 1847
	tries = 400
)

// entropy of a distribution, bits: the definition, written apart from the code.
func entropy(p []float64) float64 {
	bits := 0.0
	for _, x := range p {
		if x > 0 {
			bits -= x * math.Log2(x)
		}
	}
	return bits
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// Closed forms of mutual information (Cover and Thomas, Elements of Information
// Theory, ch. 7, from memory; each follows from the definition in a line).
func TestGainClosedForms(t *testing.T) {
	for _, e := range []float64{0, 0.01, 0.11, 0.3, 0.5} {
		symmetric := [][]float64{{1 - e, e}, {e, 1 - e}}
		near(t, "a test wrong one time in 1/e, even prior", Gain([]float64{0.5, 0.5}, symmetric), 1-entropy([]float64{e, 1 - e}), 1e-12)

		prior := []float64{0.7, 0.2, 0.1}
		erasing := [][]float64{{1 - e, 0, 0, e}, {0, 1 - e, 0, e}, {0, 0, 1 - e, e}}
		near(t, "a test that fails to answer", Gain(prior, erasing), (1-e)*entropy(prior), 1e-12)
	}
	for n := 2; n <= 64; n *= 2 {
		prior, sharp := make([]float64, n), make([][]float64, n)
		for h := range n {
			prior[h] = 1 / float64(n)
			sharp[h] = make([]float64, n)
			sharp[h][h] = 1
		}
		near(t, "a test that tells everything", Gain(prior, sharp), math.Log2(float64(n)), 1e-12)
	}
	halves := [][]float64{{1, 0}, {1, 0}, {0, 1}, {0, 1}}
	near(t, "a test that halves four", Gain([]float64{0.25, 0.25, 0.25, 0.25}, halves), 1, 1e-12)
	near(t, "nothing to ask", Gain(nil, nil), 0, 0)
}

// problem draws a prior and an outcome table, with zeros among the chances.
func problem(rng *rand.Rand) (prior []float64, outcomes [][]float64) {
	n, m := 1+rng.IntN(12), 1+rng.IntN(9)
	prior = distribution(rng, n)
	for range n {
		outcomes = append(outcomes, distribution(rng, m))
	}
	return prior, outcomes
}

func distribution(rng *rand.Rand, n int) []float64 {
	p, sum := make([]float64, n), 0.0
	for sum == 0 {
		for i := range p {
			p[i] = 0
			if rng.Float64() < 0.8 {
				p[i] = math.Exp(6 * rng.NormFloat64())
			}
			sum += p[i]
		}
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

func problems(t *testing.T, check func(t *testing.T, rng *rand.Rand, prior []float64, outcomes [][]float64)) {
	t.Helper()
	for i := range uint64(tries) {
		rng := rand.New(rand.NewPCG(seed, i))
		prior, outcomes := problem(rng)
		check(t, rng, prior, outcomes)
		if t.Failed() {
			t.Fatalf("seed %d,%d: prior %v outcomes %v", seed, i, prior, outcomes)
		}
	}
}

// The gain is what the entropy is expected to fall by, at least 0, at most the
// entropy there is and at most what the outcomes can carry.
func TestGainIsExpectedFallOfEntropy(t *testing.T) {
	problems(t, func(t *testing.T, _ *rand.Rand, prior []float64, outcomes [][]float64) {
		gain, left, sum := Gain(prior, outcomes), 0.0, 0.0
		for o := range outcomes[0] {
			after, chance := Posterior(prior, outcomes, o)
			left += chance * entropy(after)
			sum += chance
		}
		near(t, "chances", sum, 1, 1e-12)
		near(t, "gain", gain, entropy(prior)-left, 1e-9)
		if gain < 0 || gain > entropy(prior)+1e-9 || gain > math.Log2(float64(len(outcomes[0])))+1e-9 {
			t.Errorf("gain %g with %g bits to learn from %d outcomes", gain, entropy(prior), len(outcomes[0]))
		}
	})
}

func TestUninformativeGainsNothing(t *testing.T) {
	problems(t, func(t *testing.T, _ *rand.Rand, prior []float64, outcomes [][]float64) {
		for h := range outcomes {
			outcomes[h] = outcomes[0]
		}
		near(t, "gain", Gain(prior, outcomes), 0, 1e-9)
	})
}

// The order of hypotheses and of outcomes does not matter.
func TestGainDoesNotDependOnOrder(t *testing.T) {
	problems(t, func(t *testing.T, rng *rand.Rand, prior []float64, outcomes [][]float64) {
		p, q := make([]float64, len(prior)), make([][]float64, len(prior))
		hs, os := rng.Perm(len(prior)), rng.Perm(len(outcomes[0]))
		for i, h := range hs {
			p[i], q[i] = prior[h], make([]float64, len(os))
			for j, o := range os {
				q[i][j] = outcomes[h][o]
			}
		}
		near(t, "gain", Gain(p, q), Gain(prior, outcomes), 1e-9)
	})
}

// Looking less closely never tells more: neither with outcomes taken together
// nor with hypotheses taken together.
func TestTakingTogetherTellsNoMore(t *testing.T) {
	problems(t, func(t *testing.T, rng *rand.Rand, prior []float64, outcomes [][]float64) {
		gain := Gain(prior, outcomes)
		coarse := make([][]float64, len(outcomes))
		into := make([]int, len(outcomes[0]))
		for o := range into {
			into[o] = rng.IntN(1 + len(into)/2)
		}
		for h := range coarse {
			coarse[h] = make([]float64, len(into))
			for o, x := range outcomes[h] {
				coarse[h][into[o]] += x
			}
		}
		if g := Gain(prior, coarse); g > gain+1e-9 {
			t.Errorf("%g bits from outcomes taken together, %g from each apart", g, gain)
		}
		classes := 1 + rng.IntN(len(prior))
		class := make([]int, len(prior))
		for h := range class {
			class[h] = rng.IntN(classes)
		}
		p, q := Merge(prior, outcomes, class, classes)
		sum := 0.0
		for c := range p {
			sum += p[c]
			if p[c] == 0 {
				q[c] = make([]float64, len(outcomes[0])) // a class of nothing
			}
		}
		near(t, "class priors", sum, 1, 1e-12)
		if g := Gain(p, q); g > gain+1e-9 {
			t.Errorf("%g bits about the class, %g about the hypothesis", g, gain)
		}
	})
}

// Two tests that err apart tell at least what the better one does and at most
// the sum of both.
func TestTwoTestsTogether(t *testing.T) {
	problems(t, func(t *testing.T, rng *rand.Rand, prior []float64, first [][]float64) {
		second, both := make([][]float64, len(prior)), make([][]float64, len(prior))
		m := 1 + rng.IntN(6)
		for h := range prior {
			second[h] = distribution(rng, m)
			for _, x := range first[h] {
				for _, y := range second[h] {
					both[h] = append(both[h], x*y)
				}
			}
		}
		a, b, ab := Gain(prior, first), Gain(prior, second), Gain(prior, both)
		if ab < math.Max(a, b)-1e-9 || ab > a+b+1e-9 {
			t.Errorf("%g and %g bits apart, %g together", a, b, ab)
		}
	})
}

// A posterior is a distribution in proportion to prior times chance.
func TestPosterior(t *testing.T) {
	problems(t, func(t *testing.T, rng *rand.Rand, prior []float64, outcomes [][]float64) {
		o := rng.IntN(len(outcomes[0]))
		after, chance := Posterior(prior, outcomes, o)
		sum := 0.0
		for h, p := range after {
			sum += p
			near(t, "posterior", p*chance, prior[h]*outcomes[h][o], 1e-12)
		}
		if chance > 0 {
			near(t, "sum", sum, 1, 1e-12)
		}
	})
	after, chance := Posterior([]float64{0.5, 0.5}, [][]float64{{1, 0}, {1, 0}}, 1)
	if chance != 0 || after[0] != 0 || after[1] != 0 {
		t.Errorf("an outcome that can't be leaves %v at chance %g", after, chance)
	}
}
