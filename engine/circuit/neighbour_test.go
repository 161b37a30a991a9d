package circuit_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A walk from wiring to neighbour, each step taken or not by Metropolis's rule, meets every
// choice as often as the rulebook says that the trade does (Hastings 1970: the steps are
// weighed by how likely the way back is).
func TestStepsMeetWiringsByTheirShares(t *testing.T) {
	book, model := shipped(t)
	ws, err := model.Wirings(map[string]string{"system_volts": "12"})
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(3, 14))
	at := make([]float64, ws.Dims())
	const steps = 200_000
	met := map[string]float64{}
	for range steps {
		next := slices.Clone(at)
		log := ws.Step(next, rng)
		if rng.IntN(4) == 0 {
			next = slices.Clone(at)
			log = ws.StepIn("contact", next, rng)
		}
		if math.Log(rng.Float64())+log < 0 {
			at = next
		}
		w := ws.Pick(at)
		for _, unknown := range book.Circuits[0].Wiring {
			is, _ := w.Choice(unknown.ID)
			met[unknown.ID+" "+is] += 1.0 / steps
		}
	}
	all := 0.0
	want := map[string]float64{}
	for _, w := range ws.All() {
		all += w.Share
	}
	shaping := book.Circuits[0].Shaping()
	for _, unknown := range book.Circuits[0].Wiring {
		for k, choice := range unknown.Of {
			id := unknown.ID + " " + choice
			switch {
			case unknown.ID == "system_volts":
				want[id] = float64(k ^ 1) // 12 is given
			case !shaping[unknown.ID]:
				sum := 0.0
				for _, s := range unknown.Shares {
					sum += s
				}
				want[id] = unknown.Shares[k] / sum
			}
			for _, w := range ws.All() {
				if is, _ := w.Choice(unknown.ID); shaping[unknown.ID] && is == choice {
					want[id] += w.Share / all
				}
			}
		}
	}
	for id, share := range want {
		assert.InDelta(t, share, met[id], 0.015, id)
	}
}

// Where no circuit is wired like the step says, nothing changes.
func TestAStepToNowhereChangesNothing(t *testing.T) {
	_, model := shipped(t)
	ws, err := model.Wirings(map[string]string{"system_volts": "12", "contact": "make"})
	require.NoError(t, err)
	at := make([]float64, ws.Dims())
	rng := rand.New(rand.NewPCG(1, 1))
	nowhere := 0
	for range 200 {
		next := slices.Clone(at)
		if math.IsInf(ws.Step(next, rng), 1) {
			nowhere++
			require.Equal(t, at, next)
		}
	}
	require.Positive(t, nowhere)
	require.True(t, math.IsInf(ws.StepIn("contact", slices.Clone(at), rng), 1), "what is known stays")
}
