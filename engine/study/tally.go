package study

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// Tally is what the jobs of one stratum under one policy came to.
type Tally struct {
	Stratum Stratum
	Policy  string
	Results []*Result
}

// claimedAt is the probability from which a conclusion counts as claimed.
const claimedAt = 0.95

// share is the part of the results that is so, 0..1.
func (t *Tally) share(is func(*Result) bool) float64 {
	n := 0
	for _, r := range t.Results {
		if is(r) {
			n++
		}
	}
	return float64(n) / float64(max(len(t.Results), 1))
}

func (t *Tally) mean(of func(*Result) float64) float64 {
	sum := 0.0
	for _, r := range t.Results {
		sum += of(r)
	}
	return sum / float64(max(len(t.Results), 1))
}

// Exact is the share of jobs in which every conclusion named the fault, or tied it
// with what nothing tells from it.
func (t *Tally) Exact() float64 { return t.share(func(r *Result) bool { return r.Exact }) }

// Element is the share with the right element, Repair with the right repair.
func (t *Tally) Element() float64 { return t.share(func(r *Result) bool { return r.Element }) }

// Repair is the share with the right repair.
func (t *Tally) Repair() float64 { return t.share(func(r *Result) bool { return r.Repair }) }

// Uncondemned is the share in which no conclusion leaves out that all is sound.
func (t *Tally) Uncondemned() float64 {
	return t.share(func(r *Result) bool {
		return !slices.ContainsFunc(r.Ends, func(e End) bool { return len(e.Named) > 0 && !slices.Contains(e.Named, sound) })
	})
}

// Tests is the mean number of tests of a job, Minutes of minutes, LogLoss of nats.
func (t *Tally) Tests() float64 { return t.mean(func(r *Result) float64 { return float64(r.Tests) }) }

// Minutes is the mean over jobs, without mending.
func (t *Tally) Minutes() float64 { return t.mean(func(r *Result) float64 { return r.Minutes }) }

// LogLoss is the mean over jobs, in nats.
func (t *Tally) LogLoss() float64 { return t.mean(func(r *Result) float64 { return r.LogLoss }) }

// Concluded is the share of jobs whose last conclusion claims 95 % or more.
func (t *Tally) Concluded() float64 {
	return t.share(func(r *Result) bool { return r.Ends[len(r.Ends)-1].Claimed >= claimedAt })
}

func (t *Tally) claims(from, to float64) (n int, claimed, right float64) {
	for _, r := range t.Results {
		for _, e := range r.Ends {
			if e.Verdict == "none" || e.Claimed < from || e.Claimed >= to {
				continue
			}
			n++
			claimed += e.Claimed
			if e.Verdict != "wrong" {
				right++
			}
		}
	}
	return n, claimed / float64(max(n, 1)), right / float64(max(n, 1))
}

// Calibrated is the share of conclusions claimed at 95 % or more that are right.
func (t *Tally) Calibrated() float64 {
	n, _, right := t.claims(claimedAt, 2)
	if n == 0 {
		return math.NaN()
	}
	return right
}

// turn is a quantile of the milliseconds from an answer to the next test.
func (t *Tally) turn(quantile float64) float64 {
	var all []float64
	for _, r := range t.Results {
		all = append(all, r.Turns...)
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[min(int(quantile*float64(len(all))), len(all)-1)]
}

// line is one row of the table.
func (t *Tally) line() string {
	per := func(x float64) string {
		if math.IsNaN(x) {
			return "-"
		}
		return fmt.Sprintf("%.1f", 100*x)
	}
	unhurt := "-"
	if t.Stratum.Faults == 0 {
		unhurt = per(t.Uncondemned())
	}
	return fmt.Sprintf("%-13s %-16s %5d %6s %7s %6s %9s %6.1f %7.1f %6s %6s %8.3f %6.1f %6.1f", t.Stratum.ID, t.Policy, len(t.Results), per(t.Exact()),
		per(t.Element()), per(t.Repair()), unhurt, t.Tests(), t.Minutes(), per(t.Concluded()), per(t.Calibrated()), t.LogLoss(), t.turn(0.5), t.turn(0.99))
}

// Table prints the tallies, a row each.
func Table(w io.Writer, all []*Tally) {
	fmt.Fprintf(w, "%-13s %-16s %5s %6s %7s %6s %9s %6s %7s %6s %6s %8s %6s %6s\n", "stratum", "policy", "jobs", "exact", "element", "repair", "nothing", "tests", "minutes", "said", "right", "log loss", "ms a", "ms a")
	fmt.Fprintf(w, "%-13s %-16s %5s %6s %7s %6s %9s %6s %7s %6s %6s %8s %6s %6s\n", "", "", "", "%", "%", "%", "cond. %", "", "", ">=95 %", "then %", "nats", "turn", "p99")
	for _, t := range all {
		fmt.Fprintln(w, t.line())
	}
}

// Against prints, by stratum, the minutes of the first policy over those of each other.
func Against(w io.Writer, all []*Tally) {
	for _, t := range all {
		for _, other := range all {
			if t.Policy == all[0].Policy && other.Policy != t.Policy && other.Stratum.ID == t.Stratum.ID {
				fmt.Fprintf(w, "%s: %s takes %.2f of the minutes of %s\n", t.Stratum.ID, t.Policy, t.Minutes()/other.Minutes(), other.Policy)
			}
		}
	}
}

// Calibration prints, by stratum, how often conclusions of a claimed probability
// were right.
func Calibration(w io.Writer, all []*Tally) {
	edges := []float64{0, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999, 2}
	fmt.Fprintf(w, "%-13s %-16s %s\n", "claimed (%)", "", " conclusions: mean claimed -> right, both %")
	for _, t := range all {
		var cells []string
		for i := range len(edges) - 1 {
			if n, claimed, right := t.claims(edges[i], edges[i+1]); n > 0 {
				cells = append(cells, fmt.Sprintf("%d: %.1f->%.1f", n, 100*claimed, 100*right))
			}
		}
		fmt.Fprintf(w, "%-13s %-16s %s\n", t.Stratum.ID, t.Policy, strings.Join(cells, "  "))
	}
}

// Silent counts, by fault, how often it was drawn and caused no complaint, the most
// often first.
func Silent(all []*Tally) string {
	count := map[string]int{}
	for _, t := range all {
		if t.Policy != all[0].Policy {
			continue // the same jobs
		}
		for _, r := range t.Results {
			for _, id := range r.Job.Silent {
				count[id]++
			}
		}
	}
	return counted(count)
}

func counted(count map[string]int) string {
	var ids []string
	for id := range count {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b string) int {
		if count[a] != count[b] {
			return count[b] - count[a]
		}
		return strings.Compare(a, b)
	})
	for i, id := range ids {
		ids[i] = fmt.Sprintf("%s %d", id, count[id])
	}
	return strings.Join(ids, ", ")
}

// Misses prints the jobs that were not exact, a line each, and the truths behind
// them.
func (t *Tally) Misses(w io.Writer) {
	missed := map[string]int{}
	for _, r := range t.Results {
		if r.Exact {
			continue
		}
		truth := strings.Join(r.Job.Faults, " and ")
		missed[truth]++
		var ends []string
		for _, e := range r.Ends {
			ends = append(ends, strings.TrimSpace(fmt.Sprintf("%s at %.2f: %s %s", e.Verdict, e.Claimed, strings.Join(e.Named, ", "), e.SplitBy)))
		}
		fmt.Fprintf(w, "  %s %s --case %d: %s, %s, %d tests, %d wrong readings: %s\n", t.Stratum.ID, t.Policy, r.Job.Number, truth, r.Job.Complaint, r.Tests, r.Wrong, strings.Join(ends, "; "))
	}
	fmt.Fprintf(w, "  %s %s, missed: %s\n", t.Stratum.ID, t.Policy, counted(missed))
}
