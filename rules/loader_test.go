package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// A book loaded again from what was kept is the book loaded afresh: what it overrides, its errors,
// its findings.
func TestLoadingAgainGivesTheSameBook(t *testing.T) {
	shop := layer("shop", `
changes:
  - {suspect: lamp.open, prior: 7, was: 2, because: Ours blow.}
rules:
  - {id: outside_is_wet, was: "00000000", when: mounting == "outside", then: [{do: set, fact: wet, to: "true"}], because: It pours.}
  - {id: hot, when: feed_volts > 30, then: [{do: advise, say: Look.}], because: Ours.}
`)
	fresh, err := rules.Load(brokenBase, shop)
	require.NoError(t, err)
	require.Len(t, fresh.Stale(), 2)
	var loader rules.Loader
	for range 3 {
		again, err := loader.Load(brokenBase, shop)
		require.NoError(t, err)
		require.Equal(t, fresh.Hash, again.Hash)
		require.Equal(t, fresh.Stale(), again.Stale())
		require.Equal(t, fresh.Review(rules.ReviewOptions{}).Findings, again.Review(rules.ReviewOptions{}).Findings)
		// An error in between spoils nothing.
		_, err = loader.Load(brokenBase, layer("shop", "rules: [{id: slip}]"))
		require.Error(t, err)
	}
}
