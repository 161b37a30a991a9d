// Package survey looks at a whole rulebook through its circuit: which suspects no test
// can tell apart, in any wiring, and which tests tell nothing apart.
package survey

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

const (
	// mostWirings is how many of the likeliest wirings are looked at, beside those that a suspect
	// needs to be possible at all.
	mostWirings = 8
	// mostMore bounds how many others are looked at for what these left open.
	mostMore = 40
	// mostForTwins bounds those in which all tests are tried again on suspects that look alike.
	mostForTwins = 8
	// telling is the least difference in what a test may answer, as the share of answers that
	// would differ, for it to tell two suspects apart. Clouds of guesses differ by luck; those that
	// expect the same share one estimate and do not differ at all.
	telling = 0.08
)

// Pair is two suspects, in the order of the book.
type Pair [2]string

// Result is what a survey found.
type Result struct {
	Twins []Pair             // different repairs, and no test tells which
	Idle  []string           // tests that tell no two suspects apart
	Best  map[Pair]float64   // how well the best test tells two suspects apart, 0..1
	Helps map[string]float64 // by test: how well it tells any two apart
}

// Of surveys a rulebook. It is an error when a formula of the circuit fails. A book
// without a circuit is surveyed by the figures its tests carry.
func Of(book *rules.Book, model *circuit.Model) (*Result, error) {
	r := &Result{Best: map[Pair]float64{}, Helps: map[string]float64{}}
	first, more, err := wiringsOf(book, model)
	if err != nil {
		return nil, err
	}
	every := func(string) bool { return true }
	for i, w := range first {
		if err := r.look(book, model, w, uint64(i+1), true, every); err != nil {
			return nil, err
		}
	}
	r.conclude(book)
	for i := range min(mostMore, len(more)) {
		all := len(r.Twins) > 0 && i < mostForTwins
		if !all && len(r.Idle) == 0 {
			break
		}
		only := func(id string) bool { return all || slices.Contains(r.Idle, id) }
		if err := r.look(book, model, more[i], uint64(len(first)+i+1), all, only); err != nil {
			return nil, err
		}
		r.conclude(book)
	}
	return r, nil
}

// wiringsOf picks the likeliest wirings, and one for every suspect and test that has none yet.
func wiringsOf(book *rules.Book, model *circuit.Model) (chosen, more []*circuit.Wiring, err error) {
	if model == nil {
		return []*circuit.Wiring{nil}, nil, nil
	}
	ws, err := model.Wirings(nil)
	if err != nil {
		return nil, nil, err
	}
	all := slices.Clone(ws.All())
	slices.SortStableFunc(all, func(a, b *circuit.Wiring) int { return cmp.Compare(b.Share, a.Share) })
	chosen = slices.Clone(all[:min(mostWirings, len(all))])
	one := func(fits func(*circuit.Wiring) bool) {
		if i := slices.IndexFunc(all, fits); i >= 0 && !slices.ContainsFunc(chosen, fits) {
			chosen = append(chosen, all[i])
		}
	}
	for _, s := range book.Suspects {
		if f, ok := model.Fault(s.ID); ok {
			one(func(w *circuit.Wiring) bool { return model.Possible(f, w) })
		}
	}
	for _, t := range book.Tests {
		one(func(w *circuit.Wiring) bool { return applies(book, t, w) })
	}
	for _, w := range all {
		if !slices.Contains(chosen, w) {
			more = append(more, w)
		}
	}
	return chosen, more, nil
}

// look compares all suspects by all tests in one wiring.
func (r *Result) look(book *rules.Book, model *circuit.Model, w *circuit.Wiring, seed uint64, all bool, of func(test string) bool) error {
	known, facts := choices(book, w)
	belief, err := rank.Open(rank.Opening{Book: book, Model: model, Wiring: known, Facts: facts, Seed: seed})
	if err != nil {
		return err
	}
	even := map[string]float64{}
	for _, h := range belief.Ranking() { // rare ones and those of rare wirings count as much as any
		even[h.ID()] = -math.Log(h.Probability())
	}
	belief.Weigh(even)
	var cs []*rank.Candidate
	for _, t := range book.Tests {
		if !of(t.ID) || !applies(book, t, w) {
			continue
		}
		m, _ := placed(t, w)
		c, err := belief.Candidate(t, m, circuit.SetupFor(m, t.Setup))
		if err != nil {
			continue // told by the circuit's own check
		}
		cs = append(cs, c)
	}
	outlooks := belief.Outlooks(cs, rank.Believed)
	for i, o := range outlooks {
		r.compare(book, cs[i].Test.ID, &o, all)
	}
	return nil
}

// choices are what is known of a wiring, as the ranking and as formulas take it.
func choices(book *rules.Book, w *circuit.Wiring) (known map[string]string, facts map[string]any) {
	known, facts = map[string]string{}, map[string]any{}
	if w == nil {
		return known, facts
	}
	for _, v := range book.Circuits[0].Wiring {
		word, ok := w.Choice(v.ID)
		if !ok {
			continue
		}
		known[v.ID], facts[v.ID] = word, word
		if n, err := strconv.ParseFloat(word, 64); v.Number && err == nil {
			facts[v.ID] = n
		}
	}
	return known, facts
}

// applies says whether a test makes sense in a wiring and finds its places there.
func applies(book *rules.Book, t *rules.Test, w *circuit.Wiring) bool {
	if _, ok := placed(t, w); !ok {
		return false
	}
	_, facts := choices(book, w)
	return t.When == nil || t.When.Decide(facts) != rules.False
}

// placed fills in the roles of a test; false where this wiring lacks one of its places.
func placed(t *rules.Test, w *circuit.Wiring) (rules.Measure, bool) {
	m := t.Measure
	if w == nil {
		return m, true
	}
	for _, place := range []*string{&m.Red, &m.Black, &m.At, &m.From, &m.To} {
		*place = w.Fill(*place)
		if strings.Contains(*place, "{") {
			return m, false
		}
	}
	if rank.ByHand(t) {
		return m, true
	}
	for _, place := range m.Places() {
		if !w.Has(place) {
			return m, false
		}
	}
	return m, true
}

// compare notes how well one test tells each two suspects apart. Two that meet for the
// first time where not all tests are tried are left for a wiring where they are.
func (r *Result) compare(book *rules.Book, test string, o *rank.Outlook, all bool) {
	if _, ok := r.Helps[test]; !ok {
		r.Helps[test] = 0
	}
	for i, a := range o.Hyps {
		for j := i + 1; j < len(o.Hyps); j++ {
			b := o.Hyps[j]
			pair, ok := pairOf(book, a.Suspects, b.Suspects)
			if !ok {
				continue
			}
			d := 0.0
			for k := range o.Cells[i] {
				d += math.Abs(o.Cells[i][k]-o.Cells[j][k]) / 2
			}
			if _, met := r.Best[pair]; met || all {
				r.Best[pair] = max(r.Best[pair], d)
			}
			r.Helps[test] = max(r.Helps[test], d)
		}
	}
}

// pairOf is a pair worth telling apart: two single suspects with different repairs.
func pairOf(book *rules.Book, a, b []string) (Pair, bool) {
	if len(a) != 1 || len(b) != 1 {
		return Pair{}, false
	}
	x, _ := book.Suspect(a[0])
	y, _ := book.Suspect(b[0])
	if x.Repair.Class == y.Repair.Class {
		return Pair{}, false
	}
	i, _ := book.SuspectIndex(x.ID)
	j, _ := book.SuspectIndex(y.ID)
	if i > j {
		x, y = y, x
	}
	return Pair{x.ID, y.ID}, true
}

func (r *Result) conclude(book *rules.Book) {
	r.Twins, r.Idle = nil, nil
	for i, x := range book.Suspects {
		for _, y := range book.Suspects[i+1:] {
			if d, met := r.Best[Pair{x.ID, y.ID}]; met && d < telling {
				r.Twins = append(r.Twins, Pair{x.ID, y.ID})
			}
		}
	}
	for _, t := range book.Tests {
		seen := t.Measure.Mode == rules.Ask || t.Measure.Mode == rules.Look // by people, not by the circuit
		if d := r.Helps[t.ID]; d < telling && !t.Proof && (rank.ByHand(t) || !seen) {
			r.Idle = append(r.Idle, t.ID)
		}
	}
}

// Findings puts a result into the words of a review.
func (r *Result) Findings(book *rules.Book) rules.Errors {
	var out rules.Errors
	for _, p := range r.Twins {
		out = append(out, book.About("suspect", p[1], rules.CodeTwins,
			fmt.Sprintf("no test can tell %q from %q, though their repairs differ", p[1], p[0]),
			"add a test that tells them apart, a look at the part for instance, or give both one  class  of repair"))
	}
	for _, id := range r.Idle {
		message, hint := fmt.Sprintf("%q tells no two suspects apart, in any wiring", id), "drop it, or correct its places and its setup"
		if _, met := r.Helps[id]; !met {
			message, hint = fmt.Sprintf("no wiring has the places that %q measures", id), "correct its places or its  when"
		}
		out = append(out, book.About("test", id, rules.CodeUseless, message, hint))
	}
	return out
}
