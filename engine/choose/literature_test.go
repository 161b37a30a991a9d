package choose

import (
	"slices"
	"testing"
)

// Three multipliers and two adders, J. de Kleer and B. C. Williams, "Diagnosing
// multiple faults", Artificial Intelligence 32 (1987): inputs A to E are 3, 2, 2,
// 3, 3; X = A C, Y = B D, Z = C E; F = X + Y and G = Y + Z. F reads 10 where 12
// is right, G reads 12. The figures below the sets of faults are computed from
// them, each part failing one time in a hundred.
var (
	parts    = []string{"M1", "M2", "M3", "A1", "A2"}
	observed = struct{ f, g int }{10, 12}
)

// probed are the values of X, Y and Z that a set of bad parts can have brought
// about; nil when it can't explain what was read. A bad part gives any number.
func probed(bad map[string]bool) (x, y, z map[int]bool) {
	const most = 40
	values := func(part string, right int) []int {
		if !bad[part] {
			return []int{right}
		}
		out := make([]int, most+1)
		for i := range out {
			out[i] = i - most/2
		}
		return out
	}
	x, y, z = map[int]bool{}, map[int]bool{}, map[int]bool{}
	for _, vx := range values("M1", 3*2) {
		for _, vy := range values("M2", 2*3) {
			for _, vz := range values("M3", 2*3) {
				if (bad["A1"] || vx+vy == observed.f) && (bad["A2"] || vy+vz == observed.g) {
					x[vx], y[vy], z[vz] = true, true, true
				}
			}
		}
	}
	return x, y, z
}

// diagnoses lists the sets of bad parts that explain the readings and hold no
// smaller set that does, smallest first.
func diagnoses() (sets [][]string) {
	for size := range len(parts) + 1 {
		for bits := range 1 << len(parts) {
			var set []string
			bad := map[string]bool{}
			for i, part := range parts {
				if bits>>i&1 == 1 {
					set, bad[part] = append(set, part), true
				}
			}
			holds := func(s []string) bool {
				return !slices.ContainsFunc(s, func(part string) bool { return !bad[part] })
			}
			if len(set) != size || slices.ContainsFunc(sets, holds) {
				continue
			}
			if x, _, _ := probed(bad); len(x) > 0 {
				sets = append(sets, set)
			}
		}
	}
	return sets
}

func TestThreeMultipliersTwoAdders(t *testing.T) {
	sets := diagnoses()
	want := [][]string{{"M1"}, {"A1"}, {"M2", "M3"}, {"M2", "A2"}}
	if !slices.EqualFunc(sets, want, slices.Equal) {
		t.Fatalf("minimal diagnoses %v, published %v", sets, want)
	}
	prior, sum := make([]float64, len(sets)), 0.0
	for i, set := range sets {
		prior[i] = 1
		for _, part := range parts {
			if slices.Contains(set, part) {
				prior[i] *= 0.01
			} else {
				prior[i] *= 0.99
			}
		}
		sum += prior[i]
	}
	for i, figure := range []float64{0.495, 0.495, 0.005, 0.005} {
		prior[i] /= sum
		near(t, "posterior", prior[i], figure, 0.0005)
	}
	near(t, "entropy", entropy(prior), 1.0808, 0.00005)

	probes := map[string][][]float64{}
	for _, set := range sets {
		bad := map[string]bool{}
		for _, part := range set {
			bad[part] = true
		}
		x, y, z := probed(bad)
		for name, values := range map[string]map[int]bool{"X": x, "Y": y, "Z": z} {
			if len(values) != 1 {
				t.Fatalf("%v leaves %s open: %v", set, name, values)
			}
			row := make([]float64, 20)
			for v := range values {
				row[v] = 1
			}
			probes[name] = append(probes[name], row)
		}
	}
	for name, left := range map[string]float64{"X": 0.0809, "Y": 1.0000, "Z": 1.0354} {
		near(t, "entropy expected after "+name, entropy(prior)-Gain(prior, probes[name]), left, 0.00005)
	}
	after, chance := Posterior(prior, probes["X"], 4)
	near(t, "chance that X is 4", chance, 0.495, 0.0005)
	near(t, "first multiplier after X is 4", after[0], 1, 1e-12)
	after, _ = Posterior(prior, probes["X"], 6)
	near(t, "first adder after X is 6", after[1], 1/(1+2*0.01/0.99), 1e-12)
}
