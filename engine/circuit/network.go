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

// newPlan orders the nodes by least degree and records the fill.
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
	for range nodes {
		best := -1
		for n := range nodes {
			if !done[n] && (best < 0 || len(near[n]) < len(near[best])) {
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
	g      []float64 // by edge
	toRef  []float64 // by node
	inject []float64 // by node, A
	sum    []float64 // by node: total conductance at its elimination
	volts  []float64 // by node, after solve
	work   []float64
}

func (s *system) reset(p *plan, nodes int) {
	s.plan = p
	s.g = zeroed(s.g, p.edges)
	s.toRef = zeroed(s.toRef, nodes)
	s.inject = zeroed(s.inject, nodes)
	s.sum = zeroed(s.sum, nodes)
	s.volts = zeroed(s.volts, nodes)
	s.work = zeroed(s.work, nodes)
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

// factor eliminates every node. Afterwards g, toRef and sum hold the
// factorisation and connect must not be called any more.
func (s *system) factor() {
	for i := range s.plan.steps {
		st := &s.plan.steps[i]
		total := s.toRef[st.node]
		for _, e := range st.edges {
			total += s.g[e]
		}
		s.sum[st.node] = total
		f := 0
		for i, e := range st.edges {
			share := s.g[e] / total
			s.toRef[st.near[i]] += share * s.toRef[st.node]
			for j := i + 1; j < len(st.edges); j++ {
				s.g[st.fills[f]] += share * s.g[st.edges[j]]
				f++
			}
		}
	}
}

// solve puts into volts the node voltages for the injected currents, and leaves
// the currents as they were.
func (s *system) solve() { s.back(s.inject, s.volts) }

// back solves for one right-hand side, amperes by node, into out, volts.
func (s *system) back(amps, out []float64) {
	w := s.work
	copy(w, amps)
	steps := s.plan.steps
	for i := range steps {
		st := &steps[i]
		if x := w[st.node]; x != 0 {
			x /= s.sum[st.node]
			for k, e := range st.edges {
				w[st.near[k]] += s.g[e] * x
			}
		}
	}
	for i := len(steps) - 1; i >= 0; i-- {
		st := &steps[i]
		x := w[st.node]
		for k, e := range st.edges {
			x += s.g[e] * out[st.near[k]]
		}
		out[st.node] = x / s.sum[st.node]
	}
}

// resistanceBetween is what an ideal ohmmeter sees from a to b with every source
// at rest, in ohms; scratch must have room for two vectors of nodes.
func (s *system) resistanceBetween(a, b int, scratch *[2][]float64) float64 {
	n := len(s.volts)
	amps, out := zeroed(scratch[0], n), zeroed(scratch[1], n)
	scratch[0], scratch[1] = amps, out
	if a >= 0 {
		amps[a] = 1
	}
	if b >= 0 {
		amps[b] -= 1
	}
	s.back(amps, out)
	return math.Max(at(out, a)-at(out, b), 0)
}

func at(v []float64, node int) float64 {
	if node < 0 {
		return 0
	}
	return v[node]
}
