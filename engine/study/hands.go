package study

import (
	"math/rand/v2"

	"coilside/engine/rank"
	"coilside/rules"
)

// Hands are the study's technician for one job, lent to somebody else who chooses the
// tests: they take the readings, now and then wrongly, and count the minutes.
type Hands struct{ tech *technician }

// NewHands starts beside the job's vehicle. A job dealt afresh and its hands read the
// same as Play does, as long as the same tests are done in the same order.
func NewHands(j *Job, table *Minutes) *Hands {
	rng := rand.New(rand.NewPCG(j.rng.Uint64(), 1))
	return &Hands{&technician{vehicle: j.Vehicle, has: j.Vehicle.Wiring().Has, stratum: j.Stratum, rng: rng, ledger: NewLedger(table, j.Access)}}
}

// Take does a test and gives what was read, the minutes that it took, and whether the
// reading is wrong. Errors name a place that can't be reached in the setup.
func (h *Hands) Take(m rules.Measure, s rules.Setup) (a rank.Answer, minutes float64, wrong bool, err error) {
	before := h.tech.ledger.Total
	a, wrong, err = h.tech.answer(m, s)
	return a, h.tech.ledger.Total - before, wrong, err
}
