// Package choose works out what a test is worth: what its outcomes would do to
// the ranking, for the minutes it takes. It knows probabilities, not circuits.
package choose

import "math"

// Gain is the information a test is expected to give about which hypothesis
// holds, in bits >= 0: the mutual information between hypothesis and outcome.
// prior sums to 1 over the hypotheses; outcomes[h][o] is the chance of outcome o
// under hypothesis h and sums to 1 over o.
func Gain(prior []float64, outcomes [][]float64) float64 {
	if len(outcomes) == 0 {
		return 0
	}
	total := make([]float64, len(outcomes[0]))
	nats := 0.0
	for h, p := range prior {
		own := 0.0
		last, lastLog := 0.0, 0.0
		for o, q := range outcomes[h] {
			total[o] += p * q
			if q <= 0 {
				continue
			}
			if q != last { // most outcomes share the floor of a wrong reading
				last, lastLog = q, math.Log(q)
			}
			own += q * lastLog
		}
		nats += p * own
	}
	last, lastLog := 0.0, 0.0
	for _, q := range total {
		if q <= 0 {
			continue
		}
		if q != last {
			last, lastLog = q, math.Log(q)
		}
		nats -= q * lastLog
	}
	return math.Max(nats/math.Ln2, 0)
}

// Merge sums hypotheses of one class, such as those that one repair mends:
// class[h] counts from 0 to classes-1. It returns the class priors and outcomes.
func Merge(prior []float64, outcomes [][]float64, class []int, classes int) ([]float64, [][]float64) {
	p := make([]float64, classes)
	q := make([][]float64, classes)
	for h, c := range class {
		p[c] += prior[h]
		if q[c] == nil {
			q[c] = make([]float64, len(outcomes[h]))
		}
		for o, x := range outcomes[h] {
			q[c][o] += prior[h] * x
		}
	}
	for c := range q {
		for o := range q[c] {
			if p[c] > 0 {
				q[c][o] /= p[c]
			}
		}
	}
	return p, q
}

// Posterior is the hypotheses' probability after an outcome, and the chance of
// that outcome.
func Posterior(prior []float64, outcomes [][]float64, outcome int) (after []float64, chance float64) {
	after = make([]float64, len(prior))
	for h, p := range prior {
		after[h] = p * outcomes[h][outcome]
		chance += after[h]
	}
	for h := range after {
		if chance > 0 {
			after[h] /= chance
		}
	}
	return after, chance
}
