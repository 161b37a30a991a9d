package rules

import "slices"

// maxSteps bounds one question; beyond it the answer is "possible".
const maxSteps = 3_000

// state is what has been assumed on one way through the claims.
type state struct {
	facts    []factState
	forms    []linear // one a key
	asked    []literal
	expanded []int // facts whose setters were followed
}

type factState struct {
	fact    int
	unknown bool
	words   []string // nil = any
}

func (s *state) clone() *state {
	return &state{slices.Clone(s.facts), slices.Clone(s.forms), slices.Clone(s.asked), slices.Clone(s.expanded)}
}

// possible says whether all claims can hold together. False is proven.
func (r *reasoner) possible(claims ...claim) bool {
	r.steps = maxSteps
	return r.search(claims, &state{}) != nil
}

// example is a state in which all claims hold, as far as can be told; nil = none.
func (r *reasoner) example(claims ...claim) *state {
	r.steps = maxSteps
	return r.search(claims, &state{})
}

// implies says whether b holds whenever a does.
func (r *reasoner) implies(a, b *Rule) bool {
	return !r.possible(r.whole(a, isTrue), r.whole(b, notTrue))
}

// together says whether both can fire at once.
func (r *reasoner) together(a, b *Rule) bool {
	return r.possible(r.whole(a, isTrue), r.whole(b, isTrue))
}

// whole is the claim of a rule's condition.
func (r *reasoner) whole(rule *Rule, w want) claim {
	if rule.When == nil || rule.When.node == nil {
		return always
	}
	key := wholeKey{rule, w}
	c, ok := r.claims[key]
	if !ok {
		c = r.claim(rule.When.node, w)
		r.claims[key] = c
	}
	return c
}

type wholeKey struct {
	rule *Rule
	want want
}

// search takes what is certain first and then tries the choices.
func (r *reasoner) search(pending []claim, s *state) *state {
	var choices []claim
	pending = slices.Clone(pending)
	for len(pending) > 0 {
		c := pending[len(pending)-1]
		pending = pending[:len(pending)-1]
		if r.steps--; r.steps < 0 {
			return s
		}
		switch {
		case c.never && c.any == nil:
			return nil
		case c.lit != nil:
			more, ok := r.assume(s, c.lit)
			if !ok {
				return nil
			}
			pending = append(pending, more...)
		case c.any != nil:
			choices = append(choices, c)
		default:
			pending = append(pending, c.all...)
		}
	}
	if len(choices) == 0 {
		if r.numbersFit(s) {
			return s
		}
		return nil
	}
	least := 0
	for i := range choices {
		if len(choices[i].any) < len(choices[least].any) {
			least = i
		}
	}
	rest := slices.Delete(slices.Clone(choices), least, least+1)
	for _, way := range choices[least].any {
		if found := r.search(append(slices.Clone(rest), way), s.clone()); found != nil {
			return found
		}
	}
	return nil
}

// assume adds a literal; false when it contradicts what was assumed.
func (r *reasoner) assume(s *state, l *literal) ([]claim, bool) {
	switch {
	case l.asked != "":
		for _, have := range s.asked {
			if have.asked == l.asked {
				return nil, have.truth == l.truth
			}
		}
		s.asked = append(s.asked, *l)
		return nil, true
	case l.linear != nil:
		return nil, r.assumeNumber(s, l.linear)
	}
	return r.assumeFact(s, l)
}

func (r *reasoner) assumeFact(s *state, l *literal) ([]claim, bool) {
	at := slices.IndexFunc(s.facts, func(f factState) bool { return f.fact == l.fact })
	if at < 0 {
		at = len(s.facts)
		s.facts = append(s.facts, factState{fact: l.fact, unknown: l.unknown, words: l.words})
	} else {
		have := &s.facts[at]
		if have.unknown != l.unknown {
			return nil, false
		}
		if have.words == nil {
			have.words = l.words
		} else if l.words != nil {
			have.words = common(have.words, l.words)
		}
	}
	now := s.facts[at]
	if now.words != nil && len(now.words) == 0 {
		return nil, false
	}
	return r.follow(s, now)
}

// follow asks what it takes for a rule to give the fact that value, where nothing
// else can.
func (r *reasoner) follow(s *state, f factState) ([]claim, bool) {
	setters := r.setters[f.fact]
	if r.blind || f.unknown || setters == nil || slices.Contains(s.expanded, f.fact) {
		return nil, true
	}
	s.expanded = append(s.expanded, f.fact)
	var ways []claim
	for _, by := range setters {
		if f.words == nil || by.words == nil || len(common(f.words, by.words)) > 0 {
			ways = append(ways, r.whole(by.rule, isTrue))
		}
	}
	return []claim{oneOf(ways...)}, len(ways) > 0
}

func common(a, b []string) []string {
	out := []string{}
	for _, w := range a {
		if slices.Contains(b, w) {
			out = append(out, w)
		}
	}
	return out
}

func (r *reasoner) assumeNumber(s *state, l *linear) bool {
	at := slices.IndexFunc(s.forms, func(f linear) bool { return f.key == l.key })
	if at < 0 {
		at = len(s.forms)
		form := *l
		if len(l.terms) == 1 {
			form.in = form.in.meet(r.domains[l.terms[0].id])
		}
		s.forms = append(s.forms, form)
	} else {
		s.forms[at].in = s.forms[at].in.meet(l.in)
	}
	return !s.forms[at].in.empty()
}

// numbersFit narrows the numbers by the sums they stand in, until nothing more follows.
func (r *reasoner) numbersFit(s *state) bool {
	sums := slices.ContainsFunc(s.forms, func(f linear) bool { return len(f.terms) > 1 })
	if !sums {
		return true
	}
	at := map[int]domain{}
	for _, f := range s.forms {
		for _, t := range f.terms {
			if _, ok := at[t.id]; !ok {
				at[t.id] = r.domains[t.id]
			}
		}
		if len(f.terms) == 1 {
			at[f.terms[0].id] = f.in
		}
	}
	const rounds = 8
	for range rounds {
		for _, f := range s.forms {
			if !narrow(f, at) {
				return false
			}
		}
	}
	return true
}

// narrow bounds each term of a sum by the others; false when nothing is left.
func narrow(f linear, at map[int]domain) bool {
	for i, t := range f.terms {
		rest := point(0)
		for j, u := range f.terms {
			if j != i {
				rest = rest.plus(at[u.id].scale(u.coef))
			}
		}
		room := f.in.plus(rest.scale(-1))
		if room.low != room.low { // infinity less infinity
			room.low = anyNumber.low
		}
		if room.high != room.high {
			room.high = anyNumber.high
		}
		d := at[t.id].meet(room.scale(1 / t.coef))
		if d.clearlyEmpty() {
			return false
		}
		at[t.id] = d
	}
	return true
}
