package vehicle

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// reachable are all tests of the book that can be taken on the vehicle.
func reachable(v *Vehicle) []Taken {
	var out []Taken
	for _, t := range v.book.Tests {
		if taken, ok := v.Reach(t); ok {
			out = append(out, taken)
		}
	}
	return out
}

// A fault is never told from itself; with nothing read and nothing left to read,
// none is told from any other; and faults that show differently are told apart by a
// test that shows it.
func TestToldApart(t *testing.T) {
	k := knowledge(t)
	for seed, c := range []struct{ truth, other string }{
		{"coil.open", "load.open"}, {"load_ground.open", "feed_fuse.open"}, {"contact.welded", "control.stuck_closed"},
		{"terminal_30.resistive", "coil_wire.resistive"}, {"terminal_86.loose", "terminal_30.loose"},
	} {
		v, _, _, err := complaining(k, []string{c.truth}, uint64(seed))
		require.NoError(t, err)
		by, err := v.ToldApart(c.truth, c.truth, nil, reachable(v))
		require.NoError(t, err)
		require.Empty(t, by, "%s from itself", c.truth)
		by, err = v.ToldApart(c.truth, c.other, nil, nil)
		require.NoError(t, err)
		require.Empty(t, by, "%s from %s by nothing", c.truth, c.other)
		by, err = v.ToldApart(c.truth, c.other, nil, reachable(v))
		require.NoError(t, err)
		require.NotEmpty(t, by, "%s from %s", c.truth, c.other)
	}
}

// What no meter reaches stays a tie: two joints in series with nothing between them
// that a lead can touch look the same from outside, relay in or out.
func TestATrueTie(t *testing.T) {
	k := knowledge(t)
	o := Options{Book: k.Book(), Model: k.Model(), Faults: []string{"contact.resistive"}, Seed: 5}
	v, err := New(o)
	require.NoError(t, err)
	var inside []Taken
	for _, taken := range reachable(v) {
		if taken.Setup.Relay == "in" && taken.Test.Measure.Mode != "swap" && taken.Test.Measure.Mode != "reseat" && taken.Test.Measure.Mode != "ask" {
			inside = append(inside, taken)
		}
	}
	by, err := v.ToldApart("contact.resistive", "terminal_30.resistive", nil, inside)
	require.NoError(t, err)
	require.Empty(t, by, "contact and joint, relay in")
	by, err = v.ToldApart("contact.resistive", "terminal_30.resistive", nil, reachable(v))
	require.NoError(t, err)
	require.NotEmpty(t, by, "the relay by itself tells them apart")
}
