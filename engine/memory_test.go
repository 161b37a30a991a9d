package engine

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// shop is a small rulebook by hand; the expectations below are read off it.
const shop = `
facts:
  - {id: mounting, of: [cab, outside]}
  - {id: exposed, kind: bool}
  - {id: sealed, kind: bool}
  - {id: wet, kind: bool}
  - {id: drop, unit: volt, range: [0, 30]}
  - {id: amps, unit: ampere}
  - {id: clamp, unit: ampere}
  - {id: fuse_amps, unit: ampere}
  - {id: ohms, unit: ohm}
suspects: [{id: coil.open}, {id: contact.resistive}]
tests:
  - {id: quiz, measure: {mode: ask}, of: [a, b], say: Say.}
rules:
  - id: outside_is_wet
    when: exposed or mounting == "outside"
    then: [{do: set, fact: wet, to: "true"}]
    because: Rain.
  - id: sealed_stays_dry
    when: sealed
    then: [{do: set, fact: wet, to: "false"}]
    because: No way in.
  - id: wet_contact
    when: wet and not known(drop)
    then:
      - {do: weigh, suspects: [contact.*], by: 20}
      - {do: require, tests: [quiz]}
    because: Water.
  - id: exposed_contact
    when: exposed
    then: [{do: weigh, suspects: [contact.resistive], by: 10}]
    because: More water.
  - id: from_clamp
    when: known(clamp)
    then: [{do: set, fact: amps, to: clamp}]
    because: Measured.
    over: [from_fuse]
  - id: from_fuse
    when: known(fuse_amps)
    then: [{do: set, fact: amps, to: fuse_amps}]
    because: Less exact.
  - id: high_drop
    when: drop / amps > ohms
    then: [{do: advise, say: Too much.}]
    because: Ohm.
  - id: ask_coil
    when: suspected("coil.open") and not known(ohms)
    then: [{do: advise, say: Read the coil.}, {do: prefer, tests: [quiz], by: 2}]
    because: Quick.
`

func shopMemory(t testing.TB) *Memory {
	book, err := loadText(shop)
	require.NoError(t, err)
	return New(book)
}

func give(t *testing.T, m *Memory, entry int, fact string, v rules.Value) {
	t.Helper()
	require.NoError(t, m.Give(entry, fact, v))
}

func TestOneSideDecides(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 1, "mounting", rules.ChoiceValue("outside"))
	v, known := m.Value("wet")
	require.True(t, known, "exposed is unknown, but the other side of `or` decides")
	require.True(t, v.Bool)
	m.TakeBack(1)
	_, known = m.Value("wet")
	require.False(t, known, "what stood on it goes")
}

func TestUnknownDoesNotFire(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 1, "mounting", rules.ChoiceValue("cab"))
	d, ok := m.WhyNot("outside_is_wet")
	require.True(t, ok)
	require.Equal(t, rules.Unknown, d.Truth, "exposed may yet be true")
	give(t, m, 2, "exposed", rules.BoolValue(false))
	d, _ = m.WhyNot("outside_is_wet")
	require.Equal(t, rules.False, d.Truth)
}

func TestConflictLeavesUnknownAndNamesBoth(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 1, "exposed", rules.BoolValue(true))
	give(t, m, 2, "sealed", rules.BoolValue(true))
	_, known := m.Value("wet")
	require.False(t, known)
	require.Equal(t, []Conflict{{Fact: "wet", Claims: []Claim{
		{"outside_is_wet", rules.BoolValue(true)}, {"sealed_stays_dry", rules.BoolValue(false)}}}}, m.Conflicts())
	give(t, m, 3, "wet", rules.BoolValue(true))
	require.Empty(t, m.Conflicts(), "a given fact beats derived ones")
	v, _ := m.Value("wet")
	require.True(t, v.Bool)
	m.TakeBack(3)
	require.Len(t, m.Conflicts(), 1)
}

func TestPrecedence(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 1, "fuse_amps", rules.NumberValue(9))
	v, _ := m.Value("amps")
	require.Equal(t, 9.0, v.Number)
	give(t, m, 2, "clamp", rules.NumberValue(10))
	v, _ = m.Value("amps")
	require.Equal(t, 10.0, v.Number, "from_clamp goes over from_fuse")
	require.Empty(t, m.Conflicts())
}

func TestLatestEntryCounts(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 5, "drop", rules.NumberValue(0.5))
	give(t, m, 3, "drop", rules.NumberValue(0.1))
	v, _ := m.Value("drop")
	require.Equal(t, 0.5, v.Number)
	require.Equal(t, []int{3, 5}, m.Given("drop"))
	m.TakeBack(5)
	v, _ = m.Value("drop")
	require.Equal(t, 0.1, v.Number)
}

func TestOverRangeIsAboveEveryLimit(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 1, "ohms", rules.NumberValue(math.Inf(1)))
	give(t, m, 2, "drop", rules.NumberValue(1))
	give(t, m, 3, "amps", rules.NumberValue(0))
	require.False(t, m.Fires("high_drop"), "1/0 is not above OL")
	give(t, m, 4, "drop", rules.NumberValue(0))
	d, _ := m.WhyNot("high_drop")
	require.Equal(t, rules.Unknown, d.Truth, "0/0 says nothing")
}

func TestGiveRefuses(t *testing.T) {
	m := shopMemory(t)
	before := m.portrait()
	for want, err := range map[string]error{
		`did you mean "drop"?`:              m.Give(1, "dorp", rules.NumberValue(1)),
		"takes a number, not a bool":        m.Give(1, "drop", rules.BoolValue(true)),
		"31 is outside":                     m.Give(1, "drop", rules.NumberValue(31)),
		"NaN":                               m.Give(1, "amps", rules.NumberValue(math.NaN())),
		`"mounting" can't be "otside"`:      m.Give(1, "mounting", rules.ChoiceValue("otside")),
		`did you mean "outside"?`:           m.Give(1, "mounting", rules.ChoiceValue("outsid")),
		`fact "quiz" takes a choice, not a`: m.Give(1, "quiz", rules.TextValue("a")),
	} {
		require.ErrorContains(t, err, want)
	}
	require.Equal(t, before, m.portrait(), "a refused value changes nothing")
}

func TestGiveAllTakesAllOrNone(t *testing.T) {
	m, one := shopMemory(t), shopMemory(t)
	before := m.portrait()
	list := []Given{{2, "fuse_amps", rules.NumberValue(9)}, {1, "exposed", rules.BoolValue(true)}, {3, "drop", rules.NumberValue(31)}}
	require.ErrorContains(t, m.GiveAll(list), "31 is outside")
	require.Equal(t, before, m.portrait())
	list[2].Value = rules.NumberValue(1)
	require.NoError(t, m.GiveAll(list))
	for _, g := range list {
		give(t, one, g.Entry, g.Fact, g.Value)
	}
	require.Equal(t, one.portrait(), m.portrait(), "as if given one after another")
}

func TestWeightsAreCapped(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 1, "exposed", rules.BoolValue(true))
	w := m.Effects().Weights["contact.resistive"]
	require.Equal(t, rules.MaxWeight, w.Factor, "20 times 10 is capped")
	require.Len(t, w.By, 2)
	require.Equal(t, "wet_contact", w.By[0].Rule.ID)
	require.Equal(t, []string{"wet_contact"}, ruleIDs(m.Effects().Required["quiz"]))
}

func TestFiringsNameWhatIsBehind(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 7, "exposed", rules.BoolValue(true))
	for _, f := range m.Firings() {
		if f.Rule.ID != "wet_contact" {
			continue
		}
		require.Equal(t, []Support{
			{Fact: "wet", Known: true, Value: rules.BoolValue(true), Rules: []string{"outside_is_wet"}},
			{Fact: "drop"},
		}, f.Behind)
		require.Equal(t, []int{7}, f.Entries(), "through the derived fact")
	}
	why := m.Why("wet")
	require.Equal(t, "wet", why[0].Fact)
	require.Equal(t, []string{"outside_is_wet"}, why[0].Rules)
	require.Contains(t, why, Support{Fact: "exposed", Known: true, Value: rules.BoolValue(true), Given: true, Entry: 7})
}

func TestWhyNotNamesTheFailingPart(t *testing.T) {
	m := shopMemory(t)
	give(t, m, 1, "drop", rules.NumberValue(1))
	d, _ := m.WhyNot("wet_contact")
	require.Equal(t, []Part{
		{Source: "wet", Truth: rules.Unknown, Facts: []Support{{Fact: "wet"}}},
		{Source: "not known(drop)", Truth: rules.False, Facts: []Support{{Fact: "drop", Known: true, Value: rules.NumberValue(1), Given: true, Entry: 1}}},
	}, d.Parts)
}

func TestLateRulesAskTheRanking(t *testing.T) {
	m := shopMemory(t)
	yes := func(id string) bool { return id == "coil.open" }
	no := func(string) bool { return false }
	require.Empty(t, m.Late(no, no))
	late := m.Late(yes, no)
	require.Len(t, late, 1)
	require.Equal(t, 2.0, EffectsOf(late).Preferred["quiz"].Factor)
	require.Empty(t, m.Effects().Preferred, "the first stage reads no probability")
	give(t, m, 1, "ohms", rules.NumberValue(80))
	require.Empty(t, m.Late(yes, no))
}

// TestOnlyTouchedRulesAreEvaluated holds the engine to looking again at the
// readers of what changed, and at nothing when nothing changed.
func TestOnlyTouchedRulesAreEvaluated(t *testing.T) {
	m := shopMemory(t)
	look := func(change func()) int {
		before := m.looked
		change()
		return m.looked - before
	}
	require.Equal(t, 1, look(func() { give(t, m, 1, "ohms", rules.NumberValue(80)) }), "high_drop")
	require.Equal(t, 2, look(func() { give(t, m, 2, "clamp", rules.NumberValue(3)) }), "from_clamp, high_drop")
	require.Equal(t, 0, look(func() { give(t, m, 3, "clamp", rules.NumberValue(3)) }), "the same value again")
	require.Equal(t, 0, look(func() { m.TakeBack(2) }), "a lower entry")
	require.Equal(t, 0, look(func() { m.TakeBack(99) }), "no such entry")
	require.Equal(t, 1, look(func() { give(t, m, 4, "fuse_amps", rules.NumberValue(3)) }), "beaten: no change to pass on")
}

// manyRules writes a book of so many rules in chains of four.
func manyRules(count int) string {
	var b strings.Builder
	b.WriteString("facts:\n")
	for i := range count/4 + 1 {
		fmt.Fprintf(&b, "  - {id: v%d, unit: volt}\n  - {id: a%d, kind: bool}\n  - {id: b%d, kind: bool}\n  - {id: c%d, of: [low, high]}\n", i, i, i, i)
	}
	b.WriteString("suspects: [{id: coil.open}]\nrules:\n")
	for i := range count / 4 {
		next := (i + 1) % (count / 4)
		fmt.Fprintf(&b, "  - {id: r%d_a, when: 'v%d > 11.5 or v%d > 20', then: [{do: set, fact: a%d, to: 'true'}], because: x}\n", i, i, next, i)
		fmt.Fprintf(&b, "  - {id: r%d_b, when: 'a%d and not known(v%d)', then: [{do: set, fact: b%d, to: 'true'}], because: x}\n", i, i, next, i)
		fmt.Fprintf(&b, "  - {id: r%d_c, when: 'b%d or a%d', then: [{do: set, fact: c%d, to: 'v%d > 13 ? \"high\" : \"low\"'}], because: x}\n", i, i, i, i, i)
		fmt.Fprintf(&b, "  - {id: r%d_d, when: 'c%d == \"high\"', then: [{do: weigh, suspects: [coil.open], by: 1.01}], because: x}\n", i, i)
	}
	return b.String()
}

// BenchmarkGive changes one fact and lets all that follows from it follow.
func BenchmarkGive(b *testing.B) {
	for _, count := range []int{1_000, 10_000} {
		b.Run(fmt.Sprintf("rules=%d", count), func(b *testing.B) {
			book, err := loadText(manyRules(count))
			require.NoError(b, err)
			m := New(book)
			for i := range count / 4 {
				require.NoError(b, m.Give(0, fmt.Sprintf("v%d", i), rules.NumberValue(12)))
			}
			low, high := rules.NumberValue(11), rules.NumberValue(14)
			looked := m.looked
			b.ReportAllocs()
			b.ResetTimer()
			for i := 0; b.Loop(); i++ {
				v := low
				if i%2 == 0 {
					v = high
				}
				if err := m.Give(1, "v7", v); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(m.looked-looked)/float64(b.N), "rules/op")
		})
	}
}

// BenchmarkOpen lays a Memory over a compiled book and fires it for the first time.
func BenchmarkOpen(b *testing.B) {
	book, err := loadText(manyRules(1_000))
	require.NoError(b, err)
	p := Compile(book)
	b.ReportAllocs()
	for b.Loop() {
		p.Memory()
	}
}
