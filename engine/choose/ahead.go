package choose

import (
	"math"
	"slices"
)

// Options are the tests at hand and what is believed, for choosing the one from
// which the repair is fewest expected minutes away.
type Options struct {
	Prior   []float64                    // by hypothesis, sums to 1
	Class   []int                        // by hypothesis: those of one class are mended by one repair, from 0
	Parts   [][][]float64                // by test, hypothesis, outcome: chance, sums to 1 over outcomes
	Minutes func(from, test int) float64 // from the test done before, -1 = from where one stands now; > 0
	First   int                          // how many tests, the first, may come next; the others may follow; 0 = all
	Enough  float64                      // probability of a class from which on it is taken as known, 0..1
}

// How far ahead is looked.
const (
	foreseen  = 0.003 // posterior probability below which a hypothesis is left out of what may follow
	deepest   = 12    // tests in a row
	stepsMost = 120   // choices imagined for each test that might be next
	noCut     = 1e-6  // of what is still to be told apart: a test that cuts less is not worth doing
)

// ToRepair is, by test, how many minutes the repair is expected to be away if that
// test comes next and the test that cuts most a minute comes after every outcome
// from then on (a rollout, Tesauro and Galperin 1996, over the equivalence class edge
// cutting of Golovin, Krause and Ray, "Near-optimal Bayesian active learning with
// noisy observations", 2010). Where nothing can be told apart any more the minutes
// end; a test that tells nothing is +Inf.
func ToRepair(o *Options) []float64 {
	out := make([]float64, len(o.Parts))
	a := ahead{Options: o, used: make([]bool, len(o.Parts)), part: make([]float64, len(o.Prior)),
		classes: make([]float64, slices.Max(o.Class)+1)}
	edges := a.edges(o.Prior)
	for t := range o.Parts {
		out[t] = math.Inf(1)
		if (o.First == 0 || t < o.First) && a.cut(o.Prior, edges, t) > noCut*edges {
			a.left = stepsMost
			out[t] = a.after(o.Prior, t, -1, 0)
		}
	}
	return out
}

// ahead is one imagined course of a diagnosis.
type ahead struct {
	*Options
	used []bool
	left int // steps that may still be imagined

	part, classes []float64 // scratch, by hypothesis and by class
}

// after is the expected minutes of a test and of all that follows it.
func (a *ahead) after(belief []float64, test, from, depth int) float64 {
	minutes := a.Minutes(from, test)
	a.used[test] = true
	for o := range a.Parts[test][0] {
		next := make([]float64, len(belief))
		chance := 0.0
		for h, p := range belief {
			next[h] = p * a.Parts[test][h][o]
			chance += next[h]
		}
		if chance < 1e-3 {
			continue
		}
		a.settle(next, chance)
		minutes += chance * a.toGo(next, test, depth+1)
	}
	a.used[test] = false
	return minutes
}

// settle makes probabilities of weights and drops what hardly counts.
func (a *ahead) settle(belief []float64, sum float64) {
	kept := 0.0
	for h := range belief {
		if belief[h] /= sum; belief[h] < foreseen {
			belief[h] = 0
		}
		kept += belief[h]
	}
	for h := range belief {
		belief[h] /= kept
	}
}

// toGo is the expected minutes to the repair when the test that cuts most a minute
// is always next.
func (a *ahead) toGo(belief []float64, from, depth int) float64 {
	if a.known(belief) || depth >= deepest || a.left <= 0 {
		return 0
	}
	a.left--
	edges := a.edges(belief)
	best, at := 0.0, -1
	for t := range a.Parts {
		if a.used[t] {
			continue
		}
		if cut := a.cut(belief, edges, t); cut > noCut*edges {
			if rate := cut / a.Minutes(from, t); rate > best {
				best, at = rate, t
			}
		}
	}
	if at < 0 {
		return 0
	}
	return a.after(belief, at, from, depth)
}

// known reports whether one class is sure enough.
func (a *ahead) known(belief []float64) bool {
	clear(a.classes)
	most := 0.0
	for h, p := range belief {
		a.classes[a.Class[h]] += p
		most = max(most, a.classes[a.Class[h]])
	}
	return most >= a.Enough
}

// edges is the weight of all pairs of hypotheses of different classes.
func (a *ahead) edges(belief []float64) float64 {
	clear(a.classes)
	whole, same := 0.0, 0.0
	for h, p := range belief {
		whole += p
		a.classes[a.Class[h]] += p
	}
	for _, p := range a.classes {
		same += p * p
	}
	return (whole*whole - same) / 2
}

// cut is the weight of the edges that a test is expected to cut.
func (a *ahead) cut(belief []float64, edges float64, test int) float64 {
	cut := edges
	parts := a.Parts[test]
	for o := range parts[0] {
		chance := 0.0
		for h, p := range belief {
			a.part[h] = p * parts[h][o]
			chance += a.part[h]
		}
		if chance > 0 {
			cut -= chance * a.edges(a.part)
		}
	}
	return cut
}
