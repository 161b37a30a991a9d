package engine

// agenda holds the rules and facts to look at again, by level, each at most once.
type agenda struct {
	rules, facts   [][]int32
	ruleOn, factOn []bool
}

func newAgenda(p *Program) agenda {
	return agenda{
		rules: make([][]int32, p.levels), facts: make([][]int32, p.levels),
		ruleOn: make([]bool, len(p.rules)), factOn: make([]bool, len(p.book.Facts)),
	}
}

func (a *agenda) rule(r, level int32) {
	if !a.ruleOn[r] {
		a.ruleOn[r] = true
		a.rules[level] = append(a.rules[level], r)
	}
}

func (a *agenda) fact(f, level int32) {
	if !a.factOn[f] {
		a.factOn[f] = true
		a.facts[level] = append(a.facts[level], f)
	}
}

// takeRules empties one level. The slice stands until something is added to the
// level, which firing never does: a change reaches higher levels only.
func (a *agenda) takeRules(level int32) []int32 {
	out := a.rules[level]
	for _, r := range out {
		a.ruleOn[r] = false
	}
	a.rules[level] = out[:0]
	return out
}

func (a *agenda) takeFacts(level int32) []int32 {
	out := a.facts[level]
	for _, f := range out {
		a.factOn[f] = false
	}
	a.facts[level] = out[:0]
	return out
}
