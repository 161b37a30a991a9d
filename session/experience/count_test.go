package experience_test

import (
	"math/rand/v2"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session/experience"
)

var prior = map[string]float64{"a": 0.5, "b": 0.3, "c": 0.15, "d": 0.05}

func priors(string) map[string]float64 { return prior }

// The factors, on the odds of the shipped priors, give the mean of the Dirichlet posterior
// (Gelman et al., Bayesian Data Analysis, 3rd ed., section 3.4: (alpha_j + y_j) over the sum of both),
// for the kind and, with the label's factors on top, for the label. Random counts, seeds printed.
func TestFactorsGiveTheDirichletMean(t *testing.T) {
	for seed := range uint64(200) {
		rng := rand.New(rand.NewPCG(seed, 5))
		worth := 1 + 40*rng.Float64()
		var repairs []experience.Repair
		n, m := map[string]float64{}, map[string]float64{}
		var all, own float64
		for range 1 + rng.IntN(12) {
			r := experience.Repair{Complaint: "dead", LoadKind: "motor", Suspect: []string{"a", "b", "c"}[rng.IntN(3)]}
			if rng.IntN(2) == 0 {
				r.Label = "van"
				m[r.Suspect]++
				own++
			}
			n[r.Suspect]++
			all++
			repairs = append(repairs, r)
		}
		kind, label := map[string]float64{}, map[string]float64{}
		for _, g := range experience.Count(repairs, worth, priors) {
			for _, s := range g.Suspects {
				if g.Label == "" {
					kind[s.Suspect] = s.By
				} else {
					label[s.Suspect] = s.By
				}
			}
		}
		now, van := reweighed(kind, nil), reweighed(kind, label)
		for id, p := range prior {
			require.InDelta(t, (worth*p+n[id])/(worth+all), now[id], 1e-9, "seed %d, %s", seed, id)
			others := (worth*p + n[id] - m[id]) / (worth + all - own)
			if own > 0 {
				require.InDelta(t, (worth*others+m[id])/(worth+own), van[id], 1e-9, "seed %d, %s with its label", seed, id)
			}
		}
	}
}

func reweighed(by ...map[string]float64) map[string]float64 {
	out, sum := map[string]float64{}, 0.0
	for id, p := range prior {
		for _, f := range by {
			if f[id] != 0 {
				p *= f[id]
			}
		}
		out[id] = p
		sum += p
	}
	for id := range out {
		out[id] /= sum
	}
	return out
}

// What is written is a ruleset that loads over the shipped one, whatever the label says.
func TestTheFileLoads(t *testing.T) {
	repairs := []experience.Repair{
		{Complaint: "dead", LoadKind: "motor", Label: `Kran "7": <b>#1</b>\n`, Suspect: "load_ground.open"},
		{Complaint: "dead", LoadKind: "motor", Suspect: "load_ground.open"},
		{Complaint: "weak", Suspect: "terminal_87.resistive"},
	}
	shipped := func(string) map[string]float64 {
		return map[string]float64{"load_ground.open": 0.01, "terminal_87.resistive": 0.002}
	}
	file := experience.File(experience.Count(repairs, 20, shipped), 20)
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()},
		rules.Layer{Name: "experience", FS: fstest.MapFS{"counted.yaml": &fstest.MapFile{Data: file}}})
	require.NoError(t, err, "%s", file)
	require.Contains(t, string(file), "2 of 2; share 1 % before, 10 % now")
	last := book.Rules[len(book.Rules)-1]
	require.Equal(t, `complaint == "weak" and not known(load_kind)`, last.When.Source())
	require.InDelta(t, 26, last.Then[0].By, 1e-9)
	require.Equal(t, "Proven repairs here, weak, load not known: 1 in all: terminal_87.resistive 1.", last.Because)
}
