// Package circuit is the physics of a relay-controlled circuit: a direct-current
// network of resistances, sources, switches, fuses and one relay, built from the
// rulebook's data, with faults as changes to it and meters as loads on it.
// It is pure and deterministic: every random number is handed in.
package circuit

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"sync"

	"coilside/rules"
)

// Model is one circuit of a rulebook, compiled. It is safe for concurrent use.
type Model struct {
	circuit    *rules.Circuit
	elements   map[string]int // element id to index; the order is that of the rulebook
	kinds      []string       // by element
	gates      []gate         // by element
	slots      map[slotKey]int
	names      []string   // that formulas may read: see nameAll
	spreads    []spread   // by slot: how the value varies
	quantities []quantity // what varies beside, in the circuit's order
	ohmsSlot   []int      // by element: its value "ohms", -1 if none
	fuses      []fuse
	plugOf     []int    // by element: the part that a plug belongs to
	faults     []*Fault // by suspect of the rulebook
	forms      []*Fault // all faults and, where one has several forms, each of them, by their number
	byID       map[string]*Fault
	asked      map[string]*Asked // by test
	special    special
	dims       int // variates of one draw
	shorts     []shortSpec
	around     []around          // what only some faults wake; by bit of a mask
	aroundOf   map[string]uint64 // by element or surrounding id: the bit that brings it

	environments sync.Pool // *environment

	mu       sync.Mutex
	networks map[string]*Network
	shapes   map[string][]*Wiring // by what is known
}

// slotKey names one value of one element.
type slotKey struct {
	element int
	value   string
}

// fuse is a fuse element and the slot of its rating in amperes.
type fuse struct{ element, rating int }

type shortSpec struct {
	element  int
	toSupply bool
}

// special are the elements and values that the physics knows by kind; -1 where
// the circuit has none.
type special struct {
	source, coil, armature, load, control, key, make, rest, suppressor int
	volts, coilOhms, celsius, pullIn, dropOut, coldPart                int
	charging                                                           int // volts of the source with the engine running
	leads                                                              int // of the circuit's quantities, the ohmmeter's leads
}

// Compile reads one circuit and every suspect of the book that acts on it.
// Errors name the element or suspect that does not fit.
func Compile(book *rules.Book, c *rules.Circuit) (*Model, error) {
	m := &Model{circuit: c, elements: map[string]int{}, slots: map[slotKey]int{},
		byID: map[string]*Fault{}, networks: map[string]*Network{}, shapes: map[string][]*Wiring{}, aroundOf: map[string]uint64{}}
	m.nameAll()
	for i, e := range c.Parts {
		m.elements[e.ID] = i
		m.kinds = append(m.kinds, e.Kind)
		names := make([]string, 0, len(e.Values))
		for name := range e.Values {
			names = append(names, name)
		}
		sort.Strings(names)
		for _, name := range names {
			m.slots[slotKey{i, name}] = len(m.spreads)
			value := e.Values[name]
			s, err := m.compileSpread(&value)
			if err != nil {
				return nil, fmt.Errorf("circuit %s: element %s: %s: %w", c.ID, e.ID, name, err)
			}
			m.spreads = append(m.spreads, s)
		}
	}
	for i := range c.Parts {
		m.ohmsSlot = append(m.ohmsSlot, m.slot(i, "ohms"))
		if m.ohmsSlot[i] < 0 && m.kinds[i] != "armature" && m.kinds[i] != "alternator" {
			return nil, fmt.Errorf("circuit %s: element %s has no value ohms", c.ID, c.Parts[i].ID)
		}
		if rating := m.slot(i, "amps"); m.kinds[i] == "fuse" && rating >= 0 {
			m.fuses = append(m.fuses, fuse{i, rating})
		}
	}
	for _, q := range c.Vary {
		compiled, err := m.compileQuantity(q)
		if err != nil {
			return nil, err
		}
		m.quantities = append(m.quantities, compiled)
	}
	if err := m.findSpecial(); err != nil {
		return nil, err
	}
	if err := m.findSurroundings(); err != nil {
		return nil, err
	}
	m.findPlugs()
	m.findGates()
	m.dims = len(c.Vary) + len(m.spreads)
	for _, s := range book.Suspects {
		f, err := m.compileFault(s)
		if err != nil {
			return nil, err
		}
		m.faults = append(m.faults, f)
		m.byID[s.ID] = f
	}
	m.asked = map[string]*Asked{}
	for _, t := range book.Tests {
		if t.Reads == nil {
			continue
		}
		var err error
		if m.asked[t.ID], err = m.compileAsked(t); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// Fault finds what a suspect does, by its id.
func (m *Model) Fault(id string) (*Fault, bool) {
	f, ok := m.byID[id]
	return f, ok
}

// Element reports whether the circuit has an element of that id.
func (m *Model) Element(id string) bool {
	_, ok := m.elements[id]
	return ok
}

func (m *Model) findSpecial() error {
	first := func(kind string) int {
		for i, k := range m.kinds {
			if k == kind {
				return i
			}
		}
		return -1
	}
	s := &m.special
	for kind, to := range map[string]*int{"source": &s.source, "coil": &s.coil, "armature": &s.armature, "load": &s.load,
		"control": &s.control, "key": &s.key, "make": &s.make, "rest": &s.rest, "suppressor": &s.suppressor} {
		*to = first(kind)
	}
	s.leads = slices.IndexFunc(m.circuit.Vary, func(q *rules.Quantity) bool { return q.ID == leads })
	for _, need := range []struct {
		element int
		kind    string
		value   string
		to      *int
	}{
		{s.source, "source", "volts", &s.volts}, {s.coil, "coil", "ohms", &s.coilOhms},
		{s.coil, "coil", "celsius", &s.celsius}, {s.coil, "coil", "pull_in", &s.pullIn},
		{s.coil, "coil", "drop_out", &s.dropOut}, {s.load, "load", "cold_part", &s.coldPart},
	} {
		*need.to = -1
		if need.element < 0 {
			if need.kind == "source" {
				return fmt.Errorf("circuit %s: it has no element of kind source", m.circuit.ID)
			}
			continue
		}
		slot, ok := m.slots[slotKey{need.element, need.value}]
		if !ok {
			return fmt.Errorf("circuit %s: element %s has no value %s", m.circuit.ID, m.circuit.Parts[need.element].ID, need.value)
		}
		*need.to = slot
	}
	s.charging = m.slot(slices.Index(m.kinds, "alternator"), "volts")
	return nil
}

// findPlugs works out which part each plug belongs to: the load where a chain
// joins it to a load_part place, else the control.
func (m *Model) findPlugs() {
	m.plugOf = make([]int, len(m.kinds))
	for i := range m.plugOf {
		m.plugOf[i] = -1
	}
	for _, c := range m.circuit.Chains {
		for i := 1; i+1 < len(c.Steps); i += 2 {
			e, ok := m.elements[c.Steps[i]]
			if !ok || m.kinds[e] != "plug" {
				continue
			}
			m.plugOf[e] = m.special.control
			if part(c.Steps[i-1]) == "load" || part(c.Steps[i+1]) == "load" {
				m.plugOf[e] = m.special.load
			}
		}
	}
}

// networkFor builds, or finds, the network of one wiring.
func (m *Model) networkFor(w *Wiring) (*Network, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if n, ok := m.networks[w.key]; ok {
		return n, nil
	}
	n, err := m.build(w)
	if err != nil {
		return nil, err
	}
	m.networks[w.key] = n
	return n, nil
}

// Reference is the place that every voltage of a network is counted from.
const Reference = "battery.negative"

func (m *Model) build(w *Wiring) (*Network, error) {
	n := &Network{nodes: map[string]int{Reference: ground}, branches: make([]branch, len(m.kinds))}
	for i := range n.branches {
		n.branches[i] = branch{absent, absent, -1}
	}
	if _, err := m.lay(n, w, m.circuit.Chains); err != nil {
		return nil, err
	}
	m.finish(n, nil)
	return n, nil
}

// lay puts chains that the wiring has into a network, and tells whether it has any.
// An element may stand once.
func (m *Model) lay(n *Network, w *Wiring, chains []*rules.Chain) (any bool, err error) {
	laid := map[int]bool{}
	for _, c := range chains {
		if c.When != nil {
			is, err := c.When.Truth(w.env)
			if err != nil {
				return any, fmt.Errorf("circuit %s: %w", m.circuit.ID, err)
			}
			if !is {
				continue
			}
		}
		any = true
		for i := 0; i+2 < len(c.Steps); i += 2 {
			id := w.Fill(c.Steps[i+1])
			element, ok := m.elements[id]
			if !ok {
				return any, fmt.Errorf("circuit %s: a chain runs through %q, which is no element", m.circuit.ID, id)
			}
			if laid[element] {
				return any, fmt.Errorf("circuit %s: element %s stands twice in the wiring %s", m.circuit.ID, id, w.key)
			}
			laid[element] = true
			n.branches[element] = branch{n.node(w.Fill(c.Steps[i])), n.node(w.Fill(c.Steps[i+2])), -1}
		}
	}
	return any, nil
}

// finish works out the elimination plan: an edge for every branch, for every
// short that a suspect can make and for the jumper of a bridge test.
func (m *Model) finish(n *Network, pairs [][2]int) {
	for _, b := range n.branches {
		if b.here() {
			pairs = append(pairs, [2]int{b.from, b.to})
		}
	}
	plus := n.branches[m.special.source].to
	for _, s := range m.shorts {
		if b := n.branches[s.element]; b.here() && s.toSupply {
			pairs = append(pairs, [2]int{plus, b.to})
		}
	}
	for _, pair := range [][2]string{{"socket.30", "socket.87"}, {"socket.30", "socket.87a"}} {
		a, okA := n.nodes[pair[0]]
		b, okB := n.nodes[pair[1]]
		if okA && okB {
			pairs = append(pairs, [2]int{a, b})
		}
	}
	n.plan = newPlan(len(n.names), pairs)
	for i, b := range n.branches {
		if b.here() {
			n.branches[i] = n.between(b.from, b.to)
			n.present = append(n.present, i)
		}
	}
	n.RunsAtRest = m.runsAtRest(n)
}

// runsAtRest reports whether a sound circuit feeds its load with the relay at
// rest: both ends of the load reach the source without the working contact.
func (m *Model) runsAtRest(n *Network) bool {
	load, source := m.special.load, m.special.source
	if load < 0 || !n.branches[load].here() {
		return false
	}
	reach := func(start int) map[int]bool {
		seen := map[int]bool{start: true}
		for grew := true; grew; {
			grew = false
			for _, e := range n.present {
				switch m.kinds[e] {
				case "make", "control", "coil", "suppressor", "load", "source":
					continue
				}
				b := n.branches[e]
				if seen[b.from] != seen[b.to] {
					seen[b.from], seen[b.to], grew = true, true, true
				}
			}
		}
		return seen
	}
	plus, minus := reach(n.branches[source].to), reach(n.branches[source].from)
	l := n.branches[load]
	return plus[l.from] && minus[l.to] || plus[l.to] && minus[l.from]
}

// between is the branch from node a to node b, if the plan has an edge for it.
func (n *Network) between(a, b int) branch {
	edge := -1
	if a >= 0 && b >= 0 {
		if id, ok := n.plan.edge[[2]int{min(a, b), max(a, b)}]; ok {
			edge = id
		}
	}
	return branch{a, b, edge}
}

func (n *Network) node(name string) int {
	if id, ok := n.nodes[name]; ok {
		return id
	}
	id := len(n.names)
	n.nodes[name] = id
	n.names = append(n.names, name)
	return id
}

// Nodes lists the network's places, the reference left out.
func (n *Network) Nodes() []string { return n.names }

// FillPlaceholders replaces {name} by what names maps it to.
func FillPlaceholders(text string, names map[string]string) string {
	if !strings.Contains(text, "{") {
		return text
	}
	var out strings.Builder
	for {
		open := strings.IndexByte(text, '{')
		if open < 0 {
			break
		}
		end := strings.IndexByte(text[open:], '}')
		if end < 0 {
			break
		}
		out.WriteString(text[:open])
		name := text[open+1 : open+end]
		if is, ok := names[name]; ok {
			out.WriteString(is)
		} else {
			out.WriteString(text[open : open+end+1])
		}
		text = text[open+end+1:]
	}
	out.WriteString(text)
	return out.String()
}

// Fuse reports whether an element is a fuse, whose looks the circuit predicts.
func (m *Model) Fuse(element string) bool {
	e, ok := m.elements[element]
	return ok && m.kinds[e] == "fuse"
}
