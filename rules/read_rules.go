package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// doFields says which fields each action takes beside `do`.
var doFields = []struct {
	do     Do
	fields []string
}{
	{Set, []string{"fact", "to"}},
	{Weigh, []string{"suspects", "by"}},
	{RuleOut, []string{"suspects"}},
	{Require, []string{"tests"}},
	{Forbid, []string{"tests"}},
	{Prefer, []string{"tests", "by"}},
	{Advise, []string{"say"}},
	{Caution, []string{"say"}},
}

var doNames = func() []string {
	out := make([]string, len(doFields))
	for i, d := range doFields {
		out[i] = string(d.do)
	}
	return out
}()

// MaxWeight is the largest odds factor, and its inverse the smallest, by which
// all rules together may move one suspect. It keeps experience from drowning
// readings; practice, no source.
const MaxWeight = 50.0

// rule reads one rule; the second result says that it only switches one off.
func (r *reader) rule(n *yaml.Node) (*Rule, bool) {
	o := r.object(n, "rule", "id", "when", "then", "because", "source", "safety", "over", "off")
	rule := &Rule{
		ID: o.id(), Because: o.text("because"), Source: o.text("source"), Safety: o.flag("safety"),
		Over: o.texts("over"), Pos: o.pos(), at: o.spots(),
	}
	if o.flag("off") {
		for _, key := range []string{"when", "then"} {
			if o.has(key) {
				r.fail(o.key(key), CodeField, "leave out either", "a rule that is switched off has no %q", key)
			}
		}
		return rule, true
	}
	o.need("when", "then", "because")
	rule.When = r.condition(o.at("when"))
	for _, item := range o.items("then") {
		rule.Then = append(rule.Then, r.action(item))
	}
	if o.has("then") && len(rule.Then) == 0 {
		r.fail(o.at("then"), CodeMissing, "", "this rule does nothing")
	}
	return rule, false
}

func (r *reader) action(n *yaml.Node) Action {
	allowed := []string{"do", "fact", "to", "suspects", "tests", "by", "say"}
	o := r.object(n, "action", allowed...)
	o.need("do")
	a := Action{Do: Do(o.choice("do", doNames...)), Pos: o.pos(), at: o.spots()}
	for _, d := range doFields {
		if d.do == a.Do {
			o.exactly(string(a.Do), d.fields, allowed)
		}
	}
	a.Fact, a.Say = o.text("fact"), o.text("say")
	a.To = r.condition(o.at("to"))
	a.Suspects, a.Tests = o.texts("suspects"), o.texts("tests")
	a.written = append(slices.Clone(a.Suspects), a.Tests...)
	switch a.Do {
	case Weigh:
		a.By = o.factor()
	case Prefer:
		a.By = o.number("by", 1, 0.01, 100)
	}
	return a
}

// factor reads an odds factor within the cap.
func (o *object) factor() float64 {
	n := o.at("by")
	if n == nil {
		return 1
	}
	v := o.r.number(n, `"by"`, math.Inf(-1), math.Inf(1))
	if v < 1/MaxWeight || v > MaxWeight {
		o.r.fail(n, CodeValue, "use rule_out for what the circuit cannot have", "\"by\" is %v, but one rule moves the odds by 1/%v to %v at most", v, MaxWeight, MaxWeight)
		return 1
	}
	return v
}

// exactly checks that an action has its own fields and no others.
func (o *object) exactly(do string, fields, all []string) {
	o.need(fields...)
	for _, key := range all {
		if o.has(key) && key != "do" && !slices.Contains(fields, key) {
			o.r.fail(o.key(key), CodeField, fmt.Sprintf("leave it out; %s takes %s", do, strings.Join(fields, " and ")), "%q does not use %q", do, key)
		}
	}
}
