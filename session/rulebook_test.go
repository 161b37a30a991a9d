package session

import (
	"errors"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
)

// shopRules is a service whose rule folder can be changed under it.
func shopRules(t *testing.T) (*Service, func(string)) {
	t.Helper()
	shop := fstest.MapFS{}
	load := func() (*rules.Book, error) {
		layers := []rules.Layer{{Name: "relay", FS: rulesets.Relay()}}
		if len(shop) > 0 {
			layers = append(layers, rules.Layer{Name: "shop", FS: shop})
		}
		return rules.Load(layers...)
	}
	first, err := load()
	require.NoError(t, err)
	s, err := New(Options{Book: first, Reload: load})
	require.NoError(t, err)
	return s, func(text string) { shop["ours.yaml"] = &fstest.MapFile{Data: []byte(text)} }
}

const goodRule = `rules:
  - id: our_truck
    when: mounting == "outside"
    then: [{do: weigh, suspects: [terminal_87.resistive], by: 2}]
    because: On our trucks the box outside lets water in at 87.
    source: practice
`

func TestRulesAreCheckedAndReloaded(t *testing.T) {
	s, write := shopRules(t)
	before, err := s.RulesList(t.Context(), struct{}{})
	require.NoError(t, err)
	job := opened(t, s, van())

	write("rules:\n  - id: x\n    when: mountng == \"outside\"\n")
	checked, err := s.RulesCheck(t.Context(), struct{}{})
	require.NoError(t, err)
	require.False(t, checked.OK)
	require.NotEmpty(t, checked.Problems)
	require.Equal(t, "shop/ours.yaml", checked.Problems[0].File)
	require.Positive(t, checked.Problems[0].Line)
	_, err = s.RulesReload(t.Context(), struct{}{})
	require.Equal(t, Rules, kindOf(t, err))
	var e *Error
	require.True(t, errors.As(err, &e))
	require.Equal(t, "shop/ours.yaml", e.File)
	now, err := s.RulesList(t.Context(), struct{}{})
	require.NoError(t, err)
	require.Equal(t, before.Rulesets, now.Rulesets, "the rules in force stay")

	write("words:\n  - means: clik\n    said: [it went tick]\n")
	checked, err = s.RulesCheck(t.Context(), struct{}{})
	require.NoError(t, err)
	require.False(t, checked.OK, "they would not come into force")
	require.Equal(t, RulesProblem{File: "shop/ours.yaml", Line: 2, Column: checked.Problems[0].Column, Code: string(rules.CodeName),
		Message: `no such meaning "clik"; the nearest is "click"`}, checked.Problems[0])

	write(goodRule)
	checked, err = s.RulesCheck(t.Context(), struct{}{})
	require.NoError(t, err)
	require.True(t, checked.OK, "%+v", checked.Problems)
	reloaded, err := s.RulesReload(t.Context(), struct{}{})
	require.NoError(t, err)
	require.NotEqual(t, before.Rulesets[0].Hash, reloaded.Rulesets[0].Hash)
	require.Equal(t, before.Rulesets[0].Rules+1, reloaded.Rulesets[0].Rules)
	view, err := s.RulesShow(t.Context(), RulesRequest{})
	require.NoError(t, err)
	require.Equal(t, "our_truck", view.Rules[len(view.Rules)-1].ID)

	old, err := s.Show(t.Context(), JobRequest{job.Job})
	require.NoError(t, err)
	require.Equal(t, before.Rulesets[0].Hash, old.Rules, "an open job keeps its rules")
	require.Empty(t, old.Notes)
	answered(t, s, old.Reply, job.Job)
	fresh := opened(t, s, van())
	v, err := s.Show(t.Context(), JobRequest{fresh.Job})
	require.NoError(t, err)
	require.Equal(t, reloaded.Rulesets[0].Hash, v.Rules)
}

func TestAnUnknownRulesetIsNamed(t *testing.T) {
	s, _ := shopRules(t)
	_, err := s.RulesShow(t.Context(), RulesRequest{Ruleset: "realy"})
	require.Equal(t, NotFound, kindOf(t, err))
	var e *Error
	require.True(t, errors.As(err, &e))
	require.Equal(t, "relay", e.Nearest)
}

func TestReportTellsTheWholeJob(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("24.4 at 3, relay out, switched on")
	c.say("24.2 at 5, relay out, switched on")
	c.say("undo")
	md, err := c.s.Report(t.Context(), ReportRequest{Job: c.job})
	require.NoError(t, err)
	require.Contains(t, md.Text, "# Job "+c.job)
	require.Contains(t, md.Text, "2. 24.4 V at 30 (marked 3)")
	require.Contains(t, md.Text, "~~24.2 V at 87 (marked 5)")
	require.Contains(t, md.Text, "Likeliest")
	data, err := c.s.Report(t.Context(), ReportRequest{Job: c.job, Format: "json"})
	require.NoError(t, err)
	require.Len(t, data.View.Log, 4)
	_, err = c.s.Report(t.Context(), ReportRequest{Job: c.job, Format: "markdwon"})
	require.ErrorContains(t, err, `did you mean "markdown"?`)
}

func TestMarkupInWhatWasTypedStaysText(t *testing.T) {
	o := plough()
	o.Label = "<b>*van*</b> [x](y)"
	c, _ := talking(t, o)
	md, err := c.s.Report(t.Context(), ReportRequest{Job: c.job})
	require.NoError(t, err)
	require.Contains(t, md.Text, `&lt;b>\*van\*&lt;/b> \[x](y)`)
}
