// Package experience turns a shop's proven repairs into sharper priors: Dirichlet
// counts over the shipped ones, for each complaint and kind of circuit, and within
// it for each vehicle label. What comes out is a ruleset file that a person can read.
package experience

import (
	"cmp"
	"maps"
	"slices"

	"coilside/rules"
)

// Repair is one closed job that ended in a proven repair.
type Repair struct {
	Job       string
	Complaint string
	LoadKind  string // "" = nobody said
	Label     string // of the vehicle; "" = none
	Suspect   string
}

// ExperienceGroup is what the repairs of one complaint and kind of circuit, or of one label
// among them, say.
type ExperienceGroup struct {
	Complaint string            `json:"complaint"`
	LoadKind  string            `json:"load_kind"` // "" = nobody said
	Label     string            `json:"label"`     // "" = all of them
	Jobs      int               `json:"jobs"`
	Suspects  []ExperienceShare `json:"suspects"` // that were mended, most first
}

// ExperienceShare is one suspect of a group.
type ExperienceShare struct {
	Suspect string  `json:"suspect"`
	Repairs int     `json:"repairs"`
	Before  float64 `json:"before"` // its share of the cases before these repairs were counted, 0..1
	After   float64 `json:"after"`  // and with them
	By      float64 `json:"by"`     // factor on its odds that brings it about, within rules.MaxWeight
}

// DefaultWorth is how many jobs the shipped priors weigh as much as. Practice, no source.
const DefaultWorth = 20

type key struct{ complaint, kind, label string }

// tally counts repairs by suspect.
type tally struct {
	n  map[string]int
	of int
}

func (t *tally) add(suspect string) {
	if t.n == nil {
		t.n = map[string]int{}
	}
	t.n[suspect]++
	t.of++
}

// Count works out the groups, sorted by complaint, kind and label. The share of a suspect
// with n of N repairs is the mean of a Dirichlet posterior, (w·p + n)/(w + N), where p is
// its share before and w the worth of what was known before, in jobs (> 0). A label starts
// from what the other labels of its kind say, so that no repair counts twice. prior gives
// the shares of all suspects under a complaint; they add up to 1.
func Count(repairs []Repair, worth float64, prior func(complaint string) map[string]float64) []ExperienceGroup {
	tallies := map[key]*tally{}
	for _, r := range repairs {
		keys := []key{{r.Complaint, r.LoadKind, ""}}
		if r.Label != "" {
			keys = append(keys, key{r.Complaint, r.LoadKind, r.Label})
		}
		for _, k := range keys {
			if tallies[k] == nil {
				tallies[k] = &tally{}
			}
			tallies[k].add(r.Suspect)
		}
	}
	order := slices.SortedFunc(maps.Keys(tallies), func(a, b key) int {
		return cmp.Or(cmp.Compare(a.complaint, b.complaint), cmp.Compare(a.kind, b.kind), cmp.Compare(a.label, b.label))
	})
	var out []ExperienceGroup
	for _, k := range order {
		all := tallies[key{k.complaint, k.kind, ""}]
		out = append(out, group(k, tallies[k], all, worth, prior(k.complaint)))
	}
	return out
}

// group words one tally. Its factors are on top of those of the kind's group, whose rule
// fires beside its own: odds among suspects that nobody mended stay as they are.
func group(k key, t, all *tally, worth float64, prior map[string]float64) ExperienceGroup {
	g := ExperienceGroup{Complaint: k.complaint, LoadKind: k.kind, Label: k.label, Jobs: t.of}
	w := worth
	for _, id := range slices.Sorted(maps.Keys(t.n)) {
		p, n := prior[id], float64(t.n[id])
		if p <= 0 {
			continue // this circuit's rules have no such suspect
		}
		s := ExperienceShare{Suspect: id, Repairs: t.n[id], Before: p}
		if k.label == "" {
			s.After = (w*p + n) / (w + float64(t.of))
			s.By = 1 + n/(w*p)
		} else {
			others := float64(all.n[id] - t.n[id])
			s.Before = (w*p + others) / (w + float64(all.of-t.of))
			s.After = (w*s.Before + n) / (w + float64(t.of))
			kind := 1 + float64(all.n[id])/(w*p) // what the kind's rule says already
			s.By = (1 + others/(w*p)) * (1 + n/(w*s.Before)) / kind
		}
		s.By = min(max(s.By, 1/float64(rules.MaxWeight)), rules.MaxWeight)
		g.Suspects = append(g.Suspects, s)
	}
	slices.SortStableFunc(g.Suspects, func(a, b ExperienceShare) int { return b.Repairs - a.Repairs })
	return g
}
