package study

import (
	"math/rand/v2"
	"path"

	"coilside/engine/diagnosis"
)

// Chooser picks the next test of a job; false when it has none left. It never has
// the last word on safety: what it may pick from has passed the gates.
type Chooser func(c *diagnosis.Case) (diagnosis.Proposal, bool)

// Policy is a way to choose tests. All share the same ranking and the same rule for
// when a fault is proven, and differ in what they ask for.
type Policy struct {
	ID, Words string
	Start     func(rng *rand.Rand) Chooser
}

// Policies are the product's own choice and what it is held against.
var Policies = []Policy{
	{"product", "as the assistant proposes", func(*rand.Rand) Chooser { return proposed }},
	{"random", "in random order", anyOrder},
	{"practice", "a fixed order of common practice", func(*rand.Rand) Chooser { return practiceOrder() }},
	{"gain", "most information, whatever it costs", func(*rand.Rand) Chooser {
		return best(func(p *diagnosis.Proposal) float64 { return p.Gain })
	}},
	{"gain-per-minute", "most information a minute", func(*rand.Rand) Chooser {
		return best(func(p *diagnosis.Proposal) float64 { return p.Gain / p.Minutes })
	}},
}

// FindPolicy finds a policy by its id.
func FindPolicy(id string) (Policy, bool) {
	for _, p := range Policies {
		if p.ID == id {
			return p, true
		}
	}
	return Policy{}, false
}

func proposed(c *diagnosis.Case) (diagnosis.Proposal, bool) { return first(c.Next(1)) }

func first(ps []diagnosis.Proposal) (diagnosis.Proposal, bool) {
	if len(ps) == 0 {
		return diagnosis.Proposal{}, false
	}
	return ps[0], true
}

// best takes the offer that scores highest, the first of equals.
func best(score func(*diagnosis.Proposal) float64) Chooser {
	return func(c *diagnosis.Case) (diagnosis.Proposal, bool) {
		offers := c.Offers()
		at := 0
		for i := range offers {
			if score(&offers[i]) > score(&offers[at]) {
				at = i
			}
		}
		if len(offers) == 0 {
			return diagnosis.Proposal{}, false
		}
		return offers[at], true
	}
}

func anyOrder(rng *rand.Rand) Chooser {
	return func(c *diagnosis.Case) (diagnosis.Proposal, bool) {
		allowed := c.Allowed()
		if len(allowed) == 0 {
			return diagnosis.Proposal{}, false
		}
		return allowed[rng.IntN(len(allowed))], true
	}
}

// practiceOrder takes the first allowed test by the fixed order, then the rest.
func practiceOrder() Chooser {
	var order []string
	if err := readTable("practice.yaml", &order); err != nil {
		panic(err) // it is part of the program; a test reads it
	}
	return func(c *diagnosis.Case) (diagnosis.Proposal, bool) {
		allowed := c.Allowed()
		for _, pattern := range order {
			for _, p := range allowed {
				if is, _ := path.Match(pattern, p.Test.ID); is {
					return p, true
				}
			}
		}
		return first(allowed)
	}
}
