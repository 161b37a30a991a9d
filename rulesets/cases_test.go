package rulesets_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rulesets"
	"coilside/session/rulecase"
)

func readCases(t *testing.T) []rulecase.Case {
	t.Helper()
	cases, err := rulecase.Read(rulesets.Relay())
	require.NoError(t, err)
	require.NotEmpty(t, cases)
	return cases
}

// Every case passes, and together they look at every rule, suspect and test.
func TestCases(t *testing.T) {
	book := relayBook(t)
	player := rulecase.NewPlayer(book)
	var all []rulecase.Outcome
	for _, c := range readCases(t) {
		o := player.Play(c)
		all = append(all, o)
		t.Run(c.ID, func(t *testing.T) {
			require.NoError(t, o.Err)
			assert.Empty(t, o.Misses)
		})
	}
	cover := rulecase.Cover(book, all, func(string) bool { return true })
	assert.Empty(t, cover.Rules.Missing, "rules without a case")
	assert.Empty(t, cover.Suspects.Missing, "suspects without a case: go test ./rulesets -run RecordJobs -args -record")
	assert.Empty(t, cover.Tests.Missing, "tests without a case: go test ./rulesets -run RecordJobs -args -record -readings")
}

// Every rule changes a result: robbed of its actions, at least one case fails. It
// stays in its place, as other rules refer to places.
func TestNoRuleIsPadding(t *testing.T) {
	book := relayBook(t)
	cases := slices.DeleteFunc(readCases(t), rulecase.Case.Whole)
	for i, rule := range book.Rules {
		less := *book
		idle := *rule
		idle.Then = nil
		less.Rules = slices.Clone(book.Rules)
		less.Rules[i] = &idle
		missed := slices.ContainsFunc(cases, func(c rulecase.Case) bool {
			misses, err := c.Run(&less)
			return err == nil && len(misses) > 0
		})
		assert.True(t, missed, "no case needs the rule %s", rule.ID)
	}
}
