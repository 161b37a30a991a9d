package rulecase

import (
	"fmt"
	"hash/fnv"
	"maps"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"

	"go.yaml.in/yaml/v3"
)

// mostLikely bounds the suspects that `among` looks at while nothing is concluded.
const mostLikely = 5

// Whole reports whether a case is a whole job with a ranking, and not the rules alone.
func (c Case) Whole() bool {
	x := c.Expect
	return len(c.Readings) > 0 || x.Conclusion != nil || x.Suspects != nil || x.Among != nil || x.Next != nil || x.Rises != nil || x.Falls != nil
}

// test is the test that a reading answers or skips, and whether it skips it; "" for a repair.
func (r Reading) test() (id string, skipped bool) {
	if n, ok := r["skip"]; ok {
		return n.Value, true
	}
	if _, ok := r["repair"]; ok || len(r) != 1 {
		return "", false
	}
	for id := range r {
		return id, false
	}
	return "", false
}

// job plays a whole job.
func (p *Player) job(c Case) (*result, error) {
	d, err := p.Open(c)
	if err != nil {
		return nil, err
	}
	before := ranked(d)
	for i, reading := range c.Readings {
		before = ranked(d)
		if err := reading.take(d, p.book, i+1); err != nil {
			return nil, fmt.Errorf("reading %d: %w", i+1, err)
		}
	}
	r := c.resultOf(p.book, d.Memory(), d.Late())
	r.before, r.after = before, ranked(d)
	for _, s := range d.Ranking() {
		r.ranking = append(r.ranking, s.Suspect)
	}
	if conclusion := d.Conclusion(); conclusion != nil && len(c.Readings) > 0 {
		r.concluded = conclusion.Suspects
	}
	if c.Expect.Next == nil {
		return r, nil
	}
	if next := d.Next(1); len(next) > 0 {
		r.next = next[0].Test.ID
	}
	return r, nil
}

// Open opens the job of a case, before its readings.
func (p *Player) Open(c Case) (*diagnosis.Case, error) {
	k, err := p.knowledge()
	if err != nil {
		return nil, err
	}
	facts, err := c.facts(p.book)
	if err != nil {
		return nil, err
	}
	for id, v := range facts { // a wiring choice that is a number is known as one
		if number, err := strconv.ParseFloat(v.Text, 64); err == nil && v.Kind == rules.Choice && p.numbered(id) {
			facts[id] = rules.Value{Kind: rules.Number, Number: number, Text: v.Text}
		}
	}
	complaint := ""
	if v, ok := facts["complaint"]; ok {
		complaint = v.Text
		delete(facts, "complaint")
	}
	h := fnv.New64a()
	h.Write([]byte(c.ID))
	return k.Open(diagnosis.Opening{Complaint: complaint, Facts: facts, Seed: h.Sum64()})
}

func (p *Player) numbered(id string) bool {
	return slices.ContainsFunc(p.book.Circuits, func(c *rules.Circuit) bool {
		return slices.ContainsFunc(c.Wiring, func(w *rules.Wiring) bool { return w.ID == id && w.Number })
	})
}

// ranked is how probable each suspect is.
func ranked(d *diagnosis.Case) map[string]float64 {
	out := map[string]float64{}
	for _, s := range d.Ranking() {
		for id := range strings.SplitSeq(s.Suspect, " + ") {
			out[id] += s.Probability
		}
	}
	return out
}

// Take gives the case's readings to a job that Open opened.
func (c Case) Take(d *diagnosis.Case, book *rules.Book) error {
	for i, r := range c.Readings {
		if err := r.take(d, book, i+1); err != nil {
			return fmt.Errorf("reading %d: %w", i+1, err)
		}
	}
	return nil
}

// take gives one reading to a job.
func (r Reading) take(d *diagnosis.Case, book *rules.Book, entry int) error {
	if n, ok := r["repair"]; ok {
		result := r["result"]
		if !slices.Contains([]string{"gone", "still_there", "changed"}, result.Value) {
			return fmt.Errorf("the result of a repair is gone, still_there or changed, not %q", result.Value)
		}
		return d.Repair(diagnosis.Repair{Entry: entry, Suspect: n.Value, Result: result.Value})
	}
	id, skipped := r.test()
	switch {
	case id == "":
		return fmt.Errorf("a reading is {TEST: ANSWER}, {skip: TEST} or {repair: SUSPECT, result: gone}, not %s", strings.Join(slices.Sorted(maps.Keys(r)), " and "))
	case skipped:
		return d.Skip(entry, id)
	}
	t, _ := book.Test(id)
	answer, err := answerOf(t, r[id])
	if err != nil {
		return fmt.Errorf("%s: %w", id, err)
	}
	reading := diagnosis.Reading{Entry: entry, Test: id, Measure: t.Measure, Setup: t.Setup, Answer: answer}
	if d.Read(reading) == nil {
		return nil
	}
	d.Next(0) // a place that is not known is fixed when the test is proposed
	return d.Read(reading)
}

// answerOf reads an answer as it is written: a number, OL, [lowest, highest],
// unsure or one of the test's choices.
func answerOf(t *rules.Test, n yaml.Node) (diagnosis.Answer, error) {
	var pair [2]float64
	if n.Kind == yaml.SequenceNode && len(n.Content) == 2 && n.Decode(&pair) == nil {
		return diagnosis.Answer{MinMax: &pair}, nil
	}
	if n.Kind != yaml.ScalarNode {
		return diagnosis.Answer{}, fmt.Errorf("an answer is a number, OL, [lowest, highest], unsure or a word")
	}
	switch n.Value {
	case "unsure":
		return diagnosis.Answer{Unsure: true}, nil
	case "OL":
		return diagnosis.Answer{Over: true}, nil
	}
	of := t.Of
	if of == nil {
		of = t.Measure.Mode.Answers()
	}
	if of == nil {
		if v, err := strconv.ParseFloat(n.Value, 64); err == nil {
			return diagnosis.Answer{Number: &v}, nil
		}
		return diagnosis.Answer{}, fmt.Errorf("%q is no number", n.Value)
	}
	if !slices.Contains(of, n.Value) {
		return diagnosis.Answer{}, fmt.Errorf("%q is none of %s%s", n.Value, strings.Join(of, ", "), near(n.Value, of, func(s string) string { return s }))
	}
	return diagnosis.Answer{Choice: n.Value}, nil
}
