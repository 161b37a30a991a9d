package session

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"coilside/rules"
	"coilside/session/rulecase"
)

// Trial says what edited rules are tried on.
type Trial struct {
	Book *rules.Book // the edited rules
	Jobs int         // newest closed jobs at most; 0 = all
	// Cases are played on the edited rules and on Before.
	Cases    []rulecase.Case
	Before   *rules.Book                       // nil = the rules in force
	Progress func(what string, done, most int) // nil = nobody looks; one call after another
}

// RulesImpact tells what the rule folders as they are now would change, before they are
// reloaded: closed jobs and the cases are replayed on them. Errors: Rules where the folders cannot be used.
// progress is told how far it is, one call after another; nil = nobody looks.
func (s *Service) RulesImpact(ctx context.Context, r ImpactRequest, progress func(what string, done, most int)) (Impact, error) {
	most, err := limit(r.Jobs, defaultJobs)
	if err != nil {
		return Impact{}, err
	}
	book, err := s.readRules()
	if err != nil {
		return Impact{}, rulesError(err)
	}
	if book, _, err = s.withExperience(ctx, book); err != nil {
		return Impact{}, rulesError(err)
	}
	cases, err := s.cases()
	if err != nil {
		return Impact{}, &Error{Kind: Rules, Message: "the cases cannot be read: " + err.Error()}
	}
	return s.Try(ctx, Trial{Book: book, Jobs: most, Cases: cases, Progress: progress})
}

// Try replays closed jobs, each on the rules it stands on and on the edited ones, and
// cases, and lists what changes. The jobs stay as they are.
func (s *Service) Try(ctx context.Context, t Trial) (Impact, error) {
	to, err := newBase(t.Book)
	if err != nil {
		return Impact{}, rulesError(err)
	}
	if t.Before == nil {
		t.Before = s.inForce().book
	}
	list, err := s.listed(ctx, "closed")
	if err != nil {
		return Impact{}, err
	}
	list = slices.DeleteFunc(list, func(j JobSummary) bool { return j.Purpose != "" }) // no diagnosis to replay
	if t.Jobs > 0 {
		list = list[:min(t.Jobs, len(list))]
	}
	out := Impact{From: t.Before.Hash, To: t.Book.Hash, Jobs: []JobImpact{}, Cases: []CaseImpact{}}
	jobs := make([]JobImpact, len(list))
	if err := inParallel(ctx, len(jobs), t.progress("jobs"), func(i int) { jobs[i] = s.tryJob(ctx, list[i], to) }); err != nil {
		return Impact{}, err
	}
	cases := make([]CaseImpact, len(t.Cases))
	was, now := rulecase.NewPlayer(t.Before), rulecase.NewPlayer(t.Book)
	if err := inParallel(ctx, len(cases), t.progress("cases"), func(i int) { cases[i] = t.tryCase(t.Cases[i], was, now) }); err != nil {
		return Impact{}, err
	}
	out.add(jobs, cases)
	out.Text = out.text()
	return out, nil
}

func (t Trial) progress(what string) func(done, most int) {
	return func(done, most int) {
		if t.Progress != nil {
			t.Progress(what, done, most)
		}
	}
}

// inParallel does n pieces of work on all processors, until ctx ends.
func inParallel(ctx context.Context, n int, progress func(done, most int), do func(i int)) error {
	work := make(chan int)
	var mu sync.Mutex
	var group sync.WaitGroup
	done := 0
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range work {
				do(i)
				mu.Lock()
				done++
				progress(done, n)
				mu.Unlock()
			}
		})
	}
	for i := range n {
		if ctx.Err() != nil {
			break
		}
		work <- i
	}
	close(work)
	group.Wait()
	return ctx.Err()
}

func (t Trial) tryCase(c rulecase.Case, was, now *rulecase.Player) CaseImpact {
	out := CaseImpact{Case: c.ID, Words: []string{}}
	if t.Before.Hash == t.Book.Hash || c.Whole() && c.Unaffected(t.Before, t.Book) {
		return out
	}
	before, after := was.Play(c), now.Play(c)
	out.Was, out.Now = before.State(), after.State()
	out.Words = append(out.Words, rulecase.Compare(before, after)...)
	return out
}

// add takes in what came of the jobs and cases, those that change first to last.
func (m *Impact) add(jobs []JobImpact, cases []CaseImpact) {
	t := &m.Totals
	for _, j := range jobs {
		if j.Problem != "" {
			t.Unreadable++
			m.Jobs = append(m.Jobs, j)
			continue
		}
		t.Jobs++
		t.TestsWas += j.Was.Tests
		t.TestsNow += j.Now.Tests
		count(&t.RightWas, j.Was.Right)
		count(&t.RightNow, j.Now.Right)
		count(&t.Conclusions, !sameSuspects(j.Was.Conclusion, j.Now.Conclusion))
		count(&t.NewCautions, len(j.NewCautions) > 0)
		count(&t.LostCautions, len(j.LostCautions) > 0)
		if len(j.Words) > 0 {
			t.Changed++
			m.Jobs = append(m.Jobs, j)
		}
	}
	t.Cases = len(cases)
	for _, c := range cases {
		if len(c.Words) > 0 {
			t.CasesChanged++
			count(&t.CasesBroken, c.Was == "passes" && c.Now != "passes")
			m.Cases = append(m.Cases, c)
		}
	}
}

func count(n *int, is bool) {
	if is {
		*n++
	}
}

// text gives the totals first, then each job and case that changes.
func (m *Impact) text() string {
	var b strings.Builder
	t := m.Totals
	fmt.Fprintf(&b, "%d of %d closed jobs change, %d of %d cases.\n", t.Changed, t.Jobs, t.CasesChanged, t.Cases)
	if t.Jobs > 0 {
		fmt.Fprintf(&b, "Conclusions that change: %d. Conclusions that name what was mended and proven: %d, now %d.\n", t.Conclusions, t.RightWas, t.RightNow)
		fmt.Fprintf(&b, "Tests up to the conclusion, all jobs: %d, now %d.\n", t.TestsWas, t.TestsNow)
		fmt.Fprintf(&b, "Jobs with a new caution: %d, with one lost: %d.\n", t.NewCautions, t.LostCautions)
	}
	if t.CasesBroken > 0 {
		fmt.Fprintf(&b, "Cases that pass no more: %d.\n", t.CasesBroken)
	}
	if t.Unreadable > 0 {
		fmt.Fprintf(&b, "Jobs that cannot be replayed on these rules: %d.\n", t.Unreadable)
	}
	for _, j := range m.Jobs {
		fmt.Fprintf(&b, "\njob %s (%s)\n", j.Job, strings.Join(slices.DeleteFunc([]string{j.Label, j.Complaint}, func(s string) bool { return s == "" }), ", "))
		for _, w := range append(slices.Clone(j.Words), slices.DeleteFunc([]string{j.Problem}, func(s string) bool { return s == "" })...) {
			fmt.Fprintf(&b, "  %s\n", w)
		}
	}
	for _, c := range m.Cases {
		fmt.Fprintf(&b, "\ncase %s\n  %s\n", c.Case, strings.Join(c.Words, "\n  "))
	}
	return strings.TrimRight(b.String(), "\n")
}
