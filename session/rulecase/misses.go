package rulecase

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilside/rules"
)

// differences collects in what a result differs from an expectation, one line each,
// in the words of the case file.
type differences []string

func (d *differences) add(format string, args ...any) { *d = append(*d, fmt.Sprintf(format, args...)) }

// misses lists in what the result differs from the expectation.
func (c Case) misses(book *rules.Book, r *result) []string {
	x := c.Expect
	var d differences
	if x.Facts != nil {
		d.table("facts", x.Facts, r.facts)
	}
	if x.Weights != nil {
		d.table("weights", plainly(spell(x.Weights, book.MatchSuspects)), plainly(r.weights))
	}
	if x.Preferred != nil {
		d.table("preferred", plainly(spell(x.Preferred, book.MatchTests)), plainly(r.preferred))
	}
	for _, list := range []struct {
		what string
		want *[]string
		some []string
		got  []string
	}{
		{"required", x.Required, nil, r.required}, {"forbidden", x.Forbidden, x.SomeForbidden, r.forbidden},
		{"cautions", x.Cautions, x.SomeCautions, r.cautions}, {"advice", x.Advice, x.SomeAdvice, r.advice},
	} {
		d.missing(list.what, list.some, list.got)
		if list.want != nil {
			d.missing(list.what, *list.want, list.got)
			d.surplus(list.what, *list.want, list.got)
		}
	}
	for _, rule := range c.Quiet {
		if r.fired[rule] {
			d.add("quiet: %s should be silent, but fires", rule)
		}
	}
	d.ofJob(x, r)
	return d
}

// ofJob compares what only a whole job has.
func (d *differences) ofJob(x expectation, r *result) {
	if x.Conclusion != nil && !sameSet(*x.Conclusion, r.concluded) {
		d.add("conclusion: should be %s, but is %s", listed(*x.Conclusion), listed(r.concluded))
	}
	if first := r.ranking[:min(len(x.Suspects), len(r.ranking))]; !slices.Equal(x.Suspects, first) {
		d.add("suspects: likeliest should be %s, but is %s", listed(x.Suspects), listed(first))
	}
	among, where := r.concluded, "the conclusion"
	if len(among) == 0 {
		among, where = r.ranking[:min(mostLikely, len(r.ranking))], "the likeliest"
	}
	if !within(x.Among, among) {
		d.add("among: %s should name %s, but is %s", where, listed(x.Among), listed(among))
	}
	if x.Next != nil && *x.Next != r.next {
		d.add("next: should be %s, but is %s", listed([]string{*x.Next}), listed([]string{r.next}))
	}
	for _, id := range x.Rises {
		if !(r.after[id] > r.before[id]) {
			d.add("rises: the last reading should make %s likelier, but takes it from %.3g to %.3g", id, r.before[id], r.after[id])
		}
	}
	for _, id := range x.Falls {
		if !(r.after[id] < r.before[id]) {
			d.add("falls: the last reading should make %s less likely, but takes it from %.3g to %.3g", id, r.before[id], r.after[id])
		}
	}
}

func (d *differences) table(what string, want, got map[string]string) {
	for _, id := range slices.Sorted(maps.Keys(want)) {
		switch is, ok := got[id]; {
		case !ok:
			d.add("%s: %s should be %s, but is not there", what, id, want[id])
		case !same(is, want[id]):
			d.add("%s: %s should be %s, but is %s", what, id, want[id], is)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(got)) {
		if _, ok := want[id]; !ok {
			d.add("%s: %s is %s, but should not be there", what, id, got[id])
		}
	}
}

func (d *differences) missing(what string, want, got []string) {
	for _, id := range want {
		if !slices.Contains(got, id) {
			d.add("%s: %s should be there, but is not", what, id)
		}
	}
}

func (d *differences) surplus(what string, want, got []string) {
	for _, id := range got {
		if !slices.Contains(want, id) {
			d.add("%s: %s is there, but should not be", what, id)
		}
	}
}

// same compares two values as written; numbers as numbers.
func same(a, b string) bool {
	x, wrong := strconv.ParseFloat(a, 64)
	y, err := strconv.ParseFloat(b, 64)
	return a == b || wrong == nil && err == nil && math.Abs(x-y) < 1e-9
}

func plainly(factors map[string]float64) map[string]string {
	out := map[string]string{}
	for id, f := range factors {
		out[id] = strconv.FormatFloat(f, 'g', 12, 64)
	}
	return out
}

func listed(ids []string) string {
	if len(ids) == 0 || len(ids) == 1 && ids[0] == "" {
		return "none"
	}
	return strings.Join(ids, ", ")
}

// spell writes a table of patterns out by id.
func spell(patterns map[string]float64, match func(string) []string) map[string]float64 {
	out := map[string]float64{}
	for pattern, factor := range patterns {
		for _, id := range match(pattern) {
			out[id] = factor
		}
	}
	return out
}

func sameSet(a, b []string) bool { return within(a, b) && within(b, a) }

func within(a, b []string) bool {
	return !slices.ContainsFunc(a, func(s string) bool { return !slices.Contains(b, s) })
}
