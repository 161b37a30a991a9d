package study

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// Answerer is a vehicle as the technician meets it.
type Answerer interface {
	Answer(rules.Measure, rules.Setup) (rank.Answer, error)
	Complaint() string
	Repair(suspect string) (mended bool, err error)
}

// technician takes the readings, now and then wrongly, and keeps the minutes.
type technician struct {
	vehicle  Answerer
	has      func(place string) bool // whether this circuit has a place
	stratum  Stratum
	rng      *rand.Rand
	ledger   *Ledger
	mistaken map[string]string // places that are always taken for others
	Wrong    int               // readings that were wrong
}

// answer does a test. Wrong tells whether what it gives is not what the vehicle shows.
func (t *technician) answer(m rules.Measure, s rules.Setup) (a rank.Answer, wrong bool, err error) {
	t.ledger.Charge(m, s)
	if !t.finds(m) {
		return rank.Answer{Unsure: true}, false, nil
	}
	a, err = t.vehicle.Answer(m, s)
	if err != nil || m.Mode == rules.Ask {
		return a, false, err
	}
	other := a
	switch {
	case t.stratum.Repeated:
		other, err = t.elsewhere(m, s, a)
	case t.stratum.Wrong > 0 && t.rng.Float64() < t.stratum.Wrong:
		other, err = t.slip(m, s, a)
	}
	if wrong = unlike(m.Mode, a, other); wrong {
		t.Wrong++
	}
	return other, wrong, err
}

// finds reports whether the vehicle has the places that the leads are to touch: whoever looks
// for a terminal that is not there says so.
func (t *technician) finds(m rules.Measure) bool {
	return !slices.ContainsFunc(m.Places(), func(place string) bool { return !t.has(place) })
}

// elsewhere takes the reading with one place taken for another: one of the first
// places of the job, at a coin's toss, and from then on always the same.
func (t *technician) elsewhere(m rules.Measure, s rules.Setup, honest rank.Answer) (rank.Answer, error) {
	if t.mistaken == nil {
		for _, place := range []string{m.Red, m.Black} {
			if other := t.neighbour(place); other != "" && t.rng.Float64() < 0.5 {
				t.mistaken = map[string]string{place: other}
				break
			}
		}
	}
	at := m
	for _, place := range []*string{&at.Red, &at.Black} {
		if other, ok := t.mistaken[*place]; ok {
			*place = other
		}
	}
	if at == m || at.Red == at.Black {
		return honest, nil
	}
	return t.vehicle.Answer(at, s)
}

// neighbour is another terminal of the same relay or socket, "" where the place is
// no terminal.
func (t *technician) neighbour(place string) string {
	head, _, _ := strings.Cut(place, ".")
	if head != "socket" && head != "back" && head != "relay" {
		return ""
	}
	var others []string
	for _, terminal := range []string{"30", "85", "86", "87", "87a"} {
		if other := head + "." + terminal; other != place && t.has(other) {
			others = append(others, other)
		}
	}
	return others[t.rng.IntN(len(others))]
}

// slip is a reading that is wrong: a lead on another terminal, no contact, a
// decimal point in the wrong place; and for things seen and heard, another word.
func (t *technician) slip(m rules.Measure, s rules.Setup, honest rank.Answer) (rank.Answer, error) {
	if of := rank.Choices(m.Mode); of != nil {
		others := slices.DeleteFunc(slices.Clone(of), func(c string) bool { return c == honest.Choice })
		return rank.Answer{Choice: others[t.rng.IntN(len(others))]}, nil
	}
	for range 8 {
		a, err := t.misread(m, s, honest)
		if err != nil || unlike(m.Mode, honest, a) {
			return a, err
		}
	}
	return honest, nil
}

func (t *technician) misread(m rules.Measure, s rules.Setup, honest rank.Answer) (rank.Answer, error) {
	switch kind := t.rng.Float64(); {
	case kind < 0.5:
		if other := t.neighbour(m.Red); other != "" && other != m.Black {
			m.Red = other
			return t.vehicle.Answer(m, s)
		}
	case kind < 0.8 && (m.Mode == rules.Ohms || m.Mode == rules.PullIn):
		return rank.Answer{Over: true}, nil
	case kind < 0.8:
		return scaled(honest, 0), nil
	}
	return scaled(honest, []float64{0.1, 10}[t.rng.IntN(2)]), nil
}

// scaled multiplies a number read.
func scaled(a rank.Answer, by float64) rank.Answer {
	switch {
	case a.Number != nil:
		n := *a.Number * by
		return rank.Answer{Number: &n}
	case a.MinMax != nil:
		low, high := a.MinMax[0]*by, a.MinMax[1]*by
		return rank.Answer{MinMax: &[2]float64{low, high}}
	}
	return a
}

// unlike reports whether two answers differ by clearly more than a meter errs.
func unlike(mode rules.Mode, a, b rank.Answer) bool {
	apart := func(x, y float64) bool {
		least := 0.3
		if mode == rules.Ohms {
			least = 1
		}
		return math.Abs(x-y) > least+0.1*math.Max(math.Abs(x), math.Abs(y))
	}
	switch {
	case a.Number != nil && b.Number != nil:
		return apart(*a.Number, *b.Number)
	case a.MinMax != nil && b.MinMax != nil:
		return apart(a.MinMax[0], b.MinMax[0]) || apart(a.MinMax[1], b.MinMax[1])
	}
	return a.Over != b.Over || a.Choice != b.Choice || a.Unsure != b.Unsure
}

// live lists the leads of an ohms test that would be on a live place.
func (j *Job) live(m rules.Measure, s rules.Setup) []string {
	if m.Mode != rules.Ohms {
		return nil
	}
	return j.Vehicle.Live(m, circuit.SetupFor(m, s))
}
