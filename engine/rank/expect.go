package rank

import (
	"slices"

	"coilside/rules"
)

// expected is how likely an answer is for a suspect by the test's own figures:
// the first entry whose patterns match, else the entry for all others, else even.
func expected(t *rules.Test, m rules.Measure, suspect string, a *Answer, choices int, systemVolts float64) float64 {
	even := 1 / float64(max(choices, 2))
	if t == nil {
		return lookedAt(m, suspect, a, even)
	}
	for _, e := range t.Expect {
		if !matches(e.Suspects, suspect) {
			continue
		}
		if a.Choice == "" {
			return slipDensity(m.Mode, numberOf(a), systemVolts)
		}
		if p, ok := e.Answers[a.Choice]; ok {
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
	for _, p := range given {
		sum += p
	}
	if others := choices - len(given); others > 0 {
		return max(1-sum, 0) / float64(others)
	}
	return 0
}

// lookedAt is for a look taken unasked at something no test speaks of: trouble
// seen at an element makes its own suspects likelier, and no more.
func lookedAt(m rules.Measure, suspect string, a *Answer, even float64) float64 {
	own := rules.Matches(m.At+".*", suspect)
	switch {
	case m.Mode != rules.Look:
		return even
	case a.Choice == "sound" && own:
		return 0.3
	case a.Choice == "sound":
		return 0.8
	case own:
		return 0.6 / 6
	}
	return 0.2 / 6
}

func numberOf(a *Answer) float64 {
	if a.Number != nil {
		return *a.Number
	}
	return 0
}

// Expected is how likely a choice is for a suspect by a test's own figures, 0..1.
func Expected(t *rules.Test, suspect, choice string) float64 {
	of := Choices(t.Measure.Mode)
	if t.Measure.Mode == rules.Ask {
		of = t.Of
	}
	return expected(t, t.Measure, suspect, &Answer{Choice: choice}, len(of), 12)
}

// SpeaksOf reports whether a test's own figures name the suspect.
func SpeaksOf(t *rules.Test, suspect string) bool {
	return slices.ContainsFunc(t.Expect, func(e rules.Expect) bool {
		return len(e.Suspects) > 0 && matches(e.Suspects, suspect)
	})
}
