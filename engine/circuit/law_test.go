package circuit

import (
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"
)

// The laws of direct-current networks, held against random networks. Seeds are
// fixed and printed with every failure.

// mesh is a random network of plain resistances.
type mesh struct {
	nodes int
	pairs [][2]int // -1 = the reference
	g     []float64
	sys   system
}

// newMesh draws a connected network whose resistances lie evenly in the
// logarithm between two numbers of ohms.
func newMesh(rng *rand.Rand, nodes int, low, high float64) *mesh {
	m := &mesh{nodes: nodes}
	ohms := func() float64 { return low * math.Pow(high/low, rng.Float64()) }
	for n := range nodes { // a tree first, so that nothing hangs loose
		m.add(n, rng.IntN(n+1)-1, ohms())
	}
	for range rng.IntN(2 * nodes) {
		m.add(rng.IntN(nodes), rng.IntN(nodes+1)-1, ohms())
	}
	m.factor()
	return m
}

func (m *mesh) add(a, b int, ohms float64) {
	if a != b {
		m.pairs, m.g = append(m.pairs, [2]int{a, b}), append(m.g, 1/ohms)
	}
}

func (m *mesh) factor() {
	p := newPlan(m.nodes, m.pairs)
	n := &Network{plan: p}
	m.sys.reset(&p, m.nodes)
	for i, pair := range m.pairs {
		m.sys.connect(n.between(pair[0], pair[1]), m.g[i])
	}
	m.sys.factor()
}

// solve gives the node volts for amperes into the nodes.
func (m *mesh) solve(amps []float64) []float64 {
	out := make([]float64, m.nodes)
	m.sys.back(amps, out)
	return out
}

func (m *mesh) one(node int) []float64 {
	amps := make([]float64, m.nodes)
	if node >= 0 {
		amps[node] = 1
	}
	return amps
}

func (m *mesh) between(a, b int) float64 {
	return m.sys.resistanceBetween(a, b)
}

// dense solves the same network by plain Gaussian elimination with 300 bits.
func (m *mesh) dense(amps []float64) []float64 {
	num := func(v float64) *big.Float { return new(big.Float).SetPrec(300).SetFloat64(v) }
	a := make([][]*big.Float, m.nodes)
	for i := range a {
		for range m.nodes {
			a[i] = append(a[i], num(0))
		}
		a[i][i].Add(a[i][i], num(leak))
		a[i] = append(a[i], num(amps[i]))
	}
	for i, p := range m.pairs {
		for _, ends := range [][2]int{{p[0], p[1]}, {p[1], p[0]}} {
			if ends[0] < 0 {
				continue
			}
			row := a[ends[0]]
			row[ends[0]].Add(row[ends[0]], num(m.g[i]))
			if ends[1] >= 0 {
				row[ends[1]].Sub(row[ends[1]], num(m.g[i]))
			}
		}
	}
	eliminate(a)
	out := make([]float64, m.nodes)
	for i := range out {
		out[i], _ = new(big.Float).SetPrec(300).Quo(a[i][m.nodes], a[i][i]).Float64()
	}
	return out
}

// eliminate brings a matrix with one right-hand side to diagonal form. It is
// diagonally dominant: no rows need changing over.
func eliminate(a [][]*big.Float) {
	for k := range a {
		for i := range a {
			if i == k || a[i][k].Sign() == 0 {
				continue
			}
			part := new(big.Float).SetPrec(300).Quo(a[i][k], a[k][k])
			for j := k; j <= len(a); j++ {
				a[i][j].Sub(a[i][j], new(big.Float).SetPrec(300).Mul(part, a[k][j]))
			}
		}
	}
}

func relative(a, b float64) float64 {
	if a == b {
		return 0
	}
	return math.Abs(a-b) / max(math.Abs(a), math.Abs(b))
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(relative(got, want) <= within) {
		t.Errorf("%s: %.15g, want %.15g (off by %.2g, allowed %.2g)", what, got, want, relative(got, want), within)
	}
}

const lawSeed = 41

func meshes(t *testing.T, low, high float64, check func(t *testing.T, rng *rand.Rand, m *mesh)) {
	t.Helper()
	for i := range uint64(150) {
		rng := rand.New(rand.NewPCG(lawSeed, i))
		m := newMesh(rng, 2+rng.IntN(24), low, high)
		check(t, rng, m)
		if t.Failed() {
			t.Fatalf("seed %d,%d: %d nodes %v siemens %v", lawSeed, i, m.nodes, m.pairs, m.g)
		}
	}
}

// Elimination by star-mesh agrees with 300-bit elimination at every node, even
// where a milliohm stands beside a gigaohm.
func TestStarMeshAgainstDense(t *testing.T) {
	meshes(t, 1e-3, 1e9, func(t *testing.T, rng *rand.Rand, m *mesh) {
		amps := m.one(rng.IntN(m.nodes))
		want := m.dense(amps)
		for n, got := range m.solve(amps) {
			near(t, "volts", got, want[n], 1e-12)
		}
		a, b := rng.IntN(m.nodes), rng.IntN(m.nodes)
		if a == b {
			return
		}
		amps = m.one(a)
		amps[b] = -1
		want = m.dense(amps)
		near(t, "resistance between two nodes", m.between(a, b), want[a]-want[b], 1e-12)
	})
}

// Kirchhoff: what flows out of a node through its resistances and its leak is
// what is pushed into it.
func TestCurrentsSumToZero(t *testing.T) {
	meshes(t, 1e-2, 1e5, func(t *testing.T, rng *rand.Rand, m *mesh) {
		amps := make([]float64, m.nodes)
		for i := range amps {
			amps[i] = rng.NormFloat64()
		}
		volts := m.solve(amps)
		sum, size := slices.Clone(amps), make([]float64, m.nodes)
		for i, p := range m.pairs {
			flow := m.g[i] * (at(volts, p[0]) - at(volts, p[1]))
			for _, end := range []struct {
				node int
				sign float64
			}{{p[0], -1}, {p[1], 1}} {
				if end.node >= 0 {
					sum[end.node] += end.sign * flow
					size[end.node] += m.g[i] * (math.Abs(at(volts, p[0])) + math.Abs(at(volts, p[1])))
				}
			}
		}
		for n := range sum {
			if left := math.Abs(sum[n] - leak*volts[n]); left > 1e-13*(size[n]+1) {
				t.Errorf("node %d: %g A are left over of %g A", n, left, size[n])
			}
		}
	})
}

// Reciprocity: an ampere into a lifts b by as many volts as one into b lifts a.
func TestReciprocity(t *testing.T) {
	meshes(t, 1e-3, 1e9, func(t *testing.T, rng *rand.Rand, m *mesh) {
		a, b := rng.IntN(m.nodes), rng.IntN(m.nodes)
		near(t, "transfer resistance", m.solve(m.one(a))[b], m.solve(m.one(b))[a], 1e-12)
		near(t, "resistance either way", m.between(a, b), m.between(b, a), 1e-9)
	})
}

// Superposition: the volts of two sources together are the sum of each alone.
func TestSuperposition(t *testing.T) {
	meshes(t, 1e-3, 1e9, func(t *testing.T, rng *rand.Rand, m *mesh) {
		a, b := m.one(rng.IntN(m.nodes)), m.one(rng.IntN(m.nodes))
		both, scale := make([]float64, m.nodes), rng.Float64()*9
		for i := range both {
			both[i] = a[i] + scale*b[i]
		}
		va, vb := m.solve(a), m.solve(b)
		for n, v := range m.solve(both) {
			near(t, "volts", v, va[n]+scale*vb[n], 1e-12)
		}
	})
}

// Adding a resistance anywhere never raises the resistance between two places
// (Rayleigh's monotonicity law).
func TestMonotonicity(t *testing.T) {
	meshes(t, 1e-2, 1e5, func(t *testing.T, rng *rand.Rand, m *mesh) {
		a, b := rng.IntN(m.nodes), -1
		before := m.between(a, b)
		m.add(rng.IntN(m.nodes), rng.IntN(m.nodes+1)-1, 1e-2*math.Pow(1e7, rng.Float64()))
		m.factor()
		if after := m.between(a, b); after > before*(1+1e-12) {
			t.Errorf("from %g to %g ohms by adding a resistance", before, after)
		}
	})
}
