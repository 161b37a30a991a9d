package session

import (
	"fmt"
	"math"
	"slices"

	"coilside/rules"
)

// surprises points out readings of this turn that contradict an earlier one of
// the same measurement since the last repair. Both are kept and both count; the
// technician decides which was the slip.
func (j *job) surprises(made []int) []string {
	var lines []string
	for _, n := range made {
		now := j.log[n-1]
		if now.Kind != kindReading || now.Reading.Answer.Unsure {
			continue
		}
		for _, before := range slices.Backward(standing(j.log[:n-1])) {
			if before.Kind == kindRepaired {
				break
			}
			if before.Kind != kindReading || !sameMeasurement(*before.Reading, *now.Reading) {
				continue
			}
			if disagree(*before.Reading, *now.Reading) {
				unit := now.Reading.Measure.Mode.Unit()
				lines = append(lines, fmt.Sprintf("That does not fit entry %d: there it was %s, now %s. Read it once more; say undo if this one slipped.",
					before.Entry, before.Reading.Answer.words(unit), now.Reading.Answer.words(unit)))
			}
			break
		}
	}
	return lines
}

func sameMeasurement(a, b Reading) bool {
	if a.Test != "" && a.Test == b.Test {
		return true
	}
	return a.Measure == b.Measure && sameSetup(a.Setup, b.Setup) && a.Setup.Coil == b.Setup.Coil && a.Measure.Mode != rules.Ask
}

// disagree reports whether two readings of one thing differ by more than two
// looks at a meter may: a tenth of the larger, or half a unit where that is more.
// Practice, no source.
func disagree(a, b Reading) bool {
	x, y := a.Answer, b.Answer
	switch {
	case x.Unsure || y.Unsure:
		return false
	case x.Number != nil && y.Number != nil:
		return math.Abs(*x.Number-*y.Number) > max(0.1*max(math.Abs(*x.Number), math.Abs(*y.Number)), 0.5)
	case x.MinMax != nil || y.MinMax != nil:
		return false // what moves may move differently
	}
	return x.Over != y.Over || x.Choice != y.Choice
}

func sameSetup(a, b rules.Setup) bool {
	return a.Relay == b.Relay && a.Key == b.Key && a.Command == b.Command && slices.Equal(a.Unplugged, b.Unplugged) && a.Conditions() == b.Conditions()
}
