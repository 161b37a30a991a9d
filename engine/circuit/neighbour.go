package circuit

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
)

// lattice is what it takes to find, of each wiring, those that differ from it in little.
type lattice struct {
	at       map[string]int // of ws.shaped, by key
	unknowns []unknown
}

// unknown is one that has more than one choice.
type unknown struct {
	id   string
	free int      // where its normal number is; 0 = it shapes the network
	at   int      // its place in a shape's key
	of   []string // its choices there
}

func (ws *Wirings) spanned() *lattice {
	l := &lattice{at: map[string]int{}}
	shaping := ws.model.circuit.Shaping()
	var shapes []unknown
	for _, u := range ws.model.circuit.Wiring {
		if shaping[u.ID] {
			shapes = append(shapes, unknown{id: u.ID, at: len(shapes)})
		}
	}
	for i, w := range ws.shaped {
		l.at[w.key] = i
		for k := range shapes {
			is := w.names[shapes[k].id]
			if of := &shapes[k].of; !slices.Contains(*of, is) {
				*of = append(*of, is)
			}
		}
	}
	l.unknowns = slices.DeleteFunc(shapes, func(u unknown) bool { return len(u.of) < 2 })
	for i, f := range ws.free {
		if len(f.of) > 1 {
			l.unknowns = append(l.unknowns, unknown{id: f.id, free: 1 + i})
		}
	}
	return l
}

// Unknown reports whether anything about the wiring is.
func (ws *Wirings) Unknown() bool { return len(ws.lattice().unknowns) > 0 }

// Step changes Dims standard normal numbers to those of a wiring that differs in one
// unknown or two. It returns the log of how likely the step is against the way back, for
// numbers that are standard normal before anything is known; +Inf, and nothing changed,
// where no circuit is wired like that.
func (ws *Wirings) Step(normal []float64, rng *rand.Rand) float64 {
	of := ws.lattice().unknowns
	if len(of) == 0 {
		return math.Inf(1)
	}
	step := []*unknown{&of[rng.IntN(len(of))]}
	if rng.IntN(2) > 0 {
		step = append(step, &of[rng.IntN(len(of))])
	}
	return ws.step(normal, rng, step)
}

// StepIn is Step in the unknown of a name, mostly in no other.
func (ws *Wirings) StepIn(id string, normal []float64, rng *rand.Rand) float64 {
	of := ws.lattice().unknowns
	at := slices.IndexFunc(of, func(u unknown) bool { return u.id == id })
	if at < 0 {
		return math.Inf(1)
	}
	step := []*unknown{&of[at]}
	if rng.IntN(3) == 0 {
		step = append(step, &of[rng.IntN(len(of))])
	}
	return ws.step(normal, rng, step)
}

func (ws *Wirings) step(normal []float64, rng *rand.Rand, in []*unknown) float64 {
	from := pick(ws.upTo, uniform(normal[0]))
	choices := strings.Split(ws.shaped[from].key, " ")
	for _, u := range in {
		if u.free == 0 {
			was := slices.Index(u.of, choices[u.at])
			choices[u.at] = u.of[(was+1+rng.IntN(len(u.of)-1))%len(u.of)]
		}
	}
	to, ok := ws.lattice().at[strings.Join(choices, " ")]
	if !ok {
		return math.Inf(1)
	}
	for _, u := range in {
		if u.free > 0 {
			normal[u.free] = rng.NormFloat64()
		}
	}
	if to == from {
		return 0
	}
	start := 0.0
	if to > 0 {
		start = ws.upTo[to-1]
	}
	normal[0] = NormalQuantile(start + (ws.upTo[to]-start)*rng.Float64())
	return math.Log(ws.shaped[from].Share / ws.shaped[to].Share)
}

// NormalQuantile is the standard normal quantile of p, 0 < p < 1.
func NormalQuantile(p float64) float64 {
	return math.Sqrt2 * math.Erfinv(2*min(max(p, 1e-12), 1-1e-12)-1)
}

// Number is where the number that decides an unknown is among those of Pick, 0 for all that
// shape the network.
func (ws *Wirings) Number(id string) int {
	return 1 + slices.IndexFunc(ws.free, func(f freeChoice) bool { return f.id == id })
}
