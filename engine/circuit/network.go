package circuit

import (
	"math"
	"sort"
)

// leak is the conductance from every node to the battery's negative post, in
// siemens. It keeps a node that hangs on nothing at a defined 0 V, as insulation
// does in a vehicle, and is far below what any meter can tell.
const leak = 1e-12

// Network is the wiring of one circuit variant: nodes, and the branches between
// them in the order that the elements have in the model. Node -1 is the
// reference, the battery's negative post. A Network is immutable.
type Network struct {
	nodes    map[string]int
	names    []string
	branches []branch // by element of the model; absent elements have from == to == absent
	present  []int    // elements that are there
	joints   [][2]int // places that surroundings join, as those of nodes
	plan     plan
	variants map[uint64]*Network // with some of the surroundings, by their bits; of the bare network only

	// RunsAtRest says that the load hangs on the rest contact: it should run while
	// the relay is not energised, and stop when it is.
	RunsAtRest bool
}

const (
	ground = -1 // the reference node
	absent = -2
)

// branch is one element between two nodes; edge is its place in the plan, or -1
// when one end is the reference.
type branch struct{ from, to, edge int }

func (b branch) here() bool { return b.from != absent }

// plan is the order in which nodes are eliminated, worked out once a network:
// the conductance matrix changes its numbers with every state, never its shape.
type plan struct {
	steps []step
	turn  []int32 // by node: the step that eliminates it
	edges int
	edge  map[[2]int]int // pair of nodes, low first, to edge
}

// step eliminates one node: its neighbours at that time, the edges to them, and
// for each pair of neighbours the edge that their star-mesh product adds to.
type step struct {
	node  int32
	next  int32 // the step that eliminates the first of its neighbours; none without any
	near  []int32
	edges []int32
	fills []int32 // for pairs (i, j) of near, i < j, in order
}

const none = math.MaxInt32

// newPlan orders the nodes by least degree and records the fill. Of several it
// takes the one whose neighbours were left alone longest, so that one step seldom
// waits for the numbers of the step before.
func newPlan(nodes int, pairs [][2]int) plan {
	p := plan{edge: map[[2]int]int{}, turn: make([]int32, nodes)}
	near := make([]map[int]bool, nodes)
	for i := range near {
		near[i] = map[int]bool{}
	}
	link := func(a, b int) int32 {
		key := [2]int{min(a, b), max(a, b)}
		id, ok := p.edge[key]
		if !ok {
			id = p.edges
			p.edge[key] = id
			p.edges++
		}
		near[a][b], near[b][a] = true, true
		return int32(id)
	}
	for _, pair := range pairs {
		if pair[0] >= 0 && pair[1] >= 0 && pair[0] != pair[1] {
			link(pair[0], pair[1])
		}
	}
	done := make([]bool, nodes)
	touched := make([]int, nodes)
	for turn := range nodes {
		best := -1
		for n := range nodes {
			if done[n] {
				continue
			}
			if best < 0 || len(near[n]) < len(near[best]) || len(near[n]) == len(near[best]) && touched[n] < touched[best] {
				best = n
			}
		}
		done[best] = true
		p.turn[best] = int32(turn)
		st := step{node: int32(best)}
		around := make([]int, 0, len(near[best]))
		for n := range near[best] {
			around = append(around, n)
		}
		sort.Ints(around)
		for _, n := range around {
			st.near = append(st.near, int32(n))
			st.edges = append(st.edges, link(best, n))
		}
		for i, a := range around {
			for _, b := range around[i+1:] {
				st.fills = append(st.fills, link(a, b))
			}
		}
		for _, n := range around {
			delete(near[n], best)
			touched[n] = turn + 1
		}
		p.steps = append(p.steps, st)
	}
	for i := range p.steps {
		st := &p.steps[i]
		st.next = none
		for _, n := range st.near {
			st.next = min(st.next, p.turn[n])
		}
	}
	return p
}

// system is one set of numbers on a network's plan: conductances in siemens
// between nodes and to the reference, and currents in amperes into nodes.
// Solving it eliminates node after node by the star-mesh transformation, which
// only adds and divides positive numbers, so that a gigaohm beside a milliohm
// loses no digits (no subtraction cancels anything).
type system struct {
	plan   *plan
	g      []float64 // by edge: conductance; after factor, what part of a node's current goes that way
	toRef  []float64 // by node
	inject []float64 // by node, A
	ohms   []float64 // by node, after factor: one over its conductance at its elimination
	volts  []float64 // by node, after solve
	work   []float64 // by node; all zero between two uses
	space  []float64
}

func (s *system) reset(p *plan, nodes int) {
	s.plan = p
	if n := 5*nodes + p.edges; cap(s.space) < n {
		s.space = make([]float64, n)
	}
	left := s.space
	cut := func(n int) []float64 {
		v := left[:n:n]
		left = left[n:]
		return v
	}
	s.g, s.inject, s.work = cut(p.edges), cut(nodes), cut(nodes)
	clear(s.space[:p.edges+2*nodes]) // the rest is written before it is read
	s.toRef, s.ohms, s.volts = cut(nodes), cut(nodes), cut(nodes)
	for i := range s.toRef {
		s.toRef[i] = leak
	}
}

// connect adds siemens along a branch, either end of which may be the reference.
func (s *system) connect(b branch, siemens float64) {
	switch {
	case b.edge >= 0:
		s.g[b.edge] += siemens
	case b.from >= 0:
		s.toRef[b.from] += siemens
	case b.to >= 0:
		s.toRef[b.to] += siemens
	}
}

// push adds a current source of amps into node a and out of node b.
func (s *system) push(a, b int, amps float64) {
	if a >= 0 {
		s.inject[a] += amps
	}
	if b >= 0 {
		s.inject[b] -= amps
	}
}

// factor eliminates every node. Afterwards g, toRef and ohms hold the
// factorisation and connect must not be called any more.
func (s *system) factor() {
	g, toRef := s.g, s.toRef
	for i := range s.plan.steps {
		st := &s.plan.steps[i]
		own := toRef[st.node]
		if len(st.edges) == 2 { // most are like this
			a, b := st.edges[0], st.edges[1]
			ga, gb := g[a], g[b]
			one := 1 / (own + ga + gb)
			s.ohms[st.node] = one
			pa, pb := ga*one, gb*one
			g[a], g[b] = pa, pb
			toRef[st.near[0]] += pa * own
			toRef[st.near[1]] += pb * own
			g[st.fills[0]] += pa * gb
			continue
		}
		total := own
		for _, e := range st.edges {
			total += g[e]
		}
		one := 1 / total
		s.ohms[st.node] = one
		f := 0
		for k, e := range st.edges {
			share := g[e] * one
			toRef[st.near[k]] += share * own
			for _, other := range st.edges[k+1:] {
				g[st.fills[f]] += share * g[other]
				f++
			}
			g[e] = share
		}
	}
}

// solve puts into volts the node voltages for the injected currents, and leaves
// the currents as they were.
func (s *system) solve() { s.back(s.inject, s.volts) }

// back solves for one right-hand side, amperes by node, into out, volts.
func (s *system) back(amps, out []float64) {
	w, g := s.work, s.g
	copy(w, amps)
	steps := s.plan.steps
	for i := range steps {
		st := &steps[i]
		if x := w[st.node]; x != 0 {
			for k, e := range st.edges {
				w[st.near[k]] += g[e] * x
			}
		}
	}
	for i := len(steps) - 1; i >= 0; i-- {
		st := &steps[i]
		x := w[st.node] * s.ohms[st.node]
		w[st.node] = 0
		for k, e := range st.edges {
			x += g[e] * out[st.near[k]]
		}
		out[st.node] = x
	}
}

// resistanceBetween is what an ideal ohmmeter sees from a to b with every source
// at rest, in ohms; either may be the reference. An ampere into a and out of b is passed
// on from node to node in the order of their elimination, and what each gets, squared and
// times its resistance then, adds up to the power that the ampere turns into heat: sums of
// positive numbers again (x' A^-1 x with A = L D L', which is any text's on factoring).
// Only the nodes downstream of a and b get any.
func (s *system) resistanceBetween(a, b int) float64 {
	w, p := s.work, s.plan
	i, j := int32(none), int32(none)
	if a >= 0 {
		w[a], i = 1, p.turn[a]
	}
	if b >= 0 {
		w[b]--
		j = p.turn[b]
	}
	ohms := 0.0
	for i != none || j != none {
		at := min(i, j)
		st := &p.steps[at]
		x := w[st.node]
		w[st.node] = 0
		ohms += x * x * s.ohms[st.node]
		for k, e := range st.edges {
			w[st.near[k]] += s.g[e] * x
		}
		if i == at {
			i = st.next
		}
		if j == at {
			j = st.next
		}
	}
	return ohms
}

func at(v []float64, node int) float64 {
	if node < 0 {
		return 0
	}
	return v[node]
}
