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

func TestCases(t *testing.T) {
	book := relayBook(t)
	for _, c := range readCases(t) {
		t.Run(c.ID, func(t *testing.T) {
			misses, err := c.Run(book)
			require.NoError(t, err)
			assert.Empty(t, misses)
		})
	}
}

// Every rule changes a result: robbed of its actions, at least one case fails. It
// stays in its place, as other rules refer to places.
func TestNoRuleIsPadding(t *testing.T) {
	book := relayBook(t)
	cases := readCases(t)
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
