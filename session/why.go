package session

import (
	"context"
	"fmt"

	"coilside/rules"
	"coilside/session/rulecase"
	"coilside/session/rulewhy"
)

// RulesWhy tells why a rule fires or does not, for a job, open or closed, or for a
// case of the rules. Errors: Invalid where not exactly one of job and case is named;
// NotFound for a job, case or rule that is not there, with the nearest.
func (s *Service) RulesWhy(ctx context.Context, r WhyRequest) (rulewhy.WhyRule, error) {
	if r.Rule == "" {
		return rulewhy.WhyRule{}, invalid("rule", "rule is missing: say which rule")
	}
	if (r.Job == "") == (r.Case == "") {
		return rulewhy.WhyRule{}, invalid("job", "say where: job or case, one of them")
	}
	if r.Case != "" {
		return s.whyInCase(ctx, r)
	}
	j, unlock, err := s.lockDiagnosis(ctx, r.Job)
	if err != nil {
		return rulewhy.WhyRule{}, err
	}
	defer unlock()
	d, ok := j.c.WhyRule(r.Rule)
	if !ok {
		return rulewhy.WhyRule{}, noRule(j.base.book, r.Rule)
	}
	return rulewhy.Facts{Book: j.base.book, Memory: j.c.Memory(), Chance: j.c.Probability}.Tell(d), nil
}

func (s *Service) whyInCase(ctx context.Context, r WhyRequest) (rulewhy.WhyRule, error) {
	if err := ctx.Err(); err != nil {
		return rulewhy.WhyRule{}, err
	}
	cases, err := s.cases()
	if err != nil {
		return rulewhy.WhyRule{}, &Error{Kind: Rules, Field: "case", Message: "the cases cannot be read: " + err.Error()}
	}
	return WhyInCase(s.inForce().book, cases, r.Case, r.Rule)
}

// cases reads the cases beside the rules in force; none where they are not at hand.
func (s *Service) cases() ([]rulecase.Case, error) {
	if s.o.Cases == nil {
		return nil, nil
	}
	return s.o.Cases()
}

// WhyInCase tells why a rule fires or does not in one of the cases. Errors: those of
// RulesWhy.
func WhyInCase(book *rules.Book, cases []rulecase.Case, id, rule string) (rulewhy.WhyRule, error) {
	if _, ok := book.Rule(rule); !ok {
		return rulewhy.WhyRule{}, noRule(book, rule)
	}
	known := make([]string, len(cases))
	for i, c := range cases {
		if known[i] = c.ID; c.ID != id {
			continue
		}
		d, memory, err := rulecase.NewPlayer(book).Why(c, rule)
		if err != nil {
			return rulewhy.WhyRule{}, refuse(Invalid, "the case %s cannot be played: %v", id, err)
		}
		return rulewhy.Facts{Book: book, Memory: memory}.Tell(d), nil
	}
	e := &Error{Kind: NotFound, Field: "case", Message: fmt.Sprintf("there is no case %q", short(id)), Nearest: rules.Nearest(id, known)}
	if e.Nearest != "" {
		e.Message += fmt.Sprintf("; did you mean %q?", e.Nearest)
	}
	return rulewhy.WhyRule{}, e
}

func noRule(book *rules.Book, id string) *Error {
	known := make([]string, len(book.Rules))
	for i, r := range book.Rules {
		known[i] = r.ID
	}
	e := &Error{Kind: NotFound, Field: "rule", Message: fmt.Sprintf("there is no rule %q", short(id)), Nearest: rules.Nearest(id, known)}
	if e.Nearest != "" {
		e.Message += fmt.Sprintf("; did you mean %q?", e.Nearest)
	}
	return e
}
