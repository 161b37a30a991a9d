package session

import (
	"context"
	"errors"
	"fmt"

	"coilside/rules"
)

// RulesList names the rulesets in force.
func (s *Service) RulesList(ctx context.Context, _ struct{}) (RulesList, error) {
	if err := ctx.Err(); err != nil {
		return RulesList{}, err
	}
	return s.rulesList(), nil
}

func (s *Service) rulesList() RulesList {
	s.mu.Lock()
	defer s.mu.Unlock()
	return RulesList{Rulesets: []RulesSummary{summaryOfRules(s.base.book)}, Refused: s.bad, Experience: s.counted}
}

func (s *Service) inForce() *base {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.base
}

func summaryOfRules(b *rules.Book) RulesSummary {
	return RulesSummary{Name: b.Name, Hash: b.Hash, Circuits: len(b.Circuits), Facts: len(b.Facts),
		Suspects: len(b.Suspects), Tests: len(b.Tests), Rules: len(b.Rules)}
}

// RulesShow gives what is in a ruleset, in words.
func (s *Service) RulesShow(ctx context.Context, r RulesRequest) (RulesView, error) {
	if err := ctx.Err(); err != nil {
		return RulesView{}, err
	}
	in, err := s.rulesFor(r.Ruleset)
	if err != nil {
		return RulesView{}, err
	}
	b := in.book
	v := RulesView{Ruleset: summaryOfRules(b), Complaints: []RulesItem{}, Suspects: []RulesItem{}, Tests: []RulesItem{}, Rules: []RulesItem{}, Parameters: []Parameter{}}
	for _, c := range b.Complaints {
		v.Complaints = append(v.Complaints, RulesItem{ID: c.ID, Words: c.Words, Where: c.Pos.String()})
	}
	for _, x := range b.Suspects {
		v.Suspects = append(v.Suspects, RulesItem{ID: x.ID, Words: x.Words, Where: x.Pos.String()})
	}
	for _, t := range b.Tests {
		v.Tests = append(v.Tests, RulesItem{ID: t.ID, Words: t.Words, Where: t.Pos.String()})
	}
	for _, x := range b.Rules {
		v.Rules = append(v.Rules, RulesItem{ID: x.ID, Words: x.Because, Source: x.Source, Safety: x.Safety, Where: x.Pos.String()})
	}
	for _, p := range b.Parameters {
		v.Parameters = append(v.Parameters, Parameter{ID: p.ID, Value: p.Value, Unit: p.Unit, Source: p.Source})
	}
	return v, nil
}

// RulesCheck reads the rule folders as they are now and reports every problem;
// the rules in force stay as they are.
func (s *Service) RulesCheck(ctx context.Context, _ struct{}) (RulesChecked, error) {
	if err := ctx.Err(); err != nil {
		return RulesChecked{}, err
	}
	book, err := s.readRules()
	if err == nil {
		_, err = newBase(book) // what would keep them from coming into force
	}
	if err != nil {
		return RulesChecked{Rulesets: []RulesSummary{}, Problems: problemsOf(err), Findings: []RulesProblem{}}, nil
	}
	return RulesChecked{OK: true, Rulesets: []RulesSummary{summaryOfRules(book)}, Problems: []RulesProblem{},
		Findings: problemsOf(book.Review(ReviewOptions()).Findings)}, nil
}

func (s *Service) readRules() (*rules.Book, error) {
	if s.o.Reload == nil {
		return s.inForce().book, nil
	}
	return s.o.Reload()
}

func problemsOf(err error) []RulesProblem {
	var list rules.Errors
	if !errors.As(err, &list) {
		return []RulesProblem{{Code: string(rules.CodeFile), Message: err.Error()}}
	}
	out := make([]RulesProblem, len(list))
	for i, e := range list {
		out[i] = RulesProblem{File: e.Pos.File, Line: e.Pos.Line, Column: e.Pos.Column, Code: string(e.Code), Message: e.Message, Hint: e.Hint}
	}
	return out
}

func rulesError(err error) *Error {
	problems := problemsOf(err)
	first := problems[0]
	e := &Error{Kind: Rules, File: first.File, Line: first.Line, Column: first.Column, Message: first.Message}
	if first.Hint != "" {
		e.Message += " (" + first.Hint + ")"
	}
	if len(problems) > 1 {
		e.Message += fmt.Sprintf("; and %d more, which rules.check lists", len(problems)-1)
	}
	return e
}
