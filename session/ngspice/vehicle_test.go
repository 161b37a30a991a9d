package ngspice

import (
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/engine/study"
	"coilside/rules"
	"coilside/rulesets"
)

// Twins show the same: every kind of reading on vehicles with steady faults, apart
// from what their two meters and two pairs of eyes make of it.
func TestTwinsShowTheSame(t *testing.T) {
	if err := Missing(); err != nil && os.Getenv("COILSIDE_CI") == "" {
		t.Skip(err)
	}
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	dealer := study.Dealer{Knowledge: k, Can: Can}
	single, _ := study.FindStratum("single")
	compared, words, apart := map[rules.Mode]int{}, 0, 0
	for number := range 8 {
		j, err := dealer.Deal(single, 11, number)
		require.NoError(t, err)
		v, err := New(book, j.Vehicle, uint64(number))
		require.NoError(t, err)
		n, err := v.there(true)
		require.NoError(t, err)
		if n.Chance < 1 {
			continue
		}
		for i, test := range book.Tests {
			taken, ok := j.Vehicle.Reach(test)
			if !ok || i%3 != number%3 {
				continue
			}
			a, err := j.Vehicle.Answer(taken.Measure, taken.Setup)
			require.NoError(t, err, test.ID)
			b, err := v.Answer(taken.Measure, taken.Setup)
			require.NoError(t, err, test.ID)
			if b.Unsure {
				continue
			}
			compared[test.Measure.Mode]++
			switch {
			case a.Number != nil && b.Number != nil:
				require.InDelta(t, *a.Number, *b.Number, 0.5+0.03*math.Abs(*a.Number), "job %d, %v: %s", number, j.Faults, test.ID)
			case a.Over || b.Over:
				require.Equal(t, a.Over, b.Over, "job %d, %v: %s", number, j.Faults, test.ID)
			case a.Choice != "":
				words++
				if a.Choice != b.Choice {
					apart++
				}
			}
		}
	}
	t.Logf("%v; of %d answers in words %d differ", compared, words, apart)
	require.Greater(t, compared[rules.VoltsDC], 50)
	require.Less(t, apart, words/5, "eyes differ now and then")
}

// A vehicle complains of the same in both, and is sound when it is mended.
func TestTwinsComplainOfTheSame(t *testing.T) {
	if err := Missing(); err != nil && os.Getenv("COILSIDE_CI") == "" {
		t.Skip(err)
	}
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	dealer := study.Dealer{Knowledge: k, Can: Can}
	single, _ := study.FindStratum("single")
	same := 0
	const jobs = 25
	for number := range jobs {
		j, err := dealer.Deal(single, 12, number)
		require.NoError(t, err)
		v, err := New(book, j.Vehicle, uint64(number))
		require.NoError(t, err)
		if v.Complaint() == j.Complaint {
			same++
		} else {
			t.Logf("job %d, %v: %q, ngspice %q", number, j.Faults, j.Complaint, v.Complaint())
		}
		_, err = v.Repair(j.Faults[0])
		require.NoError(t, err)
		require.Empty(t, v.Complaint(), "job %d, %v is mended", number, j.Faults)
	}
	require.GreaterOrEqual(t, same, jobs*8/10, "at the edges people differ")
}
