package engine

import (
	"math"

	"coilside/rules"
)

// Effects is everything that firing rules ask for beside facts. Where a list
// holds rules they are in book order.
type Effects struct {
	Weights   map[string]Weights       // by suspect: odds factors
	RuledOut  []Out                    // in the order of the rules
	Required  map[string][]*rules.Rule // by test: to do before any conclusion
	Forbidden map[string][]*rules.Rule // by test
	Preferred map[string]Weights       // by test: worth factors
	Advice    []Notice
	Cautions  []Notice
}

// Weights is by how much rules together move one suspect's odds, or one test's
// worth.
type Weights struct {
	// Factor is the product of the rules' factors, kept within 1/rules.MaxWeight
	// to rules.MaxWeight, so that readings can still outvote experience.
	Factor float64
	By     []Weight
}

// Weight is one rule's share.
type Weight struct {
	Rule   *rules.Rule
	Factor float64
}

// Out is a suspect that a rule says this circuit can't have.
type Out struct {
	Suspect string
	Rule    *rules.Rule
}

// Notice is a sentence for the technician.
type Notice struct {
	Rule *rules.Rule
	Say  string
}

// Effects gives what the first-stage rules ask for.
func (m *Memory) Effects() Effects {
	e := newEffects()
	for i, r := range m.book.Rules {
		if m.fires(int32(i)) {
			e.add(r)
		}
	}
	e.total()
	return e
}

// EffectsOf adds up what the given firings ask for, such as those of Late.
func EffectsOf(firings []Firing) Effects {
	e := newEffects()
	for _, f := range firings {
		e.add(f.Rule)
	}
	e.total()
	return e
}

func newEffects() Effects {
	return Effects{
		Weights: map[string]Weights{}, Preferred: map[string]Weights{},
		Required: map[string][]*rules.Rule{}, Forbidden: map[string][]*rules.Rule{},
	}
}

func (e *Effects) add(r *rules.Rule) {
	for i := range r.Then {
		a := &r.Then[i]
		switch a.Do {
		case rules.Weigh:
			weigh(e.Weights, a.Suspects, r, a.By)
		case rules.Prefer:
			weigh(e.Preferred, a.Tests, r, a.By)
		case rules.RuleOut:
			for _, id := range a.Suspects {
				e.RuledOut = append(e.RuledOut, Out{id, r})
			}
		case rules.Require:
			note(e.Required, a.Tests, r)
		case rules.Forbid:
			note(e.Forbidden, a.Tests, r)
		case rules.Advise:
			e.Advice = append(e.Advice, Notice{r, a.Say})
		case rules.Caution:
			e.Cautions = append(e.Cautions, Notice{r, a.Say})
		}
	}
}

func weigh(by map[string]Weights, ids []string, r *rules.Rule, factor float64) {
	for _, id := range ids {
		w := by[id]
		w.By = append(w.By, Weight{r, factor})
		by[id] = w
	}
}

func note(by map[string][]*rules.Rule, ids []string, r *rules.Rule) {
	for _, id := range ids {
		if list := by[id]; len(list) == 0 || list[len(list)-1] != r {
			by[id] = append(list, r)
		}
	}
}

// total multiplies the parts once all are in, in the order of the rules, so that
// the same firings give the same bits.
func (e *Effects) total() {
	for _, by := range []map[string]Weights{e.Weights, e.Preferred} {
		for id, w := range by {
			product := 1.0
			for _, part := range w.By {
				product *= part.Factor
			}
			w.Factor = math.Min(math.Max(product, 1/rules.MaxWeight), rules.MaxWeight)
			by[id] = w
		}
	}
}
