package vehicle

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// everyReading answers every test of the book that fits the vehicle, once.
func everyReading(t *testing.T, v *Vehicle) []any {
	t.Helper()
	var out []any
	for _, test := range v.book.Tests {
		a, err := v.Answer(v.filled(test.Measure), test.Setup)
		require.NoError(t, err, test.ID)
		out = append(out, a)
	}
	return out
}

func TestTheSameSeedIsTheSameVehicle(t *testing.T) {
	k := knowledge(t)
	for seed := range uint64(20) {
		o := Options{Book: k.Book(), Model: k.Model(), Faults: []string{"contact.resistive"}, Seed: seed}
		a, err := New(o)
		require.NoError(t, err)
		b, err := New(o)
		require.NoError(t, err)
		require.Equal(t, a.Complaint(), b.Complaint(), "seed %d", seed)
		require.Equal(t, everyReading(t, a), everyReading(t, b), "seed %d", seed)
	}
}

// A sound vehicle has no complaint, nor has one whose only fault was mended; and a
// new relay mends whatever was wrong inside the old one.
func TestMending(t *testing.T) {
	k := knowledge(t)
	for seed, truth := range truths(k.Book(), 100) {
		v, _, _, err := complaining(k, []string{truth}, uint64(seed))
		require.NoError(t, err)
		mended, err := v.Repair("none.found")
		require.NoError(t, err)
		require.False(t, mended, "%s: nothing was done", truth)
		require.Equal(t, []string{truth}, v.Faults())
		mended, err = v.Repair(truth)
		require.NoError(t, err)
		require.True(t, mended, truth)
		require.Empty(t, v.Faults(), truth)
		require.Empty(t, v.Complaint(), "seed %d: %s is mended", seed, truth)
	}
	v, err := New(Options{Book: k.Book(), Model: k.Model(), Faults: []string{"coil.open", "load_wire.open"}})
	require.NoError(t, err)
	_, err = v.Repair("contact.welded")
	require.NoError(t, err)
	require.Equal(t, []string{"load_wire.open"}, v.Faults(), "a new relay has a good coil too")
}

// The meter errs, and no more than a meter does: 1 % and a few digits.
func TestTheMeterErrsALittle(t *testing.T) {
	k := knowledge(t)
	different := 0
	for seed := range uint64(50) {
		v, err := New(Options{Book: k.Book(), Model: k.Model(), Seed: seed})
		require.NoError(t, err)
		m := rules.Measure{Mode: rules.VoltsDC, Red: "battery.positive", Black: "battery.negative"}
		s := rules.Setup{Relay: "in", Key: "off", Command: "off"}
		true12 := v.measure(v.there, m, s).A
		a, err := v.Answer(m, s)
		require.NoError(t, err)
		require.InDelta(t, true12, *a.Number, 0.03+0.015*true12, "seed %d", seed)
		if math.Abs(true12-*a.Number) > 0.005 {
			different++
		}
	}
	assert.Greater(t, different, 30, "a meter that never errs")
}

func TestWhatCannotBe(t *testing.T) {
	k := knowledge(t)
	o := Options{Book: k.Book(), Model: k.Model()}
	for _, c := range []struct {
		faults []string
		wiring map[string]string
		words  string
	}{
		{[]string{"coil.opne"}, nil, "no suspect is called"},
		{[]string{"terminal_87a.loose"}, map[string]string{"contact": "make"}, "can't occur"},
		{[]string{"suppressor.shorted"}, map[string]string{"suppression": "none"}, "can't occur"},
		{nil, map[string]string{"contact": "make", "power_enters": "87a"}, "no circuit is wired like this"},
	} {
		o.Faults, o.Wiring = c.faults, c.wiring
		_, err := New(o)
		require.ErrorContains(t, err, c.words)
	}
	v, err := New(Options{Book: k.Book(), Model: k.Model()})
	require.NoError(t, err)
	_, err = v.Answer(rules.Measure{Mode: rules.VoltsDC, Red: "socket.30", Black: "battery.negative"}, rules.Setup{Relay: "in", Key: "on", Command: "on"})
	require.ErrorContains(t, err, "socket.30")
}
