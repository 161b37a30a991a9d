package optimum

import (
	"math"

	"coilside/engine/choose"
)

// Policy picks the next test with so much left, standing in a setup. It has to pick
// one that parts what is left.
type Policy func(p *Problem, left Set, at int) (test int)

// Named is a policy with a name.
type Named struct {
	ID     string
	Policy func() Policy // a fresh one for each problem, so that it may remember
}

// place is what a policy's cost depends on.
type place struct {
	left Set
	at   int
}

// Cost is the minutes that a policy is expected to take to the repair.
func Cost(p *Problem, policy Policy) float64 {
	return costs{p, policy, map[place]float64{}}.of(p.All(), 0)
}

type costs struct {
	p      *Problem
	policy Policy
	known  map[place]float64
}

// of is the expected minutes from a place on, given that the fault is in the set.
func (c costs) of(left Set, at int) float64 {
	if c.p.Done(left) {
		return 0
	}
	here := place{left, at}
	if known, ok := c.known[here]; ok {
		return known
	}
	cost := c.by(c.policy(c.p, left, at), left, at)
	c.known[here] = cost
	return cost
}

// by is the expected minutes when the next test is given.
func (c costs) by(test int, left Set, at int) float64 {
	cost, whole := c.p.Minutes(test, at), c.p.Weight(left)
	for _, part := range c.p.Split(test, left) {
		if part == left {
			return math.Inf(1) // it tells nothing: no policy may go round in circles
		}
		cost += c.p.Weight(part) / whole * c.of(part, c.p.Setup[test])
	}
	return cost
}

// Optimum is the least expected minutes that any policy takes, by dynamic programming
// over what can be left and where one can stand.
func Optimum(p *Problem) float64 {
	var c costs
	c = costs{p, func(p *Problem, left Set, at int) int {
		return least(p, left, func(test int) float64 { return c.by(test, left, at) })
	}, map[place]float64{}}
	return c.of(p.All(), 0)
}

// least is the test with the least score among those that part what is left.
func least(p *Problem, left Set, score func(test int) float64) int {
	best, at := math.Inf(1), -1
	for t := range p.Says {
		if len(p.Split(t, left)) < 2 {
			continue
		}
		if s := score(t); at < 0 || s < best {
			best, at = s, t
		}
	}
	return at
}

// Policies are well-known ways to choose.
var Policies = []Named{
	{"gain, costs ignored", func() Policy {
		return func(p *Problem, left Set, _ int) int {
			return least(p, left, func(t int) float64 { return -p.gain(t, left, false) })
		}
	}},
	{"gain per minute", func() Policy { return perMinute(func(p *Problem, t int, s Set) float64 { return p.gain(t, s, false) }) }},
	{"gain per minute, repairs", func() Policy { return perMinute(func(p *Problem, t int, s Set) float64 { return p.gain(t, s, true) }) }},
	{"EC2 per minute", func() Policy { return perMinute((*Problem).cut) }},
	{"look-ahead over EC2", lookAhead},
	{"as the assistant chooses", assistant},
}

func perMinute(worth func(p *Problem, test int, left Set) float64) Policy {
	return func(p *Problem, left Set, at int) int {
		return least(p, left, func(t int) float64 { return -worth(p, t, left) / p.Minutes(t, at) })
	}
}

// gain is the information in bits that a test gives about which fault it is, or which
// repair.
func (p *Problem) gain(test int, left Set, repairs bool) float64 {
	gain := p.entropy(left, repairs)
	for _, part := range p.Split(test, left) {
		gain -= p.Weight(part) / p.Weight(left) * p.entropy(part, repairs)
	}
	return gain
}

func (p *Problem) entropy(s Set, repairs bool) float64 {
	shares := map[int]float64{}
	whole := p.Weight(s)
	var order []int
	for f := range p.Prior {
		if s>>f&1 == 0 {
			continue
		}
		is := f
		if repairs {
			is = p.Class[f]
		}
		if _, ok := shares[is]; !ok {
			order = append(order, is)
		}
		shares[is] += p.Prior[f] / whole
	}
	bits := 0.0
	for _, is := range order {
		bits -= shares[is] * math.Log2(shares[is])
	}
	return bits
}

// edges is the weight of all pairs of faults of different classes: what is still to be
// told apart (Golovin, Krause and Ray, "Near-optimal Bayesian active learning with
// noisy observations", 2010).
func (p *Problem) edges(s Set) float64 {
	whole, same := 0.0, 0.0
	classes := make([]float64, len(p.Prior)+1)
	for f, x := range p.Prior {
		if s>>f&1 == 1 {
			whole += x
			classes[p.Class[f]] += x
		}
	}
	for _, x := range classes {
		same += x * x
	}
	return (whole*whole - same) / 2
}

// cut is the weight of the edges that a test is expected to cut.
func (p *Problem) cut(test int, left Set) float64 {
	cut, whole := p.edges(left), p.Weight(left)
	for _, part := range p.Split(test, left) {
		cut -= p.Weight(part) / whole * p.edges(part)
	}
	return cut
}

// lookAhead takes the test that is best if EC2 per minute chooses all that follow.
func lookAhead() Policy {
	var then costs
	return func(p *Problem, left Set, at int) int {
		if then.p != p {
			then = costs{p, perMinute((*Problem).cut), map[place]float64{}}
		}
		return least(p, left, func(t int) float64 { return then.by(t, left, at) })
	}
}

// assistant chooses by the code that proposes tests in a job.
func assistant() Policy {
	return func(p *Problem, left Set, at int) int {
		o := choose.Options{Enough: 1 - 1e-9, Minutes: func(from, test int) float64 {
			if from < 0 {
				return p.Minutes(test, at)
			}
			return p.Minutes(test, p.Setup[from])
		}}
		for f, x := range p.Prior {
			if left>>f&1 == 1 {
				o.Prior, o.Class = append(o.Prior, x/p.Weight(left)), append(o.Class, p.Class[f])
			}
		}
		for t := range p.Says {
			var parts [][]float64
			for f := range p.Prior {
				if left>>f&1 == 1 {
					outcome := make([]float64, 4)
					outcome[p.Says[t][f]] = 1
					parts = append(parts, outcome)
				}
			}
			o.Parts = append(o.Parts, parts)
		}
		minutes := choose.ToRepair(&o)
		return least(p, left, func(t int) float64 { return minutes[t] })
	}
}
