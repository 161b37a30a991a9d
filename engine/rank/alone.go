package rank

import (
	"math"
	"slices"
)

// What the readings by themselves leave of each hypothesis: a suspect that is only unlikely beforehand is not told apart.

// ByReadingsAlone is what a hypothesis's probability would be had all started
// even, but for what was mended, and no rule weighed in.
func (b *Belief) ByReadingsAlone(of *Hypothesis) float64 { return of.over(b.aloneProbabilities()) }

// hardly is the log factor that the complaint puts on a suspect, at or below which the suspect hardly brings it
// about.
const hardly = -2

// Explains reports whether a hypothesis can well bring the complaint about.
func (h *Hypothesis) Explains() bool {
	return slices.ContainsFunc(h.forms, func(form *Hypothesis) bool { return form.complain > hardly })
}

// over is the sum over the forms of a hypothesis.
func (h *Hypothesis) over(of map[*Hypothesis]float64) float64 {
	sum := 0.0
	for _, form := range h.forms {
		sum += of[form]
	}
	return sum
}

// aloneProbabilities are the same for all, worked out once a change.
func (b *Belief) aloneProbabilities() map[*Hypothesis]float64 {
	if b.alone == nil || b.aloneAt != b.changes {
		b.alone, b.aloneAt = b.probabilities(b.aloneLog), b.changes
	}
	return b.alone
}

// probabilities by the log of what each hypothesis is, not normalised.
func (b *Belief) probabilities(log func(*Hypothesis) float64) map[*Hypothesis]float64 {
	logs := make([]float64, len(b.hyps))
	for i, h := range b.hyps {
		logs[i] = log(h)
	}
	sum := logSum(logs)
	out := make(map[*Hypothesis]float64, len(b.hyps))
	for i, h := range b.hyps {
		out[h] = math.Exp(logs[i] - sum)
	}
	return out
}

// Afresh is what a hypothesis is by the readings alone where those before the last repair count half: they spoke for
// what did not help, so they are less than proof of anything else.
func (b *Belief) Afresh(of *Hypothesis) float64 { return of.over(b.afreshProbabilities()) }

// afreshProbabilities are the same for all, worked out once a change.
func (b *Belief) afreshProbabilities() map[*Hypothesis]float64 {
	if len(b.repaired) == 0 {
		return b.aloneProbabilities()
	}
	if b.anew == nil || b.anewAt != b.changes {
		b.anew, b.anewAt = b.probabilities(b.earlierCounting(0.5)), b.changes
	}
	return b.anew
}

// earlierCounting gives the log of what a hypothesis is by the readings alone where those before the last repair count a
// part, 0..1.
func (b *Belief) earlierCounting(part float64) func(*Hypothesis) float64 {
	return func(h *Hypothesis) float64 {
		log := b.aloneLog(h)
		for i, m := range b.readings {
			if m.epoch < len(b.repaired) {
				log -= (1 - part) * h.gained[i]
			}
		}
		return log
	}
}

// Mended reports whether a repair so far was of a suspect's class.
func (b *Belief) Mended(suspect string) bool {
	return slices.ContainsFunc(b.repaired, func(r Repaired) bool { return r.mends(b.book, []string{suspect}) })
}

// SinceRepair is what a hypothesis is by what was read since the last repair alone: of what has been mended, readings
// from before say no more than that it had to be.
func (b *Belief) SinceRepair(of *Hypothesis) float64 {
	if b.since == nil || b.sinceAt != b.changes {
		b.since, b.sinceAt = b.probabilities(b.earlierCounting(0)), b.changes
	}
	return of.over(b.since)
}

// aloneLog is the log of what a hypothesis is by the readings alone, not normalised.
func (b *Belief) aloneLog(h *Hypothesis) float64 {
	log := max(h.complain, hardly) + math.Log(h.share) // the complaint alone proves little
	if len(h.Suspects) > 1 {
		log += math.Log(pairOdds)
	}
	for k := range b.repaired {
		if b.repaired[k].mends(b.book, h.Suspects) { // not what is believed beforehand: it was mended
			log += math.Log(botched)
		}
	}
	for _, g := range h.gained {
		log += g
	}
	return log
}
