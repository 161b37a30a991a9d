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
	edges int
	edge  map[[2]int]int // pair of nodes, low first, to edge
}

// step eliminates one node: its neighbours at that time, the edges to them, and
// for each pair of neighbours the edge that their star-mesh product adds to.
type step struct {
	node  int
	near  []int32
	edges []int32
	fills []int32 // for pairs (i, j) of near, i < j, in order
}

// newPlan orders the nodes by least degree and records the fill. Of several it
// takes the one whose neighbours were left alone longest, so that one step seldom
// waits for the numbers of the step before.
func newPlan(nodes int, pairs [][2]int) plan {
	p := plan{edge: map[[2]int]int{}}
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
		st := step{node: best}
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
	work   []float64
	own    []float64 // by node: resistance to the reference, worked out when first asked for
	mutual []float64 // by edge: the same between two nodes
	known  bool      // own and mutual stand
	space  []float64
}

func (s *system) reset(p *plan, nodes int) {
	s.plan, s.known = p, false
	if n := 6*nodes + 2*p.edges; cap(s.space) < n {
		s.space = make([]float64, n)
	}
	left := s.space
	cut := func(n int) []float64 {
		v := left[:n:n]
		left = left[n:]
		return v
	}
	s.g, s.inject = cut(p.edges), cut(nodes)
	clear(s.space[:p.edges+nodes]) // the rest is written before it is read
	s.toRef, s.ohms, s.volts, s.work, s.own, s.mutual = cut(nodes), cut(nodes), cut(nodes), cut(nodes), cut(nodes), cut(p.edges)
	for i := range s.toRef {
		s.toRef[i] = leak
	}
}

func zeroed(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	v = v[:n]
	clear(v)
	return v
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
		total := toRef[st.node]
		for _, e := range st.edges {
			total += g[e]
		}
		one := 1 / total
		s.ohms[st.node] = one
		own := toRef[st.node]
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
		for k, e := range st.edges {
			x += g[e] * out[st.near[k]]
		}
		out[st.node] = x
	}
}

// resistanceTo is what an ideal ohmmeter sees from a node to the reference with
// every source at rest, in ohms: the diagonal of the inverse. All of them are
// worked out at once, from the last node eliminated to the first (Takahashi, Fagan
// and Chin 1973, from memory; held against resistanceBetween by test).
func (s *system) resistanceTo(a int) float64 {
	if a < 0 {
		return 0
	}
	if !s.known {
		s.known = true
		s.invert()
	}
	return s.own[a]
}

func (s *system) invert() {
	g := s.g
	for i := len(s.plan.steps) - 1; i >= 0; i-- {
		st := &s.plan.steps[i]
		own := s.ohms[st.node]
		for k, e := range st.edges {
			sum := g[e] * s.own[st.near[k]]
			for j, f := range st.edges {
				if j != k {
					sum += g[f] * s.mutual[st.fill(j, k)]
				}
			}
			s.mutual[e] = sum
			own += g[e] * sum
		}
		s.own[st.node] = own
	}
}

// fill is the edge between two neighbours of the node, by their places in near.
func (st *step) fill(i, j int) int32 {
	if i > j {
		i, j = j, i
	}
	n := len(st.near)
	return st.fills[i*(2*n-i-1)/2+j-i-1]
}

// resistanceBetween is what an ideal ohmmeter sees from a to b with every source
// at rest, in ohms; scratch must have room for two vectors of nodes.
func (s *system) resistanceBetween(a, b int, scratch *[2][]float64) float64 {
	switch {
	case b < 0:
		return s.resistanceTo(a)
	case a < 0:
		return s.resistanceTo(b)
	}
	n := len(s.volts)
	amps, out := zeroed(scratch[0], n), zeroed(scratch[1], n)
	scratch[0], scratch[1] = amps, out
	amps[a] = 1
	amps[b]--
	s.back(amps, out)
	return math.Max(out[a]-out[b], 0)
}

func at(v []float64, node int) float64 {
	if node < 0 {
		return 0
	}
	return v[node]
}
