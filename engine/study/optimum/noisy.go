package optimum

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Noisy is a problem whose tests err: one in so many answers is another one. A test
// may be done again, and errs anew. No optimum can be worked out; policies are held
// against one that is given far more computing.
type Noisy struct {
	*Problem
	Wrong float64 // chance that an answer is wrong, 0..1
}

// When a noisy job ends.
const (
	sureAt    = 0.95 // probability of one repair
	mostSteps = 60
)

// NoisyPolicy picks the next test by what is believed of each fault.
type NoisyPolicy func(n *Noisy, belief []float64, at int) (test int)

// outcomes is how many answers a test has.
func (n *Noisy) outcomes(test int) int {
	most := 1
	for _, o := range n.Says[test] {
		most = max(most, o)
	}
	return most + 1
}

// after is the belief after an answer, and the chance of that answer.
func (n *Noisy) after(belief []float64, test, outcome int) (next []float64, chance float64) {
	next = make([]float64, len(belief))
	other := n.Wrong / float64(n.outcomes(test)-1)
	for f, b := range belief {
		if n.Says[test][f] == outcome {
			next[f] = b * (1 - n.Wrong)
		} else {
			next[f] = b * other
		}
		chance += next[f]
	}
	for f := range next {
		next[f] /= chance
	}
	return next, chance
}

// sure reports whether one repair is probable enough.
func (n *Noisy) sure(belief []float64) bool {
	classes := make([]float64, len(belief)+1)
	for f, b := range belief {
		if classes[n.Class[f]] += b; classes[n.Class[f]] >= sureAt {
			return true
		}
	}
	return false
}

// run is the minutes a policy takes with a truth. The errors of a test's nth answer
// follow from the seed, so that policies meet the same ones.
func (n *Noisy) run(policy NoisyPolicy, belief []float64, at, truth int, seed uint64) float64 {
	minutes, done := 0.0, map[int]uint64{}
	for step := 0; step < mostSteps && !n.sure(belief); step++ {
		t := policy(n, belief, at)
		minutes += n.Minutes(t, at)
		at = n.Setup[t]
		done[t]++
		belief, _ = n.after(belief, t, n.answer(t, truth, rand.NewPCG(seed, uint64(t)<<32|done[t])))
	}
	return minutes
}

func (n *Noisy) answer(test, truth int, source rand.Source) int {
	rng := rand.New(source)
	is := n.Says[test][truth]
	if rng.Float64() < n.Wrong {
		is = (is + 1 + rng.IntN(n.outcomes(test)-1)) % n.outcomes(test)
	}
	return is
}

// NoisyNamed is a noisy policy with a name.
type NoisyNamed struct {
	ID     string
	Policy NoisyPolicy
}

// NoisyPolicies are ways to choose; the last has a hundred times the computing of the
// others and more, and is what they are held against.
var NoisyPolicies = []NoisyNamed{
	{"gain per minute, repairs", perMinuteNoisy(uncertainty)},
	{"EC2 per minute", perMinuteNoisy(pairs)},
	{"look-ahead, errors ignored", sureAhead},
	{"rollouts of EC2", rollout},
}

// perMinuteNoisy takes the test that is expected to lower a measure of doubt most a
// minute.
func perMinuteNoisy(doubt func(n *Noisy, belief []float64) float64) NoisyPolicy {
	return func(n *Noisy, belief []float64, at int) int {
		now := doubt(n, belief)
		return n.leastNoisy(func(t int) float64 {
			left := 0.0
			for o := range n.outcomes(t) {
				next, chance := n.after(belief, t, o)
				left += chance * doubt(n, next)
			}
			return -(now - left) / n.Minutes(t, at)
		})
	}
}

func (n *Noisy) leastNoisy(score func(test int) float64) int {
	best, at := math.Inf(1), 0
	for t := range n.Says {
		if s := score(t); n.outcomes(t) > 1 && s < best {
			best, at = s, t
		}
	}
	return at
}

func (n *Noisy) classes(belief []float64) []float64 {
	classes := make([]float64, len(belief)+1)
	for f, b := range belief {
		classes[n.Class[f]] += b
	}
	return classes
}

// uncertainty is the entropy of the repair, bits.
func uncertainty(n *Noisy, belief []float64) float64 {
	bits := 0.0
	for _, x := range n.classes(belief) {
		if x > 0 {
			bits -= x * math.Log2(x)
		}
	}
	return bits
}

// pairs is the weight of the pairs of faults with different repairs.
func pairs(n *Noisy, belief []float64) float64 {
	same := 0.0
	for _, x := range n.classes(belief) {
		same += x * x
	}
	return (1 - same) / 2
}

// liveMass is the probability that the faults hold between them which the look-ahead
// takes to be left; more than it takes to be sure, so that two repairs are among them.
const liveMass = 0.98

// sureAhead takes the test that the look-ahead over EC2 takes where no test errs, with
// the faults that hold nearly all of the belief.
func sureAhead(n *Noisy, belief []float64, at int) int {
	p := *n.Problem
	p.Prior = belief
	return lookAhead()(&p, n.live(belief), at)
}

// live is the fewest faults that hold liveMass between them.
func (n *Noisy) live(belief []float64) Set {
	order := make([]int, len(belief))
	for f := range order {
		order[f] = f
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(belief[b], belief[a]) })
	left, mass := Set(0), 0.0
	for _, f := range order {
		if mass < liveMass {
			left |= 1 << f
			mass += belief[f]
		}
	}
	return left
}

// rollouts is how many futures the policy with much computing plays for each test.
const rollouts = 200

// rollout takes the test that does best over many played futures in which EC2 per
// minute chooses.
func rollout(n *Noisy, belief []float64, at int) int {
	follow := perMinuteNoisy(pairs)
	return n.leastNoisy(func(t int) float64 {
		sum := 0.0
		for i := range uint64(rollouts) {
			rng := rand.New(rand.NewPCG(i, 77)) // the same futures for each test
			truth, upTo := 0, rng.Float64()
			for f, b := range belief {
				if truth = f; upTo < b {
					break
				}
				upTo -= b
			}
			next, _ := n.after(belief, t, n.answer(t, truth, rand.NewPCG(i, uint64(t)<<32)))
			sum += n.Minutes(t, at) + n.run(follow, next, n.Setup[t], truth, i)
		}
		return sum
	})
}

// CompareNoisy holds policies against the last of them: a ratio of summed minutes
// over n problems, each met with several truths.
func CompareNoisy(policies []NoisyNamed, problems int, seed uint64) []Compared {
	const truths = 8
	total := make([]float64, len(policies))
	for i := range problems {
		rng := rand.New(rand.NewPCG(seed, uint64(i)+1<<40))
		n := &Noisy{New(rng), 0.02 + 0.08*rng.Float64()}
		for run := range uint64(truths) {
			truth, upTo := 0, (float64(run)+0.5)/truths // the truths in proportion to their prior
			for f, b := range n.Prior {
				if truth = f; upTo < b {
					break
				}
				upTo -= b
			}
			for k, p := range policies {
				total[k] += n.run(p.Policy, n.Prior, 0, truth, run+uint64(i)<<8)
			}
		}
	}
	out := make([]Compared, len(policies))
	for k, p := range policies {
		ratio := total[k] / total[len(policies)-1]
		out[k] = Compared{ID: p.ID, Total: ratio}
	}
	return out
}
