package rank

import "math"

// A cloud's guesses are few, and where two clouds were renewed each by itself, what they
// expect of a test differs by luck as well. Taken at its word that looks like information:
// over many tests it would have a technician measure one thing after another that tells
// nothing. So what luck alone is expected to bring is taken off what a test is worth.

// luck is the information that the luck of the clouds pretends to, in bits >= 0: by how much
// the entropy of each hypothesis's outcomes comes out too small, less what it does for
// that of all together (Miller 1955: (levels - 1) / 2 N nats each). effective is by hypothesis
// how many guesses, each its own luck, carry what it expects; +Inf where luck has no part in it.
func (o *Outlook) luck(effective []float64) float64 {
	own := 0.0
	mixed := make([]float64, len(o.Cells[0]))
	shares := map[*float64]float64{} // of hypotheses that expect the same, with one luck between them
	for h, p := range o.Prior {
		own += p * (o.levels(o.Cells[h]) - 1) / effective[h]
		shares[&o.Cells[h][0]] += p
		for k, q := range o.Cells[h] {
			mixed[k] += p * q
		}
	}
	one := 0.0 // one over the number of guesses in all
	for h, p := range o.Prior {
		one += p * shares[&o.Cells[h][0]] / effective[h]
	}
	return math.Max(own-(o.levels(mixed)-1)*one, 0) / 2 / math.Ln2
}

// levels is over how many outcomes that a reading can tell apart a distribution is spread:
// the exponential of its entropy, without what slips read and what the meter's own error makes of it.
func (o *Outlook) levels(cells []float64) float64 {
	floor := Slip / float64(o.grid.outcomes())
	sum, nats := 0.0, 0.0
	for _, p := range cells {
		if p -= floor; p > floor {
			sum += p
			nats -= p * math.Log(p)
		}
	}
	if sum == 0 {
		return 1
	}
	levels := math.Exp(nats/sum + math.Log(sum))
	if o.grid.half > 0 {
		levels /= meterLevels
	}
	return math.Max(levels, 1)
}

// meterLevels is over how many cells the meter's error alone spreads a number.
var meterLevels = func() float64 {
	nats := 0.0
	for k, p := range meterError {
		each := -p * math.Log(p)
		if k > 0 {
			each *= 2
		}
		nats += each
	}
	return math.Exp(nats)
}()
