package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file says which answer of a test the words stand for that were used of what was seen.

// choices says which answer of a mode each concept is.
var (
	watchChoice = map[string]string{
		"runs": "runs", "bright": "runs", "weak": "weak", "dim": "weak", "off": "off", "dead": "off", "nothing": "off",
		"dark": "off", "silent": "off", "trips": "trips", "blown": "trips", "comes_and_goes": "comes_and_goes",
		"stays_on": "runs", "gone": "gone", "same": "same", "still_there": "same", "good": "runs",
		"drops_out_hot": "comes_and_goes", "slow": "weak",
	}
	lampChoice = map[string]string{
		"bright": "bright", "runs": "bright", "dim": "dim", "weak": "dim", "dark": "dark", "nothing": "dark", "dead": "dark", "off": "dark",
	}
	listenChoice = map[string]string{
		"click": "click", "silent": "silent", "nothing": "silent", "dead": "silent", "buzz": "buzz",
	}
	lookChoice = map[string]string{
		"sound": "sound", "good": "sound", "nothing": "sound", "blown": "blown", "corroded": "corroded", "burnt": "burnt", "loose": "loose",
		"wet": "wet", "wrong_part": "wrong_part", "trips": "blown", "open": "blown",
	}
)

func choiceTable(m rules.Mode) map[string]string {
	switch m {
	case rules.TestLamp:
		return lampChoice
	case rules.Listen:
		return listenChoice
	case rules.Look:
		return lookChoice
	case rules.Watch, rules.Bridge, rules.Reseat, rules.Swap:
		return watchChoice
	}
	return nil
}

// allSeen are the concepts of what was seen, values included.
func (f *frame) allSeen() []string { return append(append([]string(nil), f.values...), f.outcomes...) }

// pick finds the one answer of the mode that the concepts say. several tells
// that they say more than one.
func (c *call) pick(m rules.Mode, seen []string) (choice string, several bool) {
	table := choiceTable(m)
	var got []string
	if table["comes_and_goes"] != "" && ranAndStopped(seen) {
		return "comes_and_goes", false
	}
	for _, s := range seen {
		v := table[s]
		switch v {
		case "same":
			v = c.asBefore()
		case "gone":
			v = "runs"
			if c.ctx.Complaint == "stays_on" {
				v = "off"
			}
		}
		if v != "" && !slices.Contains(got, v) {
			got = append(got, v)
		}
	}
	for _, strong := range []string{"trips", "comes_and_goes", "weak", "dim"} {
		if slices.Contains(got, strong) && m != rules.Look {
			return strong, false
		}
	}
	if len(got) == 0 {
		return "", false
	}
	return got[0], len(got) > 1
}

// ranAndStopped tells "starts, stops, starts again".
func ranAndStopped(seen []string) bool {
	turns := slices.Compact(only(seen, "runs", "off"))
	return len(turns) > 2
}

// asBefore is what the load does when nothing has changed, "" where the
// complaint does not tell.
func (c *call) asBefore() string {
	for seen, complaint := range complainedOf {
		if complaint == c.ctx.Complaint {
			return seen
		}
	}
	return ""
}

// expectedChoices offers the answers of the expected test.
func (c *call) expectedChoices() []Choice {
	e := c.ctx.Expected
	if e == nil {
		return nil
	}
	var out []Choice
	for _, ch := range e.Of {
		fd := Finding{Kind: KindAnswer, Test: e.ID, Measure: e.Measure, Setup: e.Setup, Answer: Answer{Choice: ch}}
		fd.Words = c.say(fd)
		out = append(out, Choice{Words: strings.ReplaceAll(ch, "_", " "), Findings: []Finding{fd}})
	}
	return out
}
