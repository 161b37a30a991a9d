package rank

import (
	"maps"
	"math"
	"slices"

	"coilside/engine/circuit"
	"coilside/rules"
)

// Likeliest is the most probable choice of a wiring unknown or of a name that
// follows from the wiring, and its probability.
func (b *Belief) Likeliest(id string) (string, float64) {
	mass := map[string]float64{}
	total := 0.0
	for _, w := range b.wiringShares() {
		is, _ := w.wiring.Choice(id)
		mass[is] += w.share
		total += w.share
	}
	best, top := "", 0.0
	for is, p := range mass {
		if p > top || p == top && is < best {
			best, top = is, p
		}
	}
	if total == 0 {
		return "", 0
	}
	return best, top / total
}

// wiringShare is what is believed of one wiring, not normalised.
type wiringShare struct {
	wiring *circuit.Wiring
	share  float64
	live   bool // some hypothesis that is renewed has it
}

// wiringShares are the wirings still in play, worked out once a change.
func (b *Belief) wiringShares() []wiringShare {
	if b.wiredAt == b.changes {
		return b.wired
	}
	at := map[*circuit.Wiring]int{}
	b.wired, b.wiredAt = nil, b.changes
	for _, h := range b.hyps {
		if h.cloud == nil || h.prob < 1e-4 {
			continue
		}
		b.readyAll(h.cloud)
		for i, w := range b.weights(h.cloud) {
			wiring := h.cloud.particles[i].draw.Wiring
			k, ok := at[wiring]
			if !ok {
				k = len(b.wired)
				at[wiring] = k
				b.wired = append(b.wired, wiringShare{wiring: wiring})
			}
			b.wired[k].share += h.prob * w
			b.wired[k].live = b.wired[k].live || h.prob >= liveAt
		}
	}
	return b.wired
}

// Has reports whether any wiring still in play has a place.
func (b *Belief) Has(place string) bool {
	return slices.ContainsFunc(b.wiringShares(), func(w wiringShare) bool { return w.live && w.wiring.Has(place) })
}

// LiveWhenSound is in what part of the circuits that fit what is known, with nothing
// wrong with them, a place is live in a setup, 0..1; 0 where the rulebook has no
// suspect for a sound circuit.
func (b *Belief) LiveWhenSound(place string, s rules.Setup) float64 {
	for _, h := range b.hyps {
		if h.cloud == nil || !h.cloud.sound() {
			continue
		}
		m, err := b.measurement(Reading{Measure: rules.Measure{Mode: rules.VoltsDC, Red: place, Black: circuit.Reference}, Setup: s, Epoch: len(b.repaired)})
		if err != nil {
			return 1
		}
		live := 0.0
		var out [1]mix
		for i := range h.cloud.probes {
			b.predict(&h.cloud.probes[i], []*measurement{m}, out[:])
			if math.Abs(out[0].raw[0].A) > deadVolts {
				live++
			}
		}
		return live / float64(max(len(h.cloud.probes), 1))
	}
	return 0
}

// LiveProbability is how probable it is that a place carries more than a dead
// circuit's volts against the battery's negative post in a setup; 1 where the
// setup gives no access to the place.
func (b *Belief) LiveProbability(place string, s rules.Setup) float64 {
	key := place + " " + circuit.StateKey(rules.Measure{}, s)
	c, ok := b.lives[key]
	if !ok {
		var err error
		c, err = b.Candidate(nil, rules.Measure{Mode: rules.VoltsDC, Red: place, Black: circuit.Reference}, s)
		if err != nil {
			return 1
		}
		if b.lives == nil {
			b.lives = map[string]*Candidate{}
		}
		b.lives[key] = c
	}
	live := slices.DeleteFunc(slices.Clone(b.hyps), func(h *Hypothesis) bool { return h.prob < liveAt })
	if b.livesAt != b.changes {
		b.livesAt = b.changes
		var all []*Candidate
		for _, key := range slices.Sorted(maps.Keys(b.lives)) {
			all = append(all, b.lives[key])
		}
		b.refresh(all, live)
	} else if !ok {
		b.refresh([]*Candidate{c}, live)
	}
	total := 0.0
	for _, h := range live {
		if h.cloud == nil {
			continue
		}
		for k, i := range h.cloud.chosen {
			p := c.kept[h.cloud.index].pairs[i]
			if h.cloud.particles[i].leftBlown() {
				p.chance = 1 // the place was read dead before anyone asks: no new fuse is in
			}
			part := 0.0
			if math.Abs(c.grid.value(int(p.a))) > deadVolts {
				part = float64(p.chance)
			}
			if p.chance < 1 && math.Abs(c.grid.value(int(p.b))) > deadVolts {
				part += float64(1 - p.chance)
			}
			total += h.prob * h.cloud.share[k] * part
		}
	}
	return total
}

// deadVolts is what still counts as dead, volts.
const deadVolts = 0.1
