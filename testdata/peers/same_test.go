package main

import (
	"errors"
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestSameFacts holds every engine to the plain meaning of the rules, after loading, after
// each of twenty changes, with the chain's start taken back, and with it restored.
func TestSameFacts(t *testing.T) {
	sizes := []int{100}
	if os.Getenv("COILSIDE_FULL") == "1" {
		sizes = append(sizes, 1_000)
	}
	for _, size := range sizes {
		p := newPlan(size)
		p.pause = 0
		want := p.expected()
		requireLively(t, want)
		for _, e := range subjects() {
			t.Run(fmt.Sprintf("%s/%d", e.name, size), func(t *testing.T) {
				out, err := e.run(p)
				if errors.Is(err, errMissing) && os.Getenv("COILSIDE_CI") == "" {
					t.Skip(err)
				}
				require.NoError(t, err)
				require.Len(t, out.states, len(want))
				for step := range want {
					require.Equal(t, want[step].String(), out.states[step].String(), "step %d", step)
				}
			})
		}
	}
}

// requireLively sees to it that the states differ and that chains run deep: engines that
// derive nothing would agree as well.
func requireLively(t *testing.T, states []state) {
	t.Helper()
	different := map[string]bool{}
	for _, s := range states {
		different[s.String()] = true
	}
	require.Greater(t, len(different), 4, "most changes of a number touch few of a hundred rules")
	last := len(states[0]) - 1
	restored := states[len(states)-1]
	require.True(t, restored[last], "the chain of links is whole")
	require.False(t, states[len(states)-2][last], "and gone with its start")
	deep := 0
	for _, s := range states {
		for flag := depth - 1; flag < len(s)-links; flag += depth {
			if s[flag] {
				deep++
			}
		}
	}
	require.Positive(t, deep, "a chain of eight fires to its end")
}
