package session

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/diagnosis"
)

const (
	defaultTests    = 5
	defaultSuspects = 10
	defaultJobs     = 100
	mostListed      = 1000
)

// limit is how many to list: those asked for, 1 to mostListed, or as many as is usual where
// 0 or nothing was asked. Error: Invalid for any other number.
func limit(asked, otherwise int) (int, error) {
	if asked < 0 || asked > mostListed {
		return 0, invalid("limit", "limit is %d; it takes 1 to %d, or 0 for the usual %d", asked, mostListed, otherwise)
	}
	if asked == 0 {
		return otherwise, nil
	}
	return asked, nil
}

// Next lists the tests worth doing now, best first.
func (s *Service) Next(ctx context.Context, r ListRequest) (Tests, error) {
	most, err := limit(r.Limit, defaultTests)
	if err != nil {
		return Tests{}, err
	}
	j, unlock, err := s.lockCase(ctx, r.Job)
	if err != nil {
		return Tests{}, err
	}
	defer unlock()
	out := Tests{Job: j.id, Seq: j.seq(), Tests: []Test{}}
	if j.outcome() != "" {
		return out, nil
	}
	if j.onCourse() {
		out.Tests, err = j.listCourse(most)
		return out, err
	}
	best := j.now().best
	if most > mostTests {
		best = j.c.Next(most)
	}
	for _, p := range best[:min(most, len(best))] {
		out.Tests = append(out.Tests, j.test(p))
	}
	return out, nil
}

// Suspects lists what may be wrong, likeliest first, each with its strongest
// reasons.
func (s *Service) Suspects(ctx context.Context, r ListRequest) (Suspects, error) {
	most, err := limit(r.Limit, defaultSuspects)
	if err != nil {
		return Suspects{}, err
	}
	j, unlock, err := s.lockDiagnosis(ctx, r.Job)
	if err != nil {
		return Suspects{}, err
	}
	defer unlock()
	return Suspects{Job: j.id, Seq: j.seq(), Suspects: j.suspects(most, mostReasons)}, nil
}

// mostReasons bounds the reasons given for one suspect of a list.
const mostReasons = 6

// Explain gives the chain of reasons behind a suspect, a test or an entry.
func (s *Service) Explain(ctx context.Context, r ExplainRequest) (Explanation, error) {
	asked := 0
	for _, given := range []bool{r.Suspect != "", r.Test != "", r.Entry != nil} {
		if given {
			asked++
		}
	}
	if asked != 1 {
		return Explanation{}, invalid("suspect", "say one thing to explain: suspect, test or entry")
	}
	j, unlock, err := s.lockDiagnosis(ctx, r.Job)
	if err != nil {
		return Explanation{}, err
	}
	defer unlock()
	switch {
	case r.Suspect != "":
		return j.explainSuspect(r.Suspect)
	case r.Test != "":
		return j.explainTest(r.Test)
	}
	return j.explainEntry(*r.Entry)
}

func (j *job) explainSuspect(id string) (Explanation, error) {
	for one := range strings.SplitSeq(id, " + ") {
		if _, ok := j.base.book.Suspect(one); !ok {
			return Explanation{}, noSuspect(j.base.book, one)
		}
	}
	r, err := j.c.Explain(id)
	if err != nil {
		return Explanation{}, diagnosisError(err)
	}
	out := Explanation{Job: j.id, Of: "suspect", Suspect: id, Probability: &r.Probability, Reasons: []Reason{}, Text: j.whySuspect(id, mostReasons)}
	for _, reason := range strongest(r.Reasons) {
		out.Reasons = append(out.Reasons, j.reason(reason, ""))
	}
	return out, nil
}

func (j *job) reason(r diagnosis.Reason, suspect string) Reason {
	return Reason{Suspect: suspect, Entry: r.Entry, Rule: r.Rule, Bits: r.Bits, Words: j.reasonText(r), Expected: r.Expected}
}

func (j *job) explainTest(id string) (Explanation, error) {
	if _, ok := j.base.book.Test(id); !ok {
		return Explanation{}, noTest(j.base.book, id)
	}
	out := Explanation{Job: j.id, Of: "test", Test: id, Reasons: []Reason{}, Outcomes: []Prediction{}}
	all := j.c.Next(0)
	i := slices.IndexFunc(all, func(p diagnosis.Proposal) bool { return p.Test.ID == id })
	if i < 0 {
		out.Text = sentence(j.testWords(id) + " is not worth doing now, was done or skipped, or is not allowed here")
		return out, nil
	}
	p := all[i]
	out.Text = fmt.Sprintf("%s\nIt is number %d of %d; it should bring %s bits for %s minutes.", j.whyTest(p), i+1, len(all), plain(p.Gain), plain(p.Minutes))
	for _, o := range p.Outcomes {
		then := Prediction{Words: o.Words, Probability: o.Probability, Then: []Suspect{}}
		for _, r := range o.Then {
			then.Then = append(then.Then, j.suspect(r, 0))
		}
		out.Outcomes = append(out.Outcomes, then)
	}
	return out, nil
}

// explainEntry says what an entry did to the suspects that lead now.
func (j *job) explainEntry(n int) (Explanation, error) {
	if n < 1 || n > len(j.log) {
		return Explanation{}, &Error{Kind: NotFound, Field: "entry", Job: j.id, Message: "there is no entry " + strconv.Itoa(n) + "; the job has " + strconv.Itoa(len(j.log))}
	}
	e := j.log[n-1]
	out := Explanation{Job: j.id, Of: "entry", Entry: &n, Reasons: []Reason{}}
	lines := []string{sentence(e.Words)}
	if e.Said != "" {
		lines = append(lines, "Said: “"+e.Said+"”")
	}
	if taken(j.log)[n] {
		lines = append(lines, "It was taken back and counts for nothing.")
	}
	ranking := j.now().ranking
	for _, r := range ranking[:min(defaultSuspects, len(ranking))] {
		for _, reason := range r.Reasons {
			if reason.Entry == n {
				out.Reasons = append(out.Reasons, j.reason(reason, r.Suspect))
				lines = append(lines, "- "+j.suspectWords(r.Suspect)+": "+bitsWords(reason.Bits))
			}
		}
	}
	out.Text = strings.Join(lines, "\n")
	return out, nil
}

// List gives the jobs, newest first. A job whose log is damaged is listed as such.
func (s *Service) List(ctx context.Context, r JobsRequest) (JobList, error) {
	most, err := limit(r.Limit, defaultJobs)
	if err != nil {
		return JobList{}, err
	}
	states := []string{"open", "closed"}
	if r.State != "" && !slices.Contains(states, r.State) {
		return JobList{}, notOneOf("state", r.State, states)
	}
	jobs, err := s.listed(ctx, r.State)
	if err != nil {
		return JobList{}, err
	}
	return JobList{Jobs: jobs[:min(most, len(jobs))]}, nil
}

// listed gives all jobs within the caller's reach, newest first, of one state where it
// is not "".
func (s *Service) listed(ctx context.Context, state string) ([]JobSummary, error) {
	if err := s.refresh(); err != nil {
		return nil, err
	}
	s.mu.Lock()
	ids := slices.Sorted(maps.Keys(s.jobs))
	s.mu.Unlock()
	out := []JobSummary{}
	for _, id := range ids {
		summary, err := s.summaryOf(ctx, id)
		if err != nil {
			return nil, err
		}
		if summary.Job != "" && (state == "" || state == summary.State) {
			out = append(out, summary)
		}
	}
	slices.SortStableFunc(out, func(a, b JobSummary) int {
		return cmp.Or(b.Opened.Compare(a.Opened), strings.Compare(a.Job, b.Job))
	})
	return out, nil
}

// summaryOf gives what a list says of a job, without its log where that can be;
// nothing of a job out of the caller's reach.
func (s *Service) summaryOf(ctx context.Context, id string) (JobSummary, error) {
	if err := ctx.Err(); err != nil {
		return JobSummary{}, err
	}
	if h := s.headOf(id); h != nil {
		if name, restricted := ownerOf(ctx); restricted && h.Owner != name {
			return JobSummary{}, nil
		}
		return h.JobSummary, nil
	}
	j, unlock, err := s.lock(ctx, id)
	if err != nil {
		if ctx.Err() != nil {
			return JobSummary{}, err
		}
		var e *Error
		if _, restricted := ownerOf(ctx); restricted {
			return JobSummary{}, nil // another's job, or one whose log can't tell whose it is
		}
		if errors.As(err, &e) && e.Kind == NotFound {
			return JobSummary{}, nil // its opening failed just now
		}
		if errors.As(err, &e) {
			return JobSummary{Job: id, State: "damaged", Problem: e.Message}, nil
		}
		return JobSummary{}, err
	}
	defer unlock()
	return j.summary(), nil
}

func (j *job) summary() JobSummary {
	o := j.opening()
	s := JobSummary{Job: j.id, Label: o.Label, Complaint: o.Complaint, Purpose: coursePurpose(o.Purpose), State: "open", Opened: j.log[0].Time, Seq: j.seq(), Outcome: j.outcome()}
	if s.Outcome != "" {
		s.State = "closed"
	}
	return s
}

// Show gives a whole job: its opening, its log and where it stands.
func (s *Service) Show(ctx context.Context, r JobRequest) (JobView, error) {
	j, unlock, err := s.lockCase(ctx, r.Job)
	if err != nil {
		return JobView{}, err
	}
	defer unlock()
	return s.view(j), nil
}

func (s *Service) view(j *job) JobView {
	t := s.newTurn(j)
	t.asked = j.asked
	return JobView{
		JobSummary: j.summary(), Opening: *j.opening(), Engine: j.log[0].Engine, Rules: j.log[0].Rules, RulesNow: rulesOf(j.log),
		Notes: nonNil(slices.Clone(j.notes)), Log: slices.Clone(j.log), Reply: t.compose(),
	}
}
