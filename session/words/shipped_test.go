package words

import (
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

func relayBook(t *testing.T) *rules.Book {
	t.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: os.DirFS("../../rulesets/relay")})
	require.NoError(t, err)
	return book
}

// TestShippedWordsNameKnownFacts: a saying that tells a fact tells one that is
// declared, and a value it may take.
func TestShippedWordsNameKnownFacts(t *testing.T) {
	book := relayBook(t)
	require.NotEmpty(t, book.Words)
	for _, w := range book.Words {
		fact, val, ok := strings.Cut(w.Means, "=")
		if !ok {
			continue
		}
		i := slices.IndexFunc(book.Facts, func(f *rules.Fact) bool { return f.ID == fact })
		if !assert.GreaterOrEqual(t, i, 0, "no fact %q", fact) {
			continue
		}
		switch f := book.Facts[i]; {
		case val == "number":
			assert.Contains(t, []rules.Kind{rules.Number, rules.Choice}, f.Kind, w.Means)
		case f.Kind == rules.Bool:
			assert.Contains(t, []string{"true", "false"}, val, w.Means)
		default:
			assert.Contains(t, f.Of, val, w.Means)
		}
	}
}

// TestEveryTestTakesItsAnswers: each answer of each shipped test, said as it
// stands, answers that test and nothing else.
func TestEveryTestTakesItsAnswers(t *testing.T) {
	book := relayBook(t)
	r, err := New(book.Words)
	require.NoError(t, err)
	roles := strings.NewReplacer("{supply}", "30", "{away}", "87", "{coil_plus}", "86", "{coil_minus}", "85", "{load_on}", "87", "{spare}", "87a")
	units := map[rules.Mode]string{rules.VoltsDC: "volts", rules.Ohms: "ohms", rules.AmpsDC: "amps", rules.PullIn: "volts", rules.DropOut: "volts"}
	require.NotEmpty(t, book.Tests)
	for _, test := range book.Tests {
		m := test.Measure
		for _, p := range []*string{&m.Red, &m.Black, &m.At, &m.From, &m.To} {
			*p = roles.Replace(*p)
		}
		e := &Expected{ID: test.ID, Sets: test.Sets, Measure: m, Setup: test.Setup, Kind: "number", Of: test.Answers()}
		ctx := Context{Labels: "din", SystemVolts: 12, CoilPositive: "86", Complaint: "dead", Expected: e}
		switch {
		case m.Mode == rules.MinMax:
			e.Kind = "min_max"
			assert.Equal(t, "answer 9.5..12.1", summary(r.Read("9.5 to 12.1", ctx)), test.ID)
		case len(e.Of) > 0:
			e.Kind = "choice"
			for _, of := range e.Of {
				assert.Equal(t, "answer "+of, summary(r.Read(strings.ReplaceAll(of, "_", " "), ctx)), test.ID)
			}
		default:
			for _, said := range []string{"8.4", "8.4 " + units[m.Mode], "eight point four", "it's 8.4"} {
				assert.Equal(t, "answer 8.4", summary(r.Read(said, ctx)), "%s: %s", test.ID, said)
			}
		}
		assert.Equal(t, "unsure", summary(r.Read("not sure", ctx)), test.ID)
		assert.Equal(t, "skip", summary(r.Read("can't reach it", ctx)), test.ID)
	}
}
