package rules_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// formula compiles one quantity over a small circuit.
func formula(t *testing.T, text string) *rules.Formula {
	t.Helper()
	book, err := load(`parameters: [{id: limit, value: 0.2, unit: volt, source: practice}]
facts: [{id: amps, unit: ampere}]
circuits:
  - id: c
    wiring:
      - {id: volts, number: true, of: {12: 80, 24: 20}}
      - {id: side, of: {ground: 3, supply: 1}}
    parts: [{id: p, kind: wire, values: {any: "` + strings.ReplaceAll(text, `"`, `\"`) + `"}}]
`)
	require.NoError(t, err)
	return book.Circuits[0].Parts[0].Values["any"].Exactly
}

func TestFormulaNumbers(t *testing.T) {
	env := map[string]any{"volts": 24.0, "side": "ground", "amps": 4}
	for text, want := range map[string]float64{
		"3": 3, "-2.5": -2.5, "1e3": 1000, "limit * 2": 0.4, "volts / amps": 6, "2 ** 3": 8,
		`side == "ground" ? 1 : 2`: 1, `volts == 24 ? 300 : 85`: 300, "min(volts, 3, 9)": 3, "max(1, abs(-4))": 4,
		"round(2.6)": 3, `side in ["supply"] or volts > 12 ? 5 : 6`: 5, "1 / 0": math.Inf(1),
	} {
		got, err := formula(t, text).Number(env)
		require.NoError(t, err, text)
		require.InDelta(t, want, got, 1e-12, text)
	}
}

func TestFormulaSaysWhatIsMissing(t *testing.T) {
	f := formula(t, `side == "ground" ? volts : amps`)
	require.Equal(t, []string{"amps", "side", "volts"}, f.Names())
	_, err := f.Number(map[string]any{"volts": 12.0})
	require.ErrorContains(t, err, "needs side, amps")
	v, err := f.Number(map[string]any{"volts": 12.0, "amps": 12.0})
	require.NoError(t, err, "both branches agree")
	require.Equal(t, 12.0, v)
	_, err = f.Truth(nil)
	require.ErrorContains(t, err, "does not give true or false")
	_, err = f.TextValue(nil)
	require.ErrorContains(t, err, "does not give a word")
}

// TestThreeValues is the truth table of the logic of unknowns (S. C. Kleene,
// "Introduction to Metamathematics", 1952, section 64, strong connectives).
func TestThreeValues(t *testing.T) {
	book, err := load(`facts: [{id: a, kind: bool}, {id: b, kind: bool}, {id: n, kind: number}]
rules:
  - {id: r0, when: a and b, then: [{do: advise, say: x}], because: x}
  - {id: r1, when: a or b, then: [{do: advise, say: x}], because: x}
  - {id: r2, when: not a, then: [{do: advise, say: x}], because: x}
  - {id: r3, when: a == b, then: [{do: advise, say: x}], because: x}
  - {id: r4, when: "known(a)", then: [{do: advise, say: x}], because: x}
  - {id: r5, when: "a ? b : b", then: [{do: advise, say: x}], because: x}
  - {id: r6, when: "n > 1 or a", then: [{do: advise, say: x}], because: x}
`)
	require.NoError(t, err)
	const T, F, U = rules.True, rules.False, rules.Unknown
	cell := map[rules.Truth]rules.Cell{T: {Known: true, Number: 1}, F: {Known: true}, U: {}}
	for _, row := range []struct{ a, b, and, or, not, same, known, both, number rules.Truth }{
		{T, T, T, T, F, T, T, T, T}, {T, F, F, T, F, F, T, F, T}, {T, U, U, T, F, U, T, U, T},
		{F, T, F, T, T, F, T, T, U}, {F, F, F, F, T, T, T, F, U}, {F, U, F, U, T, U, T, U, U},
		{U, T, U, T, U, U, F, T, U}, {U, F, F, U, U, U, F, F, U}, {U, U, U, U, U, U, F, U, U},
	} {
		frame := book.NewFrame()
		frame.Put(book.Facts[0], cell[row.a])
		frame.Put(book.Facts[1], cell[row.b])
		for i, want := range []rules.Truth{row.and, row.or, row.not, row.same, row.known, row.both, row.number} {
			require.Equal(t, want, book.Rules[i].When.Truth(&frame), "%s with a %s, b %s", book.Rules[i].When.Source(), row.a, row.b)
		}
	}
}

func TestForMultiplies(t *testing.T) {
	book, err := load(`suspects:
  - {for: {A: [fuse, wire], T: [30, 87a]}, id: "{A}_{T}.open", words: "{A} at {T}, {supply} stays"}
tests:
  - {for: {N: [1, 2]}, id: "t{N}", measure: {mode: ask}, of: ["a{N}", b], say: Say.}
`)
	require.NoError(t, err)
	var ids []string
	for _, s := range book.Suspects {
		ids = append(ids, s.ID)
	}
	require.ElementsMatch(t, []string{"fuse_30.open", "fuse_87a.open", "wire_30.open", "wire_87a.open"}, ids)
	require.Equal(t, "fuse at 30, {supply} stays", book.Suspects[0].Words)
	require.Equal(t, "fuse_30", book.Suspects[0].Element)
	require.Equal(t, []string{"a2", "b"}, book.Tests[1].Of)
}

func TestDeclaredByTests(t *testing.T) {
	book, err := rules.Load(brokenBase, layer("shop", `tests:
  - {id: wiggle, measure: {mode: min_max, red: lamp.in, black: battery.negative, during: wiggle}, say: Wiggle.}
  - {id: ask_wet, sets: wet, measure: {mode: ask, question: Is it wet}, of: ["yes", "no"], say: Say.}
  - {id: ask_fuse, sets: fuse_at, measure: {mode: ask}, of: [before, after], say: Say.}
rules:
  - {id: drops, when: wiggle_max - wiggle_min > 0.5 and wet and fuse_at == "after" and complaint == "dead", then: [{do: advise, say: x}], because: x}
`))
	require.NoError(t, err)
	low, ok := book.Fact("wiggle_min")
	require.True(t, ok)
	require.Equal(t, "volt", low.Unit)
	w, _ := book.Test("wiggle")
	require.Equal(t, []string{"wiggle_min", "wiggle_max"}, w.SetFacts())
	wet, _ := book.Fact("wet")
	v, err := wet.Parse("yes")
	require.NoError(t, err)
	require.Equal(t, rules.BoolValue(true), v)
	look, _ := book.Fact("look_fuse")
	require.Equal(t, rules.Look.Answers(), look.Of)
}

func TestUnitsCombine(t *testing.T) {
	facts := "facts: [{id: u, unit: volt}, {id: i, unit: ampere}, {id: r, unit: ohm}, {id: p, unit: watt}, {id: n, kind: number}, {id: c, unit: celsius}]\n"
	rule := func(when string) string {
		return facts + "rules: [{id: x, when: '" + when + "', then: [{do: advise, say: x}], because: x}]\n"
	}
	for _, sound := range []string{
		"u / i > r", "u * i > p", "r * i < u", "u * u / r > p", "u > 2 * u", "u + 1 > 3", "12 / r > i", "n * u > u", "c > 85",
		"min(u, 3) > u", "abs(u - u) < 0.5", "(n > 1 ? u : 2) > u", "u / u > n",
	} {
		_, err := load(rule(sound))
		require.NoError(t, err, sound)
	}
	for _, bad := range []string{
		"u > i", "u / i > u", "u * i > r", "u + i > 3", "min(u, i) > 1", "(n > 1 ? u : i) > 1", "n > u", "c > u", "u ** 2 > 4",
	} {
		require.Equal(t, rules.CodeUnit, fails(t, rule(bad)).Code, bad)
	}
}

func TestSpreads(t *testing.T) {
	book, err := load(`facts: [{id: amps, unit: ampere}]
circuits:
  - id: c
    vary:
      - {id: a, unit: ampere, known: amps, between: [2, 40], spread: 0.1}
      - {id: b, unit: ohm, about: 85, spread: 0.17}
      - {id: d, unit: volt, about: 12, plus_minus: 0.2}
      - {id: e, unit: celsius, even: [10, 70]}
      - {id: f, exactly: 2}
    parts: [{id: p, kind: wire, values: {ohms: b}}]
`)
	require.NoError(t, err)
	vary := book.Circuits[0].Vary
	require.NotNil(t, vary[0].KnownSpread)
	require.Len(t, vary[0].Value.Between, 2)
	require.NotNil(t, vary[1].Value.Spread)
	require.NotNil(t, vary[2].Value.PlusMinus)
	require.Len(t, vary[3].Value.Even, 2)
	require.NotNil(t, book.Circuits[0].Parts[0].Values["ohms"].Exactly)
}

func TestBudgets(t *testing.T) {
	rule := func(when string) string {
		return "facts: [{id: a, kind: bool}]\nrules: [{id: x, when: '" + when + "', then: [{do: advise, say: x}], because: x}]\n"
	}
	require.Equal(t, rules.CodeBudget, fails(t, rule("a"+strings.Repeat(" or a", 500))).Code, "characters")
	require.Equal(t, rules.CodeBudget, fails(t, rule("a"+strings.Repeat(" or a", 150))).Code, "parts")
	require.Equal(t, rules.CodeBudget, fails(t, "#"+strings.Repeat("x", 5<<20)).Code, "file")
	_, err := load(rule("a" + strings.Repeat(" or a", 90)))
	require.NoError(t, err)
}

// TestBoundsAreSaidInDigits: nobody writes a prior with an exponent.
func TestBoundsAreSaidInDigits(t *testing.T) {
	prior := func(p string) string {
		return "circuits: [{id: c, chains: [\"battery.positive > coil > battery.negative\"]}]\nsuspects: [{id: coil.open, words: open, prior: " + p + "}]\n"
	}
	for p, want := range map[string]string{
		"0": `"prior" is 0; it has to be more than 0`, "-2": `"prior" is -2; it has to be more than 0`,
		"2000000000": `"prior" is 2,000,000,000, which is outside 0.000000001 to 1,000,000,000`,
	} {
		_, err := load(prior(p))
		require.ErrorContains(t, err, want)
	}
}
