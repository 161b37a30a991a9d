package rank

import (
	"fmt"
	"sync"
	"sync/atomic"

	"coilside/engine/circuit"
	"coilside/rules"
)

// Reading is one answered measurement as evidence.
type Reading struct {
	ID      int
	Measure rules.Measure
	Setup   rules.Setup
	Answer  Answer
	Test    *rules.Test // nil when taken unasked
	Epoch   int         // how many repairs had been done before

	// Overruled are the suspects for which a rule speaks on this reading: its
	// weight replaces the model's word, which then is that of the field.
	Overruled map[string]bool
}

// measurement is a reading, or a measurement that might be taken, with its
// places found in each network.
type measurement struct {
	Reading
	state   string
	epoch   int
	choices int
	wiring  string               // ask: the wiring unknown that the answer settles, "" = none
	asked   *circuit.Asked       // ask: the number of the circuit that the answer names, nil = none
	circuit bool                 // the circuit predicts it; else Expect does
	byGuess bool                 // it does not, but each guess has its own word: see hangsOnMended
	places  *places              // where its leads are in each network
	pooled  map[*Hypothesis]bool // hypotheses whose estimate is that of a group
	field   float64              // log of the mean likelihood of those that no rule speaks for
	best    float64              // log likelihood that no prediction of the answer exceeds
	sound   []float64            // what sound circuits would read, as they were at the opening
	again   int                  // the earlier reading of the same thing, -1 = none
}

func (b *Belief) measurement(r Reading) (*measurement, error) {
	m := &measurement{Reading: r, epoch: r.Epoch, state: circuit.StateKey(r.Measure, r.Setup), places: new(places)}
	m.choices, m.again = len(Choices(r.Measure.Mode)), -1
	if r.Test != nil && r.Measure.Mode == rules.Ask {
		m.choices = len(r.Test.Of)
		if b.model != nil && b.model.Fits(r.Test.Sets) {
			m.wiring = r.Test.Sets
			m.state = "asked" // no setup: it must not share one with a measurement that has none stated
		}
		if b.model != nil && b.model.Asked(r.Test) != nil {
			m.asked, m.state = b.model.Asked(r.Test), "read off"
		}
	}
	switch r.Measure.Mode {
	case rules.Ask:
		m.circuit = m.wiring != "" || m.asked != nil
	case rules.Look:
		m.circuit = b.model != nil && b.model.Fuse(r.Measure.At)
	default:
		m.circuit = b.model != nil && !ByHand(r.Test) && r.Measure.During != "crank" // the starter's current is not in the model
		if b.model == nil && r.Test == nil {
			return nil, fmt.Errorf("this rulebook has no circuit, so a reading must belong to one of its tests")
		}
	}
	m.byGuess = b.hangsOnMended(m)
	if b.model != nil {
		return m, circuit.Check(r.Measure, r.Setup)
	}
	return m, nil
}

// places are a measurement's leads by network; several may look them up at once.
type places struct {
	in     sync.Map // *place by *circuit.Network
	latest atomic.Pointer[place]
}

type place struct {
	network *circuit.Network
	probe   circuit.Probe
}

func (m *measurement) probe(model *circuit.Model, w *circuit.Wiring) *circuit.Probe {
	net := w.Network()
	if p := m.places.latest.Load(); p != nil && p.network == net {
		return &p.probe
	}
	found, ok := m.places.in.Load(net)
	if !ok {
		found, _ = m.places.in.LoadOrStore(net, &place{net, model.Resolve(w, m.Measure, m.Setup)})
	}
	p := found.(*place)
	m.places.latest.Store(p)
	return &p.probe
}
