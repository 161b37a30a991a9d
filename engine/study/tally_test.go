package study

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// hand is a result made by hand.
func hand(exact bool, minutes, loss float64, ends ...End) *Result {
	return &Result{Job: &Job{Faults: []string{"coil.open"}, Silent: []string{"load.open"}}, Exact: exact, Tests: 4, Minutes: minutes,
		LogLoss: loss, Ends: ends, Turns: []float64{1, 2, 3, 100}}
}

func TestTally(t *testing.T) {
	single, _ := FindStratum("single")
	tally := &Tally{Stratum: single, Policy: "product", Results: []*Result{
		hand(true, 10, 0.1, End{Verdict: "right", Named: []string{"coil.open"}, Claimed: 0.97}),
		hand(false, 20, 3, End{Verdict: "wrong", Named: []string{"load.open"}, Claimed: 0.96}),
		hand(false, 30, 0.5, End{Verdict: "false tie", Named: []string{"coil.open", sound}, Claimed: 0.9}),
		hand(false, 40, 1, End{Verdict: "none"}),
	}}
	assert.InDelta(t, 0.25, tally.Exact(), 1e-12)
	assert.InDelta(t, 25, tally.Minutes(), 1e-12)
	assert.InDelta(t, 4.6/4, tally.LogLoss(), 1e-12)
	assert.InDelta(t, 0.5, tally.Concluded(), 1e-12, "two claim 95 % or more")
	assert.InDelta(t, 0.5, tally.Calibrated(), 1e-12, "one of them is right")
	assert.InDelta(t, 0.5, tally.Uncondemned(), 1e-12, "naming that all is sound, or nothing, condemns nothing")
	n, claimed, right := tally.claims(0.8, 0.95)
	assert.Equal(t, 1, n)
	assert.InDelta(t, 0.9, claimed, 1e-12)
	assert.InDelta(t, 1.0, right, 1e-12, "the fault is among those named")
	assert.InDelta(t, 3, tally.turn(0.5), 1e-12)
	assert.InDelta(t, 100, tally.turn(0.99), 1e-12)
	assert.Equal(t, "load.open 4", Silent([]*Tally{tally}))

	var b strings.Builder
	Table(&b, []*Tally{tally})
	Calibration(&b, []*Tally{tally})
	tally.Misses(&b)
	slow := &Tally{Stratum: single, Policy: "practice", Results: []*Result{hand(true, 100, 0.1, End{Verdict: "right"})}}
	Against(&b, []*Tally{tally, slow})
	assert.Contains(t, b.String(), "single: product takes 0.25 of the minutes of practice")
	assert.Contains(t, b.String(), "1: 90.0->100.0  2: 96.5->50.0")
	assert.Contains(t, b.String(), "missed: coil.open 3")
}
