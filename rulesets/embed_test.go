package rulesets_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
)

func relayBook(t *testing.T) *rules.Book {
	t.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	return book
}

func TestShippedRulesetLoads(t *testing.T) {
	book := relayBook(t)
	require.Len(t, book.Circuits, 1)
	require.NotEmpty(t, book.Rules)
}
