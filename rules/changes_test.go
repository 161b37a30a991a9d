package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// A shop changes one value, and no more; what it overrides is listed.
func TestALayerChangesSingleValues(t *testing.T) {
	plain, err := rules.Load(brokenBase)
	require.NoError(t, err)
	book, err := rules.Load(brokenBase, layer("shop", `
changes:
  - {suspect: lamp.open, prior: 7, because: Ours blow.}
  - {test: lamp_volts, minutes: [4, 5, 6], because: It is behind the trim.}
  - {parameter: feed_limit, value: 0.5, source: our own wiring, because: Our cables are long.}
  - {suspect: fuse.open, off: true, because: There is none on our trucks.}
`))
	require.NoError(t, err)
	lamp, _ := book.Suspect("lamp.open")
	was, _ := plain.Suspect("lamp.open")
	require.InDelta(t, 7, lamp.Prior, 0)
	require.Equal(t, was.Words, lamp.Words, "the rest stays")
	volts, _ := book.Test("lamp_volts")
	require.Equal(t, [3]float64{4, 5, 6}, volts.Minutes)
	limit, _ := book.Parameter("feed_limit")
	require.InDelta(t, 0.5, limit.Value, 0)
	fuse, _ := book.Suspect("fuse.open")
	require.Equal(t, "false", fuse.When.Source())
	all := book.Overrides()
	require.Len(t, all, 4)
	require.Contains(t, all[0].String(), "changes suspect lamp.open: 1 to 7 (base/base.yaml:")
	require.Contains(t, all[3].String(), "switches off suspect fuse.open (base/base.yaml:")
	require.Empty(t, book.Stale())
	require.NotEqual(t, plain.Fingerprint("suspect", "lamp.open"), book.Fingerprint("suspect", "lamp.open"))
	require.Equal(t, plain.Fingerprint("test", "fuse_volts"), book.Fingerprint("test", "fuse_volts"))
}

// What an override was written over is held against what is there now.
func TestWhatChangedUnderneathIsTold(t *testing.T) {
	plain, err := rules.Load(brokenBase)
	require.NoError(t, err)
	rule := plain.Fingerprint("rule", "outside_is_wet")
	require.Len(t, rule, 8)
	shop := layer("shop", `
changes:
  - {suspect: lamp.open, prior: 7, was: 1, because: Ours blow.}
  - {test: lamp_volts, minutes: 4, was: 2, because: It is behind the trim.}
rules:
  - {id: outside_is_wet, off: true, was: "`+rule+`"}
`)
	book, err := rules.Load(brokenBase, shop)
	require.NoError(t, err)
	require.Empty(t, book.Stale())
	newer := layer("newer", `
suspects: [{id: lamp.open, words: dark, prior: 2}]
rules: [{id: outside_is_wet, when: mounting == "outside" or sealed, then: [{do: set, fact: wet, to: "true"}], because: x}]
`)
	book, err = rules.Load(brokenBase, newer, shop)
	require.NoError(t, err)
	stale := book.Stale()
	require.Len(t, stale, 2)
	require.Equal(t, 3, stale[0].Pos.Line)
	require.Contains(t, stale[0].Message, "it was 1 and is 2 now")
	require.Equal(t, "look at both again; then write  was: 2", stale[0].Hint)
	require.Contains(t, stale[1].Message, "rule outside_is_wet")
	require.Equal(t, rules.CodeStale, stale[1].Code)
}

func TestChangesThatCannotBe(t *testing.T) {
	for entry, message := range map[string]string{
		`{suspect: lamp.opne, prior: 7, because: x}`:                         `did you mean "lamp.open"?`,
		`{suspect: lamp.open, minutes: 7, because: x}`:                       `a suspect has no "minutes" to change`,
		`{suspect: lamp.open, prior: 7}`:                                     `has no "because"`,
		`{suspect: lamp.open, because: x}`:                                   `this change gives no prior or off`,
		`{suspect: lamp.open, prior: 7, off: true, because: x}`:              `an entry changes one thing`,
		`{prior: 7, because: x}`:                                             `does not say what it changes`,
		`{parameter: feed_limit, value: 0.5, because: x}`:                    `has no "source"`,
		`{suspect: lamp.open, prior: many, because: x}`:                      `is a number`,
		`{suspect: lamp.open, prior: 7, because: x, was: 1, becuase: wrong}`: `did you mean "because"?`,
	} {
		_, err := rules.Load(brokenBase, layer("shop", "changes:\n  - "+entry+"\n"))
		require.ErrorContains(t, err, message, entry)
	}
	_, err := rules.Load(brokenBase, layer("shop", "changes:\n  - {suspect: lamp.open, prior: 7, because: x}\n  - {suspect: lamp.open, prior: 8, because: x}\n"))
	require.ErrorContains(t, err, "overrides suspect \"lamp.open\" already")
	_, err = rules.Load(brokenBase, layer("shop", "suspects: [{id: lamp.dim, words: dim, was: 12345678}]\n"))
	require.ErrorContains(t, err, `so "was" says nothing here`)
}

// Safety is only tightened: a test that a safety rule requires stays, and so do the
// cautions of a test.
func TestChangesOnlyTightenSafety(t *testing.T) {
	base := layer("base2", `
tests: [{id: lamp_look, measure: {mode: ask, question: "Is it lit?"}, setup: {relay: in, key: "on", command: "on"}, of: ["yes", "no"], say: Look., why: x, words: look, minutes: 1, tool: none, cautions: [Hot lamp.]}]
rules: [{id: look_first, when: sealed, then: [{do: require, tests: [lamp_look]}], because: x, safety: true}]
`)
	_, err := rules.Load(brokenBase, base, layer("shop", "changes: [{test: lamp_look, off: true, because: x}]\n"))
	require.ErrorContains(t, err, `the safety rule "look_first"`)
	_, err = rules.Load(brokenBase, base, layer("shop", `tests: [{id: lamp_look, measure: {mode: ask, question: "Is it lit?"}, setup: {relay: in, key: "on", command: "on"}, of: ["yes", "no"], say: Look., why: x, words: look, minutes: 1, tool: none}]`))
	require.ErrorContains(t, err, `leaves out the caution "Hot lamp."`)
}
