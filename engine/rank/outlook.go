package rank

import (
	"cmp"
	"math"
	"slices"
)

// Outlook is what a test that has not been done yet would read: for each live
// hypothesis the chance of each outcome. Numbers are sorted into cells about as
// wide as a meter and the model can tell apart; those that only a slip reads are
// one outcome.
type Outlook struct {
	Hyps  []*Hypothesis
	Prior []float64   // by hypothesis, sums to 1
	Cells [][]float64 // by hypothesis, by outcome: chance, sums to 1
	Luck  float64     // bits that the luck of small clouds pretends the outcomes tell, >= 0
	grid  grid
	at    []int // by outcome: its cell of the grid; rest for what only a slip reads; nil = in the grid's order
}

// rest stands for all cells that no hypothesis expects.
const rest = -1

// cell is an outcome's cell of the grid.
func (o *Outlook) cell(outcome int) int {
	if o.at == nil {
		return outcome
	}
	return o.at[outcome]
}

// worthAsking is the probability below which a hypothesis has no say in what to
// measure next; where even the likeliest is as unlikely as one of many, a quarter of it.
const worthAsking = 0.008

// By is what hypotheses are weighed by when tests are chosen.
type By uint8

const (
	Believed      By = iota // all that is known
	ReadingsAlone           // what the readings alone leave: where the likeliest has yet to be proven
	Afresh                  // the same, those before the last repair counting half: where it mended the wrong thing
)

// Outlooks predicts candidates over the hypotheses that matter.
func (b *Belief) Outlooks(cs []*Candidate, by By) []Outlook {
	live := b.Live(min(worthAsking, b.Ranking()[0].Probability()/4))
	weigh := func(h *Hypothesis) float64 { return h.prob }
	if by != Believed {
		of := b.aloneProbabilities()
		if by == Afresh {
			of = b.afreshProbabilities()
		}
		weigh = func(h *Hypothesis) float64 { return of[h] }
		live = b.notExcluded(of)
	}
	forms := make([][]*Hypothesis, len(live))
	prior := make([]float64, len(live))
	sum := 0.0
	for i, h := range live {
		for _, form := range h.forms {
			prior[i] += weigh(form)
		}
		sum += prior[i]
		for _, form := range h.forms {
			if weigh(form) > hardlyIt*prior[i] {
				forms[i] = append(forms[i], form)
			}
		}
	}
	all := slices.Concat(forms...)
	b.refresh(cs, all)
	for i := range prior {
		prior[i] /= sum
	}
	out := make([]Outlook, len(cs))
	b.each(len(cs), func(hand *Belief, k int) {
		c := cs[k]
		at := hand.expectedCells(c, all)
		out[k] = Outlook{Hyps: live, Prior: prior, grid: c.grid, at: at, Cells: mixed(forms, hand.outcomes(c, all, at), weigh)}
		carried := effectives(forms)
		out[k].pool(c.signatures(forms), carried)
		if c.m.circuit {
			out[k].Luck = out[k].luck(c.lucky(forms, carried))
		}
	})
	return out
}

// hardlyIt is the part of a hypothesis below which one of its forms is left out of
// what it expects.
const hardlyIt = 0.01

// mixed is, by hypothesis, the chance of each outcome over its forms; rows are those of
// all forms, one after the other.
func mixed(forms [][]*Hypothesis, rows [][]float64, weigh func(*Hypothesis) float64) [][]float64 {
	out := make([][]float64, len(forms))
	for h, of := range forms {
		own := rows[:len(of)]
		rows = rows[len(of):]
		if len(of) == 1 {
			out[h] = own[0]
			continue
		}
		out[h] = make([]float64, len(own[0]))
		sum := 0.0
		for i, form := range of {
			w := weigh(form)
			for k, p := range own[i] {
				out[h][k] += w * p
			}
			sum += w
		}
		scale(out[h], 1/sum)
	}
	return out
}

// signatures are, by hypothesis, those of the candidate; nil where its forms may have several.
func (c *Candidate) signatures(forms [][]*Hypothesis) []*signature {
	out := make([]*signature, len(forms))
	if c.grid.half == 0 || !c.m.circuit || c.m.wiring != "" {
		return out
	}
	for h, of := range forms {
		if len(of) == 1 && of[0].cloud != nil {
			out[h] = c.kept[of[0].cloud.index].signature
		}
	}
	return out
}

// effectives are, by hypothesis, how many particles carry what it expects.
func effectives(forms [][]*Hypothesis) []float64 {
	out := make([]float64, len(forms))
	for h, of := range forms {
		if of[0].cloud != nil {
			out[h] = effectiveShare(of[0].cloud.share)
		}
	}
	return out
}

// lucky are, by hypothesis, how many guesses carry what it expects, +Inf where they are not
// its own: clouds that were never renewed share their guesses with all others.
func (c *Candidate) lucky(forms [][]*Hypothesis, carried []float64) []float64 {
	out := slices.Clone(carried)
	for h, of := range forms {
		if of[0].cloud == nil || of[0].cloud.generation == 0 {
			out[h] = math.Inf(1)
		}
	}
	return out
}

// effectiveShare is how many of the chosen particles carry the weight.
func effectiveShare(share []float64) float64 { return 1 / squares(share) }

func squares(of []float64) float64 {
	sum := 0.0
	for _, x := range of {
		sum += x * x
	}
	return sum
}

// pool gives hypotheses that expect the same number the same outcomes: as far as a meter
// can tell or, where they predict it by the same function, as far as the luck of small
// clouds lets one say. Luck is no reason to measure.
func (o *Outlook) pool(signatures []*signature, effective []float64) {
	if o.grid.half == 0 {
		return
	}
	const narrow, same = 3.5, 1 // cells
	done := make([]bool, len(o.Cells))
	for lead := range o.Cells {
		if done[lead] {
			continue
		}
		mean, sd := o.center(lead)
		group := []int{lead}
		for h := lead + 1; h < len(o.Cells); h++ {
			if done[h] {
				continue
			}
			m, s := o.center(h)
			apart := math.Abs(m - mean)
			switch {
			case sd < narrow && s < narrow && apart < max(same, sd/2):
				group = append(group, h)
			case signatures[lead] != nil && signatures[h] != nil && max(sd, s) < 1.8*min(sd, s)+same &&
				apart < 3*math.Hypot(sd/math.Sqrt(effective[lead]), s/math.Sqrt(effective[h])) &&
				signatures[lead].same(signatures[h], sigma(o.grid.mode, 0, o.grid.systemVolts)):
				group = append(group, h)
			}
		}
		if len(group) == 1 {
			continue
		}
		mixed, sum := make([]float64, len(o.Cells[lead])), 0.0
		for _, h := range group {
			sum += o.Prior[h]
			for cell, p := range o.Cells[h] {
				mixed[cell] += o.Prior[h] * p
			}
		}
		for cell := range mixed {
			mixed[cell] /= sum
		}
		one := 0.0
		for _, h := range group {
			one += o.Prior[h] * o.Prior[h] / (sum * sum * effective[h])
		}
		for _, h := range group {
			done[h], o.Cells[h], effective[h] = true, mixed, 1/one
		}
	}
}

// Parts gathers the outcomes into at most so many, by which hypothesis each makes
// likeliest: by hypothesis and outcome the chance, which sums to 1 over outcomes.
func (o *Outlook) Parts(most int) [][]float64 {
	leads := make([]int, len(o.Cells[0])) // by cell: the hypothesis it makes likeliest
	mass := make([]float64, len(o.Cells)) // by hypothesis: the chance of the cells that it leads
	for cell := range leads {
		best, whole := 0.0, 0.0
		for h, p := range o.Prior {
			x := p * o.Cells[h][cell]
			whole += x
			if x > best*(1+1e-9) {
				best, leads[cell] = x, h
			}
		}
		mass[leads[cell]] += whole
	}
	order := make([]int, len(mass))
	for h := range order {
		order[h] = h
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(mass[y], mass[x]) })
	outcome := make([]int, len(mass))
	for rank, h := range order {
		outcome[h] = min(rank, most-1)
	}
	out := make([][]float64, len(o.Cells))
	for h := range out {
		out[h] = make([]float64, most)
		for cell, p := range o.Cells[h] {
			out[h][outcome[leads[cell]]] += p
		}
	}
	return out
}

// center is the mean and the standard deviation of what a hypothesis expects, in
// cells, the slips left out; a wide one where OL is as likely as not.
func (o *Outlook) center(h int) (mean, sd float64) {
	cells := o.Cells[h]
	floor := 1.5 * Slip / float64(o.grid.outcomes())
	var sum, squares float64
	for outcome, p := range cells {
		at := o.cell(outcome)
		if p <= floor || at == rest {
			continue
		}
		sum += p
		mean += p * float64(at)
		squares += p * float64(at) * float64(at)
	}
	mean /= sum
	return mean, math.Sqrt(math.Max(squares/sum-mean*mean, 0))
}

// The hypotheses that count as excluded have less than excludedBelow between them by the readings alone:
// many small ones are as much of a doubt as a big one. At most mostProving are weighed.
const (
	excludedBelow = 0.02
	mostProving   = 24
)

// notExcluded lists the hypotheses that the readings alone leave, most probable first.
func (b *Belief) notExcluded(alone map[*Hypothesis]float64) []*Hypothesis {
	left := slices.Clone(b.Ranking())
	slices.SortStableFunc(left, func(x, y *Hypothesis) int { return cmp.Compare(y.over(alone), x.over(alone)) })
	rest := 1.0
	for i, h := range left {
		if rest < excludedBelow || i == mostProving {
			return left[:i]
		}
		rest -= h.over(alone)
	}
	return left
}

// Live lists the hypotheses above a probability, likeliest first.
func (b *Belief) Live(above float64) []*Hypothesis {
	ranked := b.Ranking()
	for i, h := range ranked {
		if h.sum < above {
			return ranked[:i]
		}
	}
	return ranked
}
