package diagnosis_test

import (
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
)

// What cases say that they take is what the heap grows by, within a factor of two, after whole jobs: a service keeps as
// many jobs in memory as fit by it.
func TestBytes(t *testing.T) {
	k := shipped(t)
	heap := func() int {
		runtime.GC()
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int(m.HeapAlloc)
	}
	var held []*diagnosis.Case
	var was, said int
	for range 2 { // what the first jobs make is shared by the second
		held, said = nil, 0
		was = heap()
		for _, job := range []int{1, 2, 8} {
			v, complaint := faulty(t, k, job)
			c := open(t, k, diagnosis.Opening{Complaint: complaint, Facts: knownWiring(k, v), Seed: 1})
			playTurns(t, c, v)
			held = append(held, c)
			said += c.Bytes()
		}
	}
	took := heap() - was
	t.Logf("%d cases: %.1f MB, said to be %.1f MB", len(held), float64(took)/1e6, float64(said)/1e6)
	require.Less(t, said, 2*took)
	require.Less(t, took, 2*said)
	runtime.KeepAlive(held)
}

// Catching up with what it only glanced at can cost a suspect its place, and bring up others that sleep; they are woken
// too before anything is asked of them.
func TestSleepersAreWokenInTurn(t *testing.T) {
	k := shipped(t)
	v, complaint := faulty(t, k, 3)
	c := open(t, k, diagnosis.Opening{Complaint: complaint, Facts: nothingKnown(), Seed: 3})
	require.NotPanics(t, func() { require.NotEmpty(t, playTurns(t, c, v)) })
}
