package rank

import (
	"maps"
	"slices"

	"coilside/rules"
)

// expected is how likely an answer is for a suspect by the test's own figures:
// the first entry whose patterns match; without one, what an answer that tells
// nothing is.
func (b *Belief) expected(m *measurement, suspect string, a *Answer) float64 {
	if a.Choice != "" {
		return expectedChoice(m.Test, m.Measure, suspect, a.Choice, m.choices)
	}
	mode := instrument(m.Measure)
	if f := b.figure(m.Test, suspect); f != nil {
		return f.reads(mode, a, b.systemVolts)
	}
	return slipLikelihood(mode, a, m.choices, b.systemVolts)
}

// figure is the number that a test's own figures expect of a suspect; nil where
// they have none, or one that depends on a fact that is not known.
func (b *Belief) figure(t *rules.Test, suspect string) *figure {
	if t == nil {
		return nil
	}
	for i := range t.Expect {
		if e := &t.Expect[i]; e.Number != nil && matches(e.Suspects, suspect) {
			if f, ok := figureOf(e.Number, b.facts); ok {
				return &f
			}
			return nil
		}
	}
	return nil
}

func expectedChoice(t *rules.Test, m rules.Measure, suspect, choice string, choices int) float64 {
	even := 1 / float64(max(choices, 2))
	if t == nil {
		return lookedAt(m, suspect, choice, even)
	}
	for _, e := range t.Expect {
		if !matches(e.Suspects, suspect) {
			continue
		}
		if p, ok := e.Answers[choice]; ok {
			return p
		}
		return remainder(e.Answers, choices)
	}
	return even
}

func matches(patterns []string, suspect string) bool {
	if len(patterns) == 0 {
		return true
	}
	return slices.ContainsFunc(patterns, func(p string) bool { return rules.Matches(p, suspect) })
}

// remainder spreads what the given answers leave over the others, evenly.
func remainder(given map[string]float64, choices int) float64 {
	sum := 0.0
	for _, choice := range slices.Sorted(maps.Keys(given)) { // rounding must not depend on luck
		sum += given[choice]
	}
	if others := choices - len(given); others > 0 {
		return max(1-sum, 0) / float64(others)
	}
	return 0
}

// lookedAt is for a look taken unasked at something no test speaks of: trouble
// seen at an element makes its own suspects likelier, and no more.
func lookedAt(m rules.Measure, suspect, choice string, even float64) float64 {
	own := rules.Matches(m.At+".*", suspect)
	switch {
	case m.Mode != rules.Look:
		return even
	case choice == "sound" && own:
		return 0.3
	case choice == "sound":
		return 0.8
	case own:
		return 0.6 / 6
	}
	return 0.2 / 6
}

// Expected is how likely a choice is for a suspect by a test's own figures, 0..1.
func Expected(t *rules.Test, suspect, choice string) float64 {
	of := Choices(t.Measure.Mode)
	if t.Measure.Mode == rules.Ask {
		of = t.Of
	}
	return expectedChoice(t, t.Measure, suspect, choice, len(of))
}

// ByHand reports whether a test has figures of its own: they are for what the
// circuit does not predict, and where they stand the circuit is not asked.
func ByHand(t *rules.Test) bool { return t != nil && len(t.Expect) > 0 }

// speaksOf reports whether a test's own figures, or without a test what a look at a part says, name the suspect.
func speaksOf(t *rules.Test, m rules.Measure, suspect string) bool {
	if t == nil {
		return m.Mode == rules.Look && rules.Matches(m.At+".*", suspect)
	}
	return SpeaksOf(t, suspect)
}

// SpeaksOf reports whether a test's own figures name the suspect.
func SpeaksOf(t *rules.Test, suspect string) bool {
	return slices.ContainsFunc(t.Expect, func(e rules.Expect) bool {
		return len(e.Suspects) > 0 && matches(e.Suspects, suspect)
	})
}
