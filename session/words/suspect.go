package words

import (
	"slices"
	"strings"
)

// This file finds the suspects that words name.

// suspects lists the suspects that the words name, best first: those that share
// most words with them. strict prefers the element itself over others that
// have its name in theirs: the coil over the coil's fuse.
func (c *call) suspects(in []item, strict bool) []string {
	said := c.saidWords(in)
	best, out := 0, []string(nil)
	for _, s := range c.ctx.Suspects {
		score := likenessTo(s, said, strict)
		switch {
		case score == 0 || score < best:
		case score > best:
			best, out = score, []string{s.ID}
		default:
			out = append(out, s.ID)
		}
	}
	return out
}

// wholeName is what the whole name of an element counts over a word that another's
// words share with what was said: "changed the relay, fan still won't go" names the relay and not
// the wire from relay to fan.
const wholeName = 5

func likenessTo(s Named, said map[string]bool, strict bool) int {
	element, fault, _ := strings.Cut(s.ID, ".")
	own := strings.Split(element, "_")
	all := append(strings.Split(fault, "_"), own...)
	all = append(all, strings.Fields(strings.NewReplacer("'s", "", ",", "").Replace(strings.ToLower(s.Words)))...)
	slices.Sort(all)
	score := 0
	for _, w := range slices.Compact(all) {
		if said[w] && !common[w] && !linkWords[w] && !harmless[w] && (len(w) > 2 || isDigit(w[0])) {
			score += 4
		}
	}
	whole := true
	for _, w := range own {
		whole = whole && said[w]
		switch {
		case said[w] && score > 0:
			score++ // the ground itself, before a wire that touches ground
		case score > 0 && strict:
			score--
		}
	}
	if whole {
		score += wholeName // the load itself, before the wire to the load
	}
	return score
}

// saidWords are the words said, as heard and by their meanings.
func (c *call) saidWords(in []item) map[string]bool {
	said := map[string]bool{}
	add := func(s string) {
		for _, w := range strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune(" '-_.", r) }) {
			said[w] = true
		}
	}
	for _, it := range in {
		if it.concept == "replaced" {
			for _, w := range c.r.partsWithin(it) {
				add(w)
				add(c.r.root.next[w].concept)
			}
			continue
		}
		add(it.raw)
		add(it.concept)
		for _, s := range it.place.spots {
			add(s.role)
			add(s.abs + "_" + s.part)
		}
	}
	return said
}
