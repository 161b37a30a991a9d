package rank

import (
	"math"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/choose"
	"coilside/engine/circuit"
	"coilside/rules"
)

// Hand-given numbers, held against what the forms of a spread mean.

// handBook is a rulebook without a circuit; what is given for the numbers of test
// "reads" goes in.
func handBook(t *testing.T, mode, number string) *rules.Book {
	t.Helper()
	text := `
facts:
  - {id: rated, kind: number, unit: volt, words: rated volts}
suspects:
  - {id: a.bad, words: a is bad, prior: 3}
  - {id: b.bad, words: b is bad, prior: 1}
tests:
  - id: reads
    measure: {mode: ` + mode + `, red: one.place, black: other.place}
    say: "Read it."
    expect: [{suspects: [a.bad], number: ` + number + `}]
  - id: asks
    measure: {mode: ask, question: "Which?"}
    of: [x, y, z]
    say: "Ask."
    expect: [{suspects: [a.bad], answers: {x: 0.7, y: 0.2}}, {answers: {y: 0.5}}]
`
	book, err := rules.Load(rules.Layer{Name: "hand", FS: fstest.MapFS{"hand.yaml": {Data: []byte(text)}}})
	require.NoError(t, err)
	return book
}

func figureIn(t *testing.T, book *rules.Book, facts map[string]any) (figure, bool) {
	t.Helper()
	test, _ := book.Test("reads")
	return figureOf(test.Expect[0].Number, facts)
}

// forms are spreads and, by definition, the value that a part of them lies below.
var forms = []struct {
	number string
	value  func(part float64) float64
}{
	{"7", func(float64) float64 { return 7 }},
	{"{about: 5, plus_minus: 0.8}", func(p float64) float64 { return 5 + 0.8*circuit.NormalQuantile(p) }},
	{"{about: 5, spread: 0.3}", func(p float64) float64 {
		return 5 * math.Exp(math.Sqrt(math.Log1p(0.09))*circuit.NormalQuantile(p))
	}},
	{"{between: [2, 9]}", func(p float64) float64 { return 2 * math.Pow(4.5, p) }},
	{"{even: [2, 9]}", func(p float64) float64 { return 2 + 7*p }},
}

// A reading is as likely as the mean over the spread of what a meter with a normal
// error shows of each value.
func TestFigureDensity(t *testing.T) {
	const parts = 20000
	for _, f := range forms {
		fig, ok := figureIn(t, handBook(t, "volts_dc", f.number), nil)
		require.True(t, ok, f.number)
		for _, err := range []float64{0.05, 0.3} {
			for _, read := range []float64{1.5, 2.1, 3.3, 5, 6.8, 7, 8.9, 9.4} {
				want := 0.0
				for k := range parts {
					z := (read - f.value((float64(k)+0.5)/parts)) / err
					want += math.Exp(-z*z/2) / (err * math.Sqrt(2*math.Pi)) / parts
				}
				// A normal error on a logarithmic scale is normal only to first order.
				assert.InDelta(t, want, fig.density(read, err), 0.04*want+0.012, "%s read as %g with an error of %g", f.number, read, err)
			}
		}
	}
}

func TestFigureSumsToOne(t *testing.T) {
	for _, f := range forms {
		fig, _ := figureIn(t, handBook(t, "volts_dc", f.number), nil)
		sum, step := 0.0, 0.001
		for read := -10 + step/2; read < 40; read += step {
			sum += step * fig.density(read, 0.1)
		}
		assert.InDelta(t, 1, sum, 0.002, f.number)
	}
}

// What lies above the ohms range reads OL.
func TestFigureBeyondTheRange(t *testing.T) {
	for number, want := range map[string]float64{
		"100": 0, "30000000": 1, "{between: [20000, 20000000000]}": 0.5, "{even: [10000000, 30000000]}": 0.5,
		"{about: 20000000, spread: 0.2}": 0.5, "{about: 20000000, plus_minus: 5}": 0.5,
	} {
		book := handBook(t, "ohms", number)
		fig, ok := figureIn(t, book, nil)
		require.True(t, ok)
		assert.InDelta(t, want, fig.beyond(circuit.OverRange), 1e-9, number)
		g := outlookOf(t, book, "reads").grid
		cells := g.foretold(&fig)
		assert.InDelta(t, want, cells[len(cells)-1], 1e-9, number)
		sum := 0.0
		for _, p := range cells {
			sum += p
		}
		assert.InDelta(t, 1, sum, 1e-9, number)
	}
}

// A figure that leans on a fact says nothing until the fact is known.
func TestFigureOfUnknownFact(t *testing.T) {
	book := handBook(t, "volts_dc", `{about: "0.5 * rated", plus_minus: 0.1}`)
	_, ok := figureIn(t, book, nil)
	assert.False(t, ok)
	fig, ok := figureIn(t, book, map[string]any{"rated": 12.0})
	require.True(t, ok)
	assert.Equal(t, figure{low: 6, high: 6, sd: 0.1}, fig)
	_, ok = figureIn(t, handBook(t, "volts_dc", `{about: "rated", spread: 0.1}`), map[string]any{"rated": -1.0})
	assert.False(t, ok, "the logarithm of nothing")
}

func outlookOf(t *testing.T, book *rules.Book, test string) Outlook {
	t.Helper()
	b, err := Open(Opening{Book: book})
	require.NoError(t, err)
	tt, _ := book.Test(test)
	c, err := b.Candidate(tt, tt.Measure, tt.Setup)
	require.NoError(t, err)
	return b.Outlooks([]*Candidate{c}, Believed)[0]
}

// What a test may come to and how a reading of it counts are two sides of one
// thing: a figure nobody else shares is worth nearly all there is to know, a figure
// as wide as the meter's range far less.
func TestOutlookOfFigures(t *testing.T) {
	whole := -0.75*math.Log2(0.75) - 0.25*math.Log2(0.25)
	for _, mode := range []string{"volts_dc", "ohms", "min_max, during: wiggle"} {
		o := outlookOf(t, handBook(t, mode, "7"), "reads")
		for h, cells := range o.Cells {
			sum := 0.0
			for _, p := range cells {
				assert.Greater(t, p, 0.0)
				sum += p
			}
			assert.InDelta(t, 1, sum, 1e-9, "%s %s", mode, o.Hyps[h].ID())
		}
		gain := choose.Gain(o.Prior, o.Cells)
		assert.Greater(t, gain, 0.5*whole, mode)
		assert.LessOrEqual(t, gain, whole+1e-9, mode)
	}
	sharp := choose.Gain(both(outlookOf(t, handBook(t, "ohms", "7"), "reads")))
	broad := choose.Gain(both(outlookOf(t, handBook(t, "ohms", "{between: [0.1, 20000000]}"), "reads")))
	assert.Less(t, broad, 0.6*sharp)
}

func both(o Outlook) ([]float64, [][]float64) { return o.Prior, o.Cells }

// Bayes by hand: prior times likelihood, with the chance of a slip in each; the
// same twice counts twice, and the order does not matter.
func TestHandGivenBayes(t *testing.T) {
	book := handBook(t, "volts_dc", "7")
	asks, _ := book.Test("asks")
	reads, _ := book.Test("reads")
	number := 7.05
	x := Reading{ID: 1, Test: asks, Measure: asks.Measure, Answer: Answer{Choice: "x"}}
	v := Reading{ID: 2, Test: reads, Measure: reads.Measure, Answer: Answer{Number: &number}}
	slipped := func(p, slip float64) float64 { return (1-Slip)*p + Slip*slip }
	oddsX := slipped(0.7, 1.0/3) / slipped(0.25, 1.0/3) // b: half is left for x and z
	fig, _ := figureIn(t, book, nil)
	wild := slipDensity(rules.VoltsDC, number, 12)
	oddsV := slipped(fig.density(number, sigma(rules.VoltsDC, number, 12)), wild) / wild
	for _, c := range []struct {
		readings []Reading
		odds     float64
	}{
		{nil, 3}, {[]Reading{x}, 3 * oddsX}, {[]Reading{x, x}, 3 * oddsX * oddsX}, {[]Reading{v}, 3 * oddsV},
		{[]Reading{x, v}, 3 * oddsX * oddsV}, {[]Reading{v, x}, 3 * oddsX * oddsV},
	} {
		b, err := Open(Opening{Book: book})
		require.NoError(t, err)
		for _, r := range c.readings {
			require.NoError(t, b.Read(r))
		}
		p := map[string]float64{}
		for _, h := range b.Ranking() {
			p[h.ID()] = h.Probability()
		}
		assert.InEpsilon(t, c.odds, p["a.bad"]/p["b.bad"], 1e-9)
		assert.InDelta(t, 1, p["a.bad"]+p["b.bad"], 1e-12)
	}
}
