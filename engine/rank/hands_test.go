package rank

import (
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/circuit"
	"coilside/rules"
	"coilside/rulesets"
)

// How many work at once makes no difference to any digit of a ranking.
func TestHandsMakeNoDifference(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	model, err := circuit.Compile(book, book.Circuits[0])
	require.NoError(t, err)
	ranked := func(alone bool) map[string]float64 {
		b, err := Open(Opening{Book: book, Model: model, Complaint: "weak", Seed: 3, Alone: alone, Wiring: map[string]string{"system_volts": "12"}})
		require.NoError(t, err)
		require.NoError(t, b.Read(volts(1, "battery.positive", commanded, 12.42)))
		require.NoError(t, b.Read(volts(2, "load.in", commanded, 6.15)))
		out := map[string]float64{}
		for _, h := range b.Ranking() {
			out[h.ID()] = h.Probability()
		}
		return out
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(handsMost))
	require.Equal(t, ranked(true), ranked(false))
}

// Sizes tried at each guess leave the mean likelihood of the complaint what it is: that of
// many guesses with one size each.
func TestResizeKeepsTheFit(t *testing.T) {
	for _, complaint := range []string{"weak", "drops_out_hot"} {
		few, many := open(t, complaint, DefaultDraws, 5), open(t, complaint, 2048, 6)
		tried := 0
		for i, h := range few.hyps {
			other := many.hyps[i]
			require.Equal(t, other.ID(), h.ID())
			if h.cloud == nil || h.cloud.sizes < 2 {
				continue
			}
			tried++
			require.InDelta(t, other.complain, h.complain, 0.5, "%s: %s", complaint, h.ID())
		}
		require.Greater(t, tried, 3, complaint)
	}
}

// A question about a number of the circuit tells the circuits apart that have it from those
// that have another, and its answers' shares sum to 1.
func TestAskedNumberIsHeard(t *testing.T) {
	b := open(t, "weak", 4*DefaultDraws, 1)
	test, ok := b.book.Test("ask_fuse_amps")
	require.True(t, ok)
	require.NoError(t, b.Read(Reading{ID: 1, Measure: test.Measure, Setup: test.Setup, Test: test, Answer: Answer{Choice: "10"}}))
	asked := b.model.Asked(test)
	for _, h := range b.hyps {
		if h.cloud == nil || h.bare < 0.01 {
			continue
		}
		mean := 0.0
		for i, w := range b.weights(h.cloud) {
			number := asked.In(h.cloud.particles[i].draw)
			mean += w * number
			sum := 0.0
			for _, share := range asked.Shares(number) {
				sum += share
			}
			require.InDelta(t, 1, sum, 1e-9)
		}
		require.InDelta(t, asked.Choice(3), mean, 0.2, h.ID()) // 10 A is the fourth
	}
}

// A panic in a piece of work is the caller's to recover, however many hands there are.
func TestAPanicIsTheCallers(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(handsMost))
	b := open(t, "weak", DefaultDraws, 1)
	require.Panics(t, func() {
		b.each(8, func(_ *Belief, i int) {
			if i == 5 {
				panic("the sixth")
			}
		})
	})
}
