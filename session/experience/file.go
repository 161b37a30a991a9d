package experience

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
)

// LabelFact is the fact that holds a job's label.
const LabelFact = "job_label"

// File writes the groups as a ruleset file: one rule a group, which says in numbers what
// it stands on. It is the same for the same groups.
func File(groups []ExperienceGroup, worth float64) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# What proven repairs of this shop's closed jobs add to the shipped priors, which count as much as\n# %g jobs. Written by  coilside rules experience;  read it through before it is used.\n\n", worth)
	fmt.Fprintf(&b, "facts:\n  - {id: %s, kind: text, words: the vehicle's label}\n", LabelFact)
	if len(groups) == 0 {
		return []byte(b.String())
	}
	b.WriteString("\nrules:\n")
	for i, g := range groups {
		if len(g.Suspects) == 0 {
			continue
		}
		fmt.Fprintf(&b, "  - id: experience_%d_%s\n    when: %s\n    then:\n", i+1, plainID(g.Complaint+"_"+g.LoadKind+"_"+g.Label), strconv.Quote(g.when()))
		for _, s := range g.Suspects {
			fmt.Fprintf(&b, "      - {do: weigh, suspects: [%s], by: %.4g} # %d of %d; share %.2g %% before, %.2g %% now\n", s.Suspect, s.By, s.Repairs, g.Jobs, 100*s.Before, 100*s.After)
		}
		fmt.Fprintf(&b, "    because: %s\n    source: closed jobs of this shop\n", strconv.Quote(g.because()))
	}
	return []byte(b.String())
}

// when is the condition of a group's rule.
func (g ExperienceGroup) when() string {
	when := "complaint == " + strconv.Quote(g.Complaint)
	if g.LoadKind == "" {
		when += " and not known(load_kind)"
	} else {
		when += " and load_kind == " + strconv.Quote(g.LoadKind)
	}
	if g.Label != "" {
		when += " and " + LabelFact + " == " + strconv.Quote(g.Label)
	}
	return when
}

// because says in numbers what a group's rule stands on.
func (g ExperienceGroup) because() string {
	var mended []string
	for _, s := range g.Suspects {
		mended = append(mended, fmt.Sprintf("%s %d", s.Suspect, s.Repairs))
	}
	return fmt.Sprintf("Proven repairs here, %s: %d in all: %s.", g.words(), g.Jobs, strings.Join(mended, ", "))
}

func (g ExperienceGroup) words() string {
	kind := g.LoadKind
	if kind == "" {
		kind = "load not known"
	}
	if g.Label != "" {
		kind += ", " + g.Label
	}
	return g.Complaint + ", " + kind
}

// Text shows the groups with their numbers.
func Text(groups []ExperienceGroup) string {
	var b strings.Builder
	for _, g := range groups {
		fmt.Fprintf(&b, "%s: %d proven repairs\n", g.words(), g.Jobs)
		for _, s := range g.Suspects {
			fmt.Fprintf(&b, "  %-28s %d of %d   share %5.1f %% before, %5.1f %% with them   odds times %.3g\n", s.Suspect, s.Repairs, g.Jobs, 100*s.Before, 100*s.After, s.By)
		}
	}
	return b.String()
}

func plainID(text string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		switch r = unicode.ToLower(r); {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		}
		return '_'
	}, text[:min(len(text), 60)]), "_")
}
