package choose

import (
	"math"
	"slices"
)

// Options are the tests at hand and what is believed, for choosing the one from
// which the repair is fewest expected minutes away.
type Options struct {
	Prior   []float64                    // by hypothesis, sums to 1
	Class   []int                        // by hypothesis: those of one class are mended by one repair, from 0; nil = each by its own
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
	a := newAhead(o)
	now := &belief{p: o.Prior, of: make([]int, len(o.Prior))}
	for h := range now.of {
		now.of[h] = h
	}
	_, edges := a.edges(now, a.always)
	for t := range o.Parts {
		out[t] = math.Inf(1)
		if (o.First == 0 || t < o.First) && a.cut(now, edges, t) > noCut*edges {
			a.left = stepsMost
			out[t] = a.after(now, t, -1, 0)
		}
	}
	return out
}

// belief is what is believed at one point of an imagined course: the hypotheses that are left
// and how likely each is.
type belief struct {
	p  []float64
	of []int
}

// take leaves in b what an outcome leaves of another belief, not normalised, and gives the outcome's chance.
func (b *belief) take(from *belief, outcome []float64) (chance float64) {
	b.p, b.of = b.p[:0], append(b.of[:0], from.of...)
	for i, h := range from.of {
		x := from.p[i] * outcome[h]
		b.p = append(b.p, x)
		chance += x
	}
	return chance
}

// settle makes probabilities of weights and drops what hardly counts.
func (b *belief) settle(sum float64) {
	n, kept := 0, 0.0
	for i, p := range b.p {
		if p /= sum; p >= foreseen {
			b.p[n], b.of[n] = p, b.of[i]
			n++
			kept += p
		}
	}
	b.p, b.of = b.p[:n], b.of[:n]
	for i := range b.p {
		b.p[i] /= kept
	}
}

// ahead is one imagined course of a diagnosis.
type ahead struct {
	*Options
	rows   [][][]float64 // by test, outcome, hypothesis: chance
	always []float64     // by hypothesis: 1, what is sure to be seen
	takes  []float64     // by test done before, from -1 on, and test: minutes; NaN = not asked for yet
	used   []bool
	left   int // steps that may still be imagined

	classes []float64 // scratch, by class
	next    []*belief // scratch, by depth: what is believed after an outcome
}

func newAhead(o *Options) *ahead {
	a := &ahead{Options: o, used: make([]bool, len(o.Parts)), rows: make([][][]float64, len(o.Parts)),
		always: slices.Repeat([]float64{1}, len(o.Prior)), takes: slices.Repeat([]float64{math.NaN()}, (len(o.Parts)+1)*len(o.Parts))}
	if o.Class != nil {
		a.classes = make([]float64, slices.Max(o.Class)+1)
	}
	for t, parts := range o.Parts {
		a.rows[t] = make([][]float64, len(parts[0]))
		for outcome := range a.rows[t] {
			row := make([]float64, len(parts))
			for h := range row {
				row[h] = parts[h][outcome]
			}
			a.rows[t][outcome] = row
		}
	}
	return a
}

// minutes are those of Options, each asked for once.
func (a *ahead) minutes(from, test int) float64 {
	m := &a.takes[(from+1)*len(a.Parts)+test]
	if math.IsNaN(*m) {
		*m = a.Minutes(from, test)
	}
	return *m
}

// after is the expected minutes of a test and of all that follows it.
func (a *ahead) after(now *belief, test, from, depth int) float64 {
	minutes := a.minutes(from, test)
	a.used[test] = true
	if depth == len(a.next) {
		a.next = append(a.next, new(belief))
	}
	next := a.next[depth]
	for _, outcome := range a.rows[test] {
		chance := next.take(now, outcome)
		if chance < 1e-3 {
			continue
		}
		next.settle(chance)
		minutes += chance * a.toGo(next, test, depth+1)
	}
	a.used[test] = false
	return minutes
}

// toGo is the expected minutes to the repair when the test that cuts most a minute
// is always next.
func (a *ahead) toGo(now *belief, from, depth int) float64 {
	if a.known(now) || depth >= deepest || a.left <= 0 {
		return 0
	}
	a.left--
	_, edges := a.edges(now, a.always)
	best, at := 0.0, -1
	for t := range a.Parts {
		if a.used[t] {
			continue
		}
		if cut := a.cut(now, edges, t); cut > noCut*edges {
			if rate := cut / a.minutes(from, t); rate > best {
				best, at = rate, t
			}
		}
	}
	if at < 0 {
		return 0
	}
	return a.after(now, at, from, depth)
}

// known reports whether one class is sure enough.
func (a *ahead) known(now *belief) bool {
	if a.Class == nil {
		return slices.Max(now.p) >= a.Enough
	}
	clear(a.classes)
	for i, h := range now.of {
		a.classes[a.Class[h]] += now.p[i]
	}
	return slices.Max(a.classes) >= a.Enough
}

// edges is the chance of an outcome and the weight that it leaves of all pairs of hypotheses of
// different classes.
func (a *ahead) edges(now *belief, outcome []float64) (chance, edges float64) {
	same := 0.0
	if a.Class == nil {
		for i, h := range now.of {
			x := now.p[i] * outcome[h]
			chance += x
			same += x * x
		}
		return chance, (chance*chance - same) / 2
	}
	clear(a.classes)
	for i, h := range now.of {
		x := now.p[i] * outcome[h]
		chance += x
		a.classes[a.Class[h]] += x
	}
	for _, x := range a.classes {
		same += x * x
	}
	return chance, (chance*chance - same) / 2
}

// cut is the weight of the edges that a test is expected to cut.
func (a *ahead) cut(now *belief, edges float64, test int) float64 {
	cut := edges
	for _, outcome := range a.rows[test] {
		chance, left := a.edges(now, outcome)
		cut -= chance * left
	}
	return cut
}
