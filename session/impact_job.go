package session

import (
	"context"
	"fmt"
	"slices"

	"coilside/engine"
	"coilside/engine/diagnosis"
	"coilside/rules"
)

// tryJob replays one closed job on the rules it stands on and on others.
func (s *Service) tryJob(ctx context.Context, head JobSummary, to *base) JobImpact {
	out := JobImpact{Job: head.Job, Label: head.Label, Complaint: head.Complaint, NewCautions: []string{}, LostCautions: []string{}, Words: []string{},
		Was: Course{Conclusion: []string{}}, Now: Course{Conclusion: []string{}}}
	j, unlock, err := s.lock(ctx, head.Job)
	if err != nil {
		out.Problem = err.Error()
		return out
	}
	log := slices.Clone(j.log)
	unlock()
	from, notes := s.baseFor(rulesOf(log))
	if notes != nil {
		out.Problem = notes[0]
		return out
	}
	was, err := courseOf(log, from)
	if err != nil {
		out.Problem = err.Error()
		return out
	}
	out.Was, out.Now = was.Course, was.Course
	if sameGround(log, from, to) {
		return out
	}
	now, err := courseOf(log, to)
	if err != nil {
		out.Problem = "it does not fit the edited rules: " + err.Error()
		return out
	}
	out.Now = now.Course
	out.NewCautions, out.LostCautions = without(now.cautions, was.cautions), without(was.cautions, now.cautions)
	out.compare()
	return out
}

// compare words what changes.
func (out *JobImpact) compare() {
	say := func(format string, args ...any) { out.Words = append(out.Words, fmt.Sprintf(format, args...)) }
	words := func(id string) string { return id }
	if !sameSuspects(out.Was.Conclusion, out.Now.Conclusion) {
		say("conclusion was %s, now %s", provedWords(out.Was.Conclusion, words), provedWords(out.Now.Conclusion, words))
	}
	if out.Was.Right != out.Now.Right {
		say("it named what was mended and proven: %s, now %s", yesNo(out.Was.Right), yesNo(out.Now.Right))
	}
	if out.Was.Tests != out.Now.Tests {
		say("tests up to it were %d, now %d", out.Was.Tests, out.Now.Tests)
	}
	for _, c := range out.NewCautions {
		say("new caution: %s", c)
	}
	for _, c := range out.LostCautions {
		say("lost caution: %s", c)
	}
}

func yesNo(is bool) string {
	if is {
		return "yes"
	}
	return "no"
}

// course is how a job goes along its log on some rules.
type course struct {
	Course
	cautions []string
}

// courseOf replays a log. The conclusion is the last one before the repair that helped, or
// before the end; its tests are the readings up to where it first stood.
func courseOf(log []Entry, b *base) (course, error) {
	c, err := b.open(log[0].Opened)
	if err != nil {
		return course{}, err
	}
	out := course{Course: Course{Conclusion: []string{}}}
	read, mended := 0, ""
	look := func() {
		for _, text := range c.Cautions() {
			out.cautions = appendNew(out.cautions, text)
		}
		if next := c.Next(1); len(next) > 0 {
			out.cautions = appendNew(out.cautions, next[0].Cautions...)
		}
		if mended != "" {
			return
		}
		if now := c.Conclusion(); now != nil && read > 0 && !sameSuspects(now.Suspects, out.Conclusion) {
			out.Conclusion, out.Tests = now.Suspects, read
		}
	}
	look()
	for i, e := range log[1:] {
		if err := apply(c, log[:i+1], e); err != nil {
			return course{}, fmt.Errorf("entry %d: %w", e.Entry, err)
		}
		switch {
		case e.Kind == kindReading && !e.Reading.Answer.Unsure:
			read++
		case e.Kind == kindRepaired && e.Repaired.Result == "gone":
			mended = e.Repaired.Suspect
		}
		if inCase[e.Kind] || e.Kind == kindRetracted {
			look()
		}
	}
	if len(out.Conclusion) == 0 {
		out.Tests = read
	}
	out.Right = mended != "" && proven(log) && slices.Contains(out.Conclusion, mended)
	return out, nil
}

// proven reports whether a log ends in a job that was closed as fixed, which takes proof.
func proven(log []Entry) bool {
	return slices.ContainsFunc(standing(log), func(e Entry) bool { return e.Kind == kindClosed && e.Closed == "fixed" })
}

// sameGround reports whether a job is bound to go the same on two rulebooks: nothing that
// the ranking reads off the rules differs on the way.
func sameGround(log []Entry, was, now *base) bool {
	if was.book.Hash == now.book.Hash {
		return true
	}
	if !rules.SameButRules(was.book, now.book) {
		return false
	}
	a, err := grounds(log, was)
	if err != nil {
		return false
	}
	b, err := grounds(log, now)
	return err == nil && slices.Equal(a, b)
}

// grounds is what the ranking reads off the rules, entry by entry.
func grounds(log []Entry, b *base) ([]string, error) {
	o := log[0].Opened
	facts, err := factsOf(b, *o)
	if err != nil {
		return nil, err
	}
	m := engine.New(b.book)
	if _, ok := b.book.Fact("complaint"); ok && o.Complaint != "" {
		facts["complaint"] = rules.Value{Kind: rules.Choice, Text: o.Complaint}
	}
	for id, v := range facts {
		if _, ok := b.book.Fact(id); ok {
			if err := m.Give(0, id, v); err != nil {
				return nil, err
			}
		}
	}
	out := []string{diagnosis.Ground(m)}
	for _, e := range log[1:] {
		var err error
		switch e.Kind {
		case kindReading:
			err = diagnosis.Give(m, b.book, diagnosis.Reading{Entry: e.Entry, Test: e.Reading.Test, Answer: diagnosis.Answer(e.Reading.Answer)})
		case kindFact:
			err = m.Give(e.Entry, e.Fact.Fact, rules.Value(e.Fact.Value))
		case kindRetracted:
			for _, n := range e.Retracted {
				m.TakeBack(n)
			}
		default:
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, diagnosis.Ground(m))
	}
	return out, nil
}
