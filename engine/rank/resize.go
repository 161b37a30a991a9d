package rank

import (
	"math"
	"slices"

	"coilside/engine/circuit"
)

// A fault of most sizes makes another complaint than the one in hand, and one of a few
// makes just this. Few guesses at both the circuit and the size would be left with any
// weight, and luck would have the word on what they read. So where the complaint is
// rare, several sizes are tried on each guess at the circuit, and one is picked by how
// well it brings the complaint about (importance resampling, Rubin 1987).

// sizesMost is how many sizes are tried at the most, and rareBelow the mean likelihood of
// the complaint under which they are.
const (
	sizesMost = 6
	rareBelow = 0.2
)

// worthSizing is the prior probability of a suspect from which on it is worth the work.
const worthSizing = 0.004

// wider is the standard deviation of the fault's own numbers of every other try: the
// complaint may take a fault that is unusually large or small.
const wider = 2.5

// sizesFor is how many sizes are tried where the complaint is so likely; 1 = the one that
// was drawn.
func sizesFor(fits float64) int {
	if fits > rareBelow {
		return 1
	}
	return min(int(math.Ceil(1/fits)), sizesMost)
}

// hearAgainBelow is the part of a cloud that must still carry weight after the complaint;
// below it the cloud is renewed.
const hearAgainBelow = 0.4

// resize picks the sizes of the fault in a cloud's guesses, from one on.
func (b *Belief) resize(c *cloud, from int) error {
	if c.sizes < 2 || c.sizeDims() == 0 {
		return nil
	}
	for i := from; i < len(c.particles); i++ {
		c.stream.Seed(b.seed^0x512e, uint64(i))
		if err := b.resizeOne(c, i); err != nil {
			return err
		}
	}
	return nil
}

// sizeDims is how many normal numbers the sizes of a cloud's faults take.
func (c *cloud) sizeDims() int {
	n := 0
	for _, f := range c.faults {
		n += f.Dims
	}
	return n
}

func (b *Belief) resizeOne(c *cloud, i int) error {
	own, n := c.wirings.Dims()+b.model.Dims(), c.sizeDims()
	p := &c.particles[i]
	tries := []particle{*p} // first the size that was drawn
	for _, size := range c.draftSizes(n) {
		q := particle{draw: p.draw, normal: slices.Clone(p.normal)}
		copy(q.normal[own:], size)
		if err := b.build(c, &q); err != nil {
			return err
		}
		q.complaint = math.Log(b.complaintLikelihood(c, &q))
		tries = append(tries, q)
	}
	logs := make([]float64, len(tries))
	for k, q := range tries {
		logs[k] = q.complaint + tooOften(q.normal[own:own+n], c.sizes)
	}
	mean := logMean(logs)
	at, left := 0, c.rng.Float64()
	for k, w := range normalWeights(logs) {
		at = k
		if left -= w; left < 0 {
			break
		}
	}
	*p = tries[at]
	p.start = mean - p.complaint
	c.logw[i] = mean
	return nil
}

// draftSizes are the numbers of all sizes but the first: evenly spread over their
// distribution, dimension by dimension, and those of 0, 2, 4 ... over the wider one.
func (c *cloud) draftSizes(dims int) [][]float64 {
	out := make([][]float64, c.sizes-1)
	for k := range out {
		out[k] = make([]float64, dims)
	}
	for d := range dims {
		for first, deviation := range []float64{wider, 1} {
			cells := (len(out) + 1 - first) / 2
			for at, cell := range c.rng.Perm(cells) {
				out[2*at+first][d] = deviation * circuit.NormalQuantile((float64(cell)+c.rng.Float64())/float64(cells))
			}
		}
	}
	return out
}

// tooOften is the log of the prior density of a size against that with which it is tried.
func tooOften(normal []float64, sizes int) float64 {
	ratio := 0.0 // log of the wider density against the prior's
	for _, z := range normal {
		ratio += (1-1/(wider*wider))*z*z/2 - math.Log(wider)
	}
	widely := float64(sizes/2) / float64(sizes)
	return -math.Log(1 - widely + widely*math.Exp(ratio))
}
