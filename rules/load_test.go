package rules_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

var shipped = rules.Layer{Name: "relay", FS: os.DirFS("../rulesets/relay")}

// TestShippedRulesetIsSound loads what ships and follows a few names through it.
func TestShippedRulesetIsSound(t *testing.T) {
	book, err := rules.Load(shipped)
	require.NoError(t, err)
	for _, s := range book.Suspects {
		require.NotContains(t, s.Words, "{element}")
		require.NotEmpty(t, s.Repair.Class, s.ID)
		found, ok := book.Suspect(s.ID)
		require.True(t, ok)
		require.Same(t, s, found)
	}
	for _, c := range book.Circuits {
		for _, w := range c.Wiring {
			_, ok := book.Fact(w.ID)
			require.True(t, ok, "every wiring variable is a fact: %s", w.ID)
		}
	}
	for _, test := range book.Tests {
		for _, id := range test.SetFacts() {
			_, ok := book.Fact(id)
			require.True(t, ok, "every answer is a fact: %s", id)
		}
	}
	require.NotEmpty(t, book.MatchSuspects("terminal_*.loose"))
}

// BenchmarkLoad reads, checks and compiles the shipped ruleset.
func BenchmarkLoad(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := rules.Load(shipped); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkFormula evaluates one formula of a wiring.
func BenchmarkFormula(b *testing.B) {
	book, err := rules.Load(shipped)
	require.NoError(b, err)
	f := book.Circuits[0].Names[2].Is
	env := map[string]any{}
	for _, w := range book.Circuits[0].Wiring {
		env[w.ID] = w.Of[0]
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := f.TextValue(env); err != nil {
			b.Fatal(err)
		}
	}
}
