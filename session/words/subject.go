package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file tells what was seen of something else: of the torch that died, of another relay
// that clicks.

var (
	determiners = set(`the my this that your our his her their`)
	// generic nouns may stand for the load itself: "the thing works".
	generic = set(`thing unit lot job item circuit system one whole end bit`)
	// besideParts are what is near a part that is looked at, and no part.
	besideParts = set(`lid label cover casing bracket sticker`)
)

// ofOtherSubject is the thing that what was seen is said of, where it is none of this job; ""
// for none.
func (c *call) ofOtherSubject(clause []item) string {
	if c.ctx.Opening || c.expects(rules.Ask) || c.expects(rules.Swap) || hasNumber(clause) {
		return ""
	}
	for i, it := range clause {
		if concepts[it.concept] != gOutcome {
			continue
		}
		j := i - 1
		for j > 0 && clause[j].kind == kWord && (being[clause[j].text] || perfect[clause[j].text]) {
			j--
		}
		if ofRelay := j > 1 && clause[j].concept == "relay"; ofRelay && !slices.ContainsFunc(clause[:j], isSetup) {
			j-- // "the indicator relay"
			if clause[j].concept == "load" && c.otherKind(clause[j].raw) != "" {
				return clause[j].raw
			}
		}
		if j > 0 && determiners[clause[j-1].text] && c.isOther(clause[j]) {
			return clause[j].raw
		}
	}
	return ""
}

// ofElse tells that what was read is said to be of something unknown here: "12.4, no that's the clock".
func ofElse(in []item) bool {
	for i, it := range in {
		noun := neighbour(in, i, 2)
		if it.concept == "that_was" && determiners[neighbour(in, i, 1).text] && noun.kind == kWord && plainly(noun.text) && !generic[noun.text] && !judged[noun.text] {
			return true
		}
	}
	return false
}

// judged are nouns for what was read or found itself.
var judged = set(`figure value answer result voltage problem issue trouble fault culprit cause truth`)

// asState tells a number read with something as it is seen to be, and not seen by the way:
// "12.4 with the connector hanging off".
func asState(clause []item) bool {
	with := slices.IndexFunc(clause, func(it item) bool { return it.text == "with" })
	return with >= 0 && hasNumber(clause) && slices.ContainsFunc(clause[with:], func(it item) bool { return damage[it.concept] })
}

// isOther tells a word that names a thing, and none of this job.
func (c *call) isOther(it item) bool {
	if kind, ok := strings.CutPrefix(it.concept, "load_kind="); ok {
		return c.ctx.LoadKind != "" && kind != c.ctx.LoadKind // "the radio works"
	}
	if it.kind != kWord || generic[it.text] || terminalWords[it.text] {
		return false
	}
	if c.expects(rules.Look) {
		return besideParts[it.text]
	}
	return plainly(it.text) || machines[it.text] || instruments[it.text] && !c.expects(rules.Bridge)
}
