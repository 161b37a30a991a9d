package session

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"coilside/engine"
)

// MoveRules moves an open job to other rules, those in force if none are named:
// everything that was said and read is weighed anew on them. What that changes is
// answered and kept in the log. Errors: NotFound for rules that are not at hand;
// Conflict where an entry does not fit the other rules, and the job stays as it is.
func (s *Service) MoveRules(ctx context.Context, r MoveRulesRequest) (Moved, error) {
	to, err := s.rulesFor(r.Ruleset)
	if err != nil {
		return Moved{}, err
	}
	if err := s.keepRules(to); err != nil {
		return Moved{}, err
	}
	call := r
	call.Write = Write{}
	out := Moved{Job: r.Job}
	out.Reply, err = s.write(ctx, r.Write, call, func(t *turn) error {
		if err := t.writable(); err != nil {
			return err
		}
		if err := t.j.diagnosing(); err != nil {
			return err
		}
		return t.move(to)
	})
	if err != nil {
		return Moved{}, err
	}
	out.RulesMove, err = s.moveMade(ctx, r.Job, out.Reply)
	return out, err
}

// moveMade finds the move that a reply, perhaps an earlier one, tells of.
func (s *Service) moveMade(ctx context.Context, id string, reply Reply) (RulesMove, error) {
	j, unlock, err := s.lockDiagnosis(ctx, id)
	if err != nil {
		return RulesMove{}, err
	}
	defer unlock()
	if reply.Entry != nil {
		if e := j.log[*reply.Entry-1]; e.Moved != nil {
			return *e.Moved, nil
		}
	}
	now := j.standing()
	hash := rulesOf(j.log)
	return RulesMove{From: hash, To: hash, Changed: differ(now, now, j.suspectWords)}, nil
}

func (t *turn) move(to *base) error {
	j := t.j
	if to.book.Hash == j.base.book.Hash {
		t.say("The job stands on these rules already.")
		return nil
	}
	if _, err := factsOf(to, *j.opening()); err != nil {
		return &Error{Kind: Conflict, Field: "ruleset", Message: "the job does not fit those rules and stays on its own: " + err.Error()}
	}
	was, from := j.standing(), rulesOf(j.log)
	move := &RulesMove{From: from, To: to.book.Hash}
	e := Entry{Kind: kindMoved, Moved: move, Words: "moved to the rules " + shortHash(to.book.Hash) + ", from " + shortHash(from)}
	n, err := t.add(e)
	if err != nil {
		return err
	}
	j.log[n-1].Rules = to.book.Hash
	j.forget()
	if err := j.replay(t.s, t.far); err != nil {
		return &Error{Kind: Conflict, Field: "ruleset", Message: "the job does not fit those rules and stays on its own: " + err.Error() +
			". Take that entry back first"}
	}
	move.Changed = differ(was, j.standing(), j.suspectWords)
	t.understood = append(t.understood, Understood{Entry: &n, Words: e.Words})
	for _, line := range move.Changed.Words {
		t.say("%s", sentence(line))
	}
	if len(move.Changed.Words) == 0 {
		t.say("Nothing changes for this job.")
	}
	return nil
}

// standing is what the rules make of the job now.
func (j *job) standing() Standing {
	now := j.now()
	out := Standing{Conclusion: []string{}, Suspects: j.shown(), Cautions: nonNil(slices.Clone(now.cautions)),
		Advice: nonNil(slices.Clone(now.advice)), Fired: []string{}}
	if now.conclusion != nil {
		out.Conclusion = nonNil(now.conclusion.Suspects)
	}
	if p := j.proposal(); p != nil {
		out.Next = p.Test.ID
	}
	for _, list := range [][]engine.Firing{j.c.Memory().Firings(), j.c.Late()} {
		for _, f := range list {
			out.Fired = append(out.Fired, f.Rule.ID)
		}
	}
	return out
}

// differ says what changed from one standing to another.
func differ(was, now Standing, words func(suspect string) string) Difference {
	d := Difference{Was: was, Now: now, NewCautions: without(now.Cautions, was.Cautions), LostCautions: without(was.Cautions, now.Cautions), Words: []string{}}
	say := func(format string, args ...any) { d.Words = append(d.Words, fmt.Sprintf(format, args...)) }
	if !sameSuspects(was.Conclusion, now.Conclusion) {
		say("proved was %s, now %s", provedWords(was.Conclusion, words), provedWords(now.Conclusion, words))
	}
	if first(was) != first(now) {
		say("likeliest was %s, now %s", likeliestWords(was, words), likeliestWords(now, words))
	}
	if was.Next != now.Next {
		say("next test was %s, now %s", orNone(was.Next), orNone(now.Next))
	}
	for _, c := range d.NewCautions {
		say("new caution: %s", c)
	}
	for _, c := range d.LostCautions {
		say("caution gone: %s", c)
	}
	for _, a := range without(now.Advice, was.Advice) {
		say("new advice: %s", a)
	}
	for _, a := range without(was.Advice, now.Advice) {
		say("advice gone: %s", a)
	}
	if fired := without(now.Fired, was.Fired); len(fired) > 0 {
		say("rules that fire now: %s", strings.Join(fired, ", "))
	}
	if silent := without(was.Fired, now.Fired); len(silent) > 0 {
		say("rules that fire no more: %s", strings.Join(silent, ", "))
	}
	return d
}

func sameSuspects(a, b []string) bool { return len(without(a, b)) == 0 && len(without(b, a)) == 0 }

func first(s Standing) string {
	if len(s.Suspects) == 0 {
		return ""
	}
	return s.Suspects[0].Suspect
}

func provedWords(suspects []string, words func(string) string) string {
	if len(suspects) == 0 {
		return "nothing"
	}
	names := make([]string, len(suspects))
	for i, id := range suspects {
		names[i] = words(id)
	}
	return joined(names, "and")
}

func likeliestWords(s Standing, words func(string) string) string {
	if len(s.Suspects) == 0 {
		return "nothing"
	}
	return words(s.Suspects[0].Suspect) + " (" + percent(s.Suspects[0].Probability) + ")"
}

func orNone(id string) string {
	if id == "" {
		return "none"
	}
	return id
}

// without lists what is in a and not in b, never nil.
func without(a, b []string) []string {
	out := []string{}
	for _, x := range a {
		if !slices.Contains(b, x) {
			out = append(out, x)
		}
	}
	return out
}
