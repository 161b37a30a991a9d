package rules_test

import (
	"os"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

func layer(name, text string) rules.Layer {
	return rules.Layer{Name: name, FS: fstest.MapFS{"a.yaml": {Data: []byte(text)}}}
}

var brokenBase = rules.Layer{Name: "base", FS: os.DirFS("../testdata/broken/base")}

func TestLaterLayerAddsAndReplaces(t *testing.T) {
	book, err := rules.Load(brokenBase, layer("shop", `
suspects:
  - {id: lamp.open, words: "our {element} is open", prior: 7}
  - {id: lamp.dim, words: dim}
parameters: [{id: feed_limit, value: 0.5, unit: volt, source: practice}]
rules:
  - {id: outside_is_wet, off: true}
  - {id: ours, when: feed_volts > feed_limit, then: [{do: advise, say: Hm.}], because: x}
`))
	require.NoError(t, err)
	require.Equal(t, "shop", book.Name)
	require.Equal(t, "fuse.open", book.Suspects[0].ID)
	require.Equal(t, "our lamp is open", book.Suspects[1].Words, "replaced where it stood")
	require.Equal(t, "lamp.dim", book.Suspects[2].ID)
	_, ok := book.Rule("outside_is_wet")
	require.False(t, ok)
	r, _ := book.Rule("ours")
	volts, _ := book.Fact("feed_volts")
	frame := book.NewFrame()
	frame.Put(volts, rules.NumberValue(0.4).Cell())
	require.Equal(t, rules.False, r.When.Truth(&frame), "the replaced limit is in force")
}

func TestRuleOffMayComeBack(t *testing.T) {
	book, err := rules.Load(brokenBase,
		layer("shop", "rules: [{id: outside_is_wet, off: true}]\n"),
		layer("van", "rules: [{id: outside_is_wet, when: sealed, then: [{do: advise, say: Hm.}], because: x}]\n"))
	require.NoError(t, err)
	r, ok := book.Rule("outside_is_wet")
	require.True(t, ok)
	require.Equal(t, "sealed", r.When.Source())
}

func TestSafetyMayBeTightened(t *testing.T) {
	for name, rule := range map[string]string{
		"same":        `{id: no_volts_outside, when: 'mounting == "outside"', then: [{do: forbid, tests: [lamp_volts]}], because: x, safety: true}`,
		"forbid more": `{id: no_volts_outside, when: 'mounting == "outside"', then: [{do: forbid, tests: ["*"]}, {do: caution, say: Mind.}], because: x, safety: true}`,
		"fire more":   `{id: no_volts_outside, when: 'wet or (mounting == "outside")', then: [{do: forbid, tests: [lamp_volts]}], because: x, safety: true}`,
	} {
		t.Run(name, func(t *testing.T) {
			_, err := rules.Load(brokenBase, layer("shop", "rules:\n  - "+rule+"\n"))
			require.NoError(t, err)
		})
	}
}

// TestSafetyCannotBeLoosenedRoundabout tries the ways around the front door.
func TestSafetyCannotBeLoosenedRoundabout(t *testing.T) {
	guard := layer("guard", `
rules:
  - {id: guard, when: feed_volts > feed_limit and sealed, then: [{do: set, fact: wet, to: "true"}, {do: caution, say: Mind.}], because: x, safety: true}
`)
	whole := `when: feed_volts > feed_limit and sealed, then: [{do: set, fact: wet, to: "true"}, {do: caution, say: Mind.}], because: x`
	for name, shop := range map[string]string{
		"not marked":      "rules:\n  - {id: guard, " + whole + "}\n",
		"without caution": `rules: [{id: guard, when: feed_volts > feed_limit and sealed, then: [{do: set, fact: wet, to: "true"}], because: x, safety: true}]`,
		"gone over":       `rules: [{id: dry, when: sealed, then: [{do: set, fact: wet, to: "false"}], because: x, over: [guard]}]`,
		"limit raised":    `parameters: [{id: feed_limit, value: 100, unit: volt, source: practice}]`,
		"and for or":      `rules: [{id: guard, when: feed_volts > feed_limit and sealed and wet, then: [{do: caution, say: Mind.}], because: x, safety: true}]`,
		"off":             `rules: [{id: guard, off: true}]`,
	} {
		t.Run(name, func(t *testing.T) {
			_, err := rules.Load(brokenBase, guard, layer("shop", shop))
			var found rules.Errors
			require.ErrorAs(t, err, &found)
			require.Equal(t, rules.CodeSafety, found[0].Code, err.Error())
		})
	}
	_, err := rules.Load(brokenBase, guard, layer("shop", "rules: [{id: guard, off: true}]\n"), layer("van", "rules:\n  - {id: guard, "+whole+", safety: true}\n"))
	require.NoError(t, err, "a layer that brings all of it back repairs the book")
}

func TestHash(t *testing.T) {
	load := func(layers ...rules.Layer) string {
		book, err := rules.Load(layers...)
		require.NoError(t, err)
		return book.Hash
	}
	base := load(brokenBase)
	require.Len(t, base, 64)
	require.Equal(t, base, load(brokenBase))
	moved := brokenBase
	moved.Name = "elsewhere"
	require.Equal(t, base, load(moved), "the content counts, not where it lies")
	require.NotEqual(t, base, load(brokenBase, layer("shop", "facts: []\n")))
}

func TestCasesFolderIsNotRead(t *testing.T) {
	_, err := rules.Load(rules.Layer{Name: "t", FS: fstest.MapFS{
		"a.yaml":       {Data: []byte("facts: [{id: wet, kind: bool}]\n")},
		"cases/x.yaml": {Data: []byte("not: rules\n")},
		"more/b.yml":   {Data: []byte("facts: [{id: hot, kind: bool}]\n")},
	}})
	require.NoError(t, err)
}
