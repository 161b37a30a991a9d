package study

import (
	"slices"

	"coilside/engine/rank"
	"coilside/engine/vehicle"
	"coilside/rules"
)

// sound is the suspect that nothing is wrong.
const sound = "none.found"

// judge says what a conclusion is worth. A tie counts only where it is true: a fault
// that is there is among those named, and each of the others could be in its place as
// far as anything that was read, or could still be read, tells. That is worked out
// from the vehicle.
func (q *play) judge(con *Conclusion) (End, error) {
	e := End{Named: con.Suspects, Claimed: con.Probability}
	truths := q.job.Vehicle.Faults()
	if len(truths) == 0 {
		truths = []string{sound}
	}
	var hit []string
	for _, id := range con.Suspects {
		if slices.Contains(truths, id) {
			hit = append(hit, id)
		}
	}
	book := q.Knowledge.Book()
	e.Element = slices.ContainsFunc(truths, func(t string) bool { return elementOf(book, t) == elementOf(book, con.Suspects[0]) })
	e.Repair = slices.ContainsFunc(truths, func(t string) bool { return classOf(book, t) == classOf(book, con.Suspects[0]) })
	switch {
	case con.Kind == "pair" && len(hit) < len(con.Suspects):
		e.Verdict = "wrong"
	case len(hit) == 0:
		e.Verdict = "wrong"
	case con.Kind == "pair" || len(con.Suspects) == 1:
		e.Verdict = "right"
	default:
		return q.judgeTie(e, hit[0], truths)
	}
	return e, nil
}

func (q *play) judgeTie(e End, truth string, truths []string) (End, error) {
	replaced := truth
	if truth == sound {
		replaced = ""
	}
	open := q.open()
	for _, other := range e.Named {
		if slices.Contains(truths, other) {
			continue
		}
		by, err := q.job.Vehicle.ToldApart(replaced, other, q.done, open)
		if err != nil {
			return e, err
		}
		if by != "" {
			e.Verdict, e.SplitBy = "false tie", other+" by "+by
			return e, nil
		}
	}
	e.Verdict, e.Element, e.Repair = "true tie", true, true
	return e, nil
}

// shortMost is how probable a short may be and a jumper still be offered.
const shortMost = 0.1

// open lists the tests that could still be asked for: they make sense here, no rule
// forbids them, and they are safe in the true circuit.
func (q *play) open() []vehicle.Taken {
	book := q.Knowledge.Book()
	env := map[string]any{"complaint": q.job.Complaint}
	for id, value := range q.job.Facts {
		env[id] = value.Text
		if value.Kind == rules.Number {
			env[id] = value.Number
		}
	}
	for _, w := range book.Circuits[0].Wiring {
		if _, ok := env[w.ID]; !ok { // not told, but it is so
			env[w.ID], _ = q.job.Vehicle.Wiring().Choice(w.ID)
		}
	}
	short := 0.0
	for _, id := range []string{"load.shorted", "load_wire.short_to_ground"} {
		p, _ := q.desk.Probability(id)
		short += p
	}
	var out []vehicle.Taken
	for _, t := range book.Tests {
		was := func(d vehicle.Taken) bool { return d.Test == t }
		switch {
		case t.Measure.Mode == rules.Ask && !rank.ByHand(t): // it speaks of the wiring, not of faults
		case slices.ContainsFunc(q.done, was) || q.desk.Forbids(t.ID):
		case t.When != nil && t.When.Decide(env) == rules.False:
		case t.Measure.Mode == rules.Bridge && short > shortMost:
		default:
			if taken, ok := q.job.Vehicle.Reach(t); ok {
				out = append(out, taken)
			}
		}
	}
	return out
}

func elementOf(book *rules.Book, id string) string {
	if s, ok := book.Suspect(id); ok {
		return s.Element
	}
	return id
}

// classOf names the repair that mends a suspect.
func classOf(book *rules.Book, id string) string {
	if s, ok := book.Suspect(id); ok {
		return s.Repair.Class
	}
	return id
}
