package circuit

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"

	"coilside/rules"
)

// Wiring is one way the circuit can be wired: a choice for every discrete
// unknown, and the names that follow from the choices.
type Wiring struct {
	Share float64 // relative frequency before any reading, > 0
	names map[string]string
	env   map[string]any
	key   string
	net   *Network

	cells       []rules.Cell  // the choices and names, as the model lists them
	nominal     float64       // the system's volts: 12 where the circuit does not say
	diode       bool          // across the coil
	electronics bool          // for a load
	possible    func() []bool // by a fault's number: see Model.Possible; worked out when first asked for
}

// complete works out what is asked of a wiring often, once all choices are made.
func (m *Model) complete(w *Wiring) {
	w.cells = m.cellsOf(w)
	w.diode, w.electronics = w.names["suppression"] == "diode", w.names["load_kind"] == "electronics"
	w.possible = sync.OnceValue(func() []bool { return m.possibleIn(w) })
	w.nominal = 12
	if v, ok := w.env["system_volts"].(float64); ok {
		w.nominal = v
	}
}

// Choice is what the wiring says of one unknown, or of a name that follows.
func (w *Wiring) Choice(id string) (string, bool) {
	is, ok := w.names[id]
	return is, ok
}

// Fill replaces {name} placeholders in text by what they stand for here.
func (w *Wiring) Fill(text string) string { return FillPlaceholders(text, w.names) }

// Has reports whether a place exists in this wiring.
func (w *Wiring) Has(place string) bool {
	_, ok := w.net.nodes[nodeName(place)]
	return ok
}

// Wirings are the ways a job's circuit may be wired, given what is known of it.
// Unknowns that shape the network are listed out; the others (system volts, kind
// of load) are free of each other and are chosen apart.
type Wirings struct {
	model    *Model
	shaped   []*Wiring // choices of the unknowns that shape the network
	upTo     []float64 // cumulative share, last = 1
	free     []freeChoice
	variants *variants
	lattice  func() *lattice // worked out when it is first asked for
}

// variants are the wirings picked so far, by their choices. Jobs that share an opening
// share them too.
type variants struct {
	mu sync.Mutex
	of map[string]*Wiring
}

type freeChoice struct {
	id     string
	number bool
	of     []string
	upTo   []float64
}

// Dims is how many standard normal numbers Pick takes.
func (ws *Wirings) Dims() int { return 1 + len(ws.free) }

// Count is how many shapes are possible.
func (ws *Wirings) Count() int { return len(ws.shaped) }

// All lists the possible shapes in a fixed order.
func (ws *Wirings) All() []*Wiring { return ws.shaped }

// Pick turns Dims standard normal numbers into a wiring.
func (ws *Wirings) Pick(normal []float64) *Wiring {
	shape := ws.shaped[pick(ws.upTo, uniform(normal[0]))]
	if len(ws.free) == 0 {
		return shape
	}
	var buf [16]int
	chosen := buf[:0]
	key := append(make([]byte, 0, 96), shape.key...)
	for i := range ws.free {
		k := pick(ws.free[i].upTo, uniform(normal[1+i]))
		chosen = append(chosen, k)
		key = append(key, ' ', byte('a'+k))
	}
	ws.variants.mu.Lock()
	defer ws.variants.mu.Unlock()
	if w, ok := ws.variants.of[string(key)]; ok {
		return w
	}
	w := &Wiring{Share: shape.Share, key: string(key), net: shape.net,
		names: maps.Clone(shape.names), env: maps.Clone(shape.env)}
	for i, k := range chosen {
		f := &ws.free[i]
		_ = w.set(f.id, f.of[k], f.number) // checked when the choices were listed
	}
	ws.model.complete(w)
	ws.variants.of[string(key)] = w
	return w
}

func pick(upTo []float64, part float64) int {
	return min(sort.SearchFloat64s(upTo, part), len(upTo)-1)
}

// Possible narrows the wirings to those in which a fault can occur, and tells
// what part of the shares they hold, 0..1; nil where there is none.
func (ws *Wirings) Possible(f *Fault) (*Wirings, float64) {
	some := &Wirings{model: ws.model, variants: ws.variants}
	var part float64
	if some.free, part = ws.freeFor(f); part == 0 {
		return nil, 0
	}
	var all, kept float64
	for _, w := range ws.shaped {
		all += w.Share
		if ws.model.Possible(f, w) {
			kept += w.Share
			some.shaped = append(some.shaped, w)
		}
	}
	if len(some.shaped) == 0 {
		return nil, 0
	}
	some.accumulate()
	return some, part * kept / all
}

// freeFor gives the choices that a fault needs all the share, and tells what share they
// had; all choices stay listed, so that a variant goes by the same key.
func (ws *Wirings) freeFor(f *Fault) ([]freeChoice, float64) {
	at := slices.IndexFunc(ws.free, func(c freeChoice) bool { return c.id == f.needs })
	if at < 0 {
		return ws.free, 1
	}
	of := &ws.free[at]
	shares := make([]float64, len(of.of))
	part, before := 0.0, 0.0
	for k, choice := range of.of {
		w := &Wiring{names: map[string]string{}, env: map[string]any{}}
		_ = w.set(of.id, choice, of.number) // checked when the choices were listed
		if ok, err := f.Suspect.When.Truth(w.env); err == nil && ok {
			shares[k] = of.upTo[k] - before
			part += shares[k]
		}
		before = of.upTo[k]
	}
	out := slices.Clone(ws.free)
	out[at].upTo = cumulative(shares)
	return out, part
}

func (ws *Wirings) accumulate() {
	shares := make([]float64, len(ws.shaped))
	for i, w := range ws.shaped {
		shares[i] = w.Share
	}
	ws.upTo = cumulative(shares)
	ws.lattice = sync.OnceValue(ws.spanned)
}

func cumulative(shares []float64) []float64 {
	out := make([]float64, len(shares))
	sum := 0.0
	for i, s := range shares {
		sum += s
		out[i] = sum
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

// set gives one unknown a choice.
func (w *Wiring) set(id, choice string, number bool) error {
	w.names[id] = choice
	if !number {
		w.env[id] = choice
		return nil
	}
	value, err := strconv.ParseFloat(choice, 64)
	if err != nil {
		return fmt.Errorf("%s: %q is no number", id, choice)
	}
	w.env[id] = value
	return nil
}

// Wirings lists every wiring that meets the circuit's conditions and the known
// choices. Known may also hold names that follow from the wiring, such as the
// terminal the load hangs on. It is an error when nothing fits; the error lists
// what was asked for.
func (m *Model) Wirings(known map[string]string) (*Wirings, error) {
	ws := &Wirings{model: m, variants: &variants{of: map[string]*Wiring{}}}
	shaping := m.circuit.Shaping()
	var shapes []int
	for i, unknown := range m.circuit.Wiring {
		if shaping[unknown.ID] {
			shapes = append(shapes, i)
			continue
		}
		f := freeChoice{id: unknown.ID, number: unknown.Number}
		var shares []float64
		for k, choice := range unknown.Of {
			if is, ok := known[unknown.ID]; !ok || is == choice {
				f.of, shares = append(f.of, choice), append(shares, unknown.Shares[k])
			}
		}
		if len(f.of) == 0 {
			return nil, fmt.Errorf("no circuit is wired like this: %s %s (it can be %s)", unknown.ID, known[unknown.ID], strings.Join(unknown.Of, ", "))
		}
		f.upTo = cumulative(shares)
		ws.free = append(ws.free, f)
	}
	var err error
	if ws.shaped, err = m.shapesOf(shapes, known); err != nil {
		return nil, err
	}
	if len(ws.shaped) == 0 {
		return nil, fmt.Errorf("no circuit is wired like this: %s", describe(known))
	}
	ws.accumulate()
	return ws, nil
}

// shapesKept is how many lists of shapes a model keeps for jobs to come.
const shapesKept = 256

// shapesOf lists the shapes that fit what is known, or finds the list made for an
// earlier job.
func (m *Model) shapesOf(shapes []int, known map[string]string) ([]*Wiring, error) {
	key := describe(known)
	m.mu.Lock()
	kept, ok := m.shapes[key]
	m.mu.Unlock()
	if ok {
		return kept, nil
	}
	var ws Wirings
	if err := m.listShapes(&ws, shapes, known); err != nil {
		return nil, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.shapes) >= shapesKept {
		clear(m.shapes)
	}
	m.shapes[key] = ws.shaped
	return ws.shaped, nil
}

func (m *Model) listShapes(ws *Wirings, shapes []int, known map[string]string) error {
	choices := make([]string, len(shapes))
	var walk func(i int, share float64) error
	walk = func(i int, share float64) error {
		if i == len(shapes) {
			w, err := m.shape(shapes, choices, share, known)
			if w != nil {
				ws.shaped = append(ws.shaped, w)
			}
			return err
		}
		unknown := m.circuit.Wiring[shapes[i]]
		for k, choice := range unknown.Of {
			if is, ok := known[unknown.ID]; ok && is != choice {
				continue
			}
			choices[i] = choice
			if ok, err := m.allowed(shapes[:i+1], choices); err != nil || !ok {
				if err != nil {
					return err
				}
				continue
			}
			if err := walk(i+1, share*unknown.Shares[k]); err != nil {
				return err
			}
		}
		return nil
	}
	return walk(0, 1)
}

// allowed checks the conditions that speak only of the choices made so far.
func (m *Model) allowed(shapes []int, choices []string) (bool, error) {
	made := map[string]any{}
	w := &Wiring{names: map[string]string{}, env: made}
	for i, s := range shapes {
		if err := w.set(m.circuit.Wiring[s].ID, choices[i], m.circuit.Wiring[s].Number); err != nil {
			return false, err
		}
	}
	last := m.circuit.Wiring[shapes[len(shapes)-1]].ID
	for _, f := range m.circuit.Allow {
		names := f.Names()
		ready := slices.Contains(names, last)
		for _, n := range names {
			_, ok := made[n]
			ready = ready && ok
		}
		if !ready {
			continue
		}
		if ok, err := f.Truth(made); err != nil || !ok {
			return false, err
		}
	}
	return true, nil
}

// shape makes one wiring of the choices, or nil where the known names forbid it.
func (m *Model) shape(shapes []int, choices []string, share float64, known map[string]string) (*Wiring, error) {
	if share <= 0 {
		return nil, nil
	}
	w := &Wiring{Share: share, names: map[string]string{}, env: map[string]any{}, key: strings.Join(choices, " ")}
	for i, s := range shapes {
		if err := w.set(m.circuit.Wiring[s].ID, choices[i], m.circuit.Wiring[s].Number); err != nil {
			return nil, err
		}
	}
	for _, name := range m.circuit.Names {
		is, err := name.Is.TextValue(w.env)
		if err != nil {
			return nil, err
		}
		if want, ok := known[name.ID]; ok && want != is {
			return nil, nil
		}
		w.names[name.ID], w.env[name.ID] = is, is
	}
	net, err := m.networkFor(w)
	w.net = net
	m.complete(w)
	return w, err
}

func describe(known map[string]string) string {
	keys := slices.Sorted(maps.Keys(known))
	parts := make([]string, len(keys))
	for i, k := range keys {
		parts[i] = k + " " + known[k]
	}
	return strings.Join(parts, ", ")
}

// Fits reports whether id is a wiring unknown or a name that follows from it.
func (m *Model) Fits(id string) bool {
	for _, w := range m.circuit.Wiring {
		if w.ID == id {
			return true
		}
	}
	for _, n := range m.circuit.Names {
		if n.ID == id {
			return true
		}
	}
	return false
}

// Network is the wiring's network.
func (w *Wiring) Network() *Network { return w.net }

// Names lists the names that follow from the wiring, in the circuit's order.
func (m *Model) Names() []string {
	out := make([]string, len(m.circuit.Names))
	for i, n := range m.circuit.Names {
		out[i] = n.ID
	}
	return out
}
