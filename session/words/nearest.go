package words

import (
	"strings"

	"coilside/rules"
)

// nearest is something that would be understood, as near as can be to what was
// said; failing that, an example for what is expected.
func (c *call) nearest(text string) string {
	words := strings.Fields(strings.ToLower(text))
	if len(words) > 12 {
		words = words[:12]
	}
	low := strings.Join(words, " ")
	whole, parts, near, part := 0.6, 0.7, "", ""
	for _, s := range c.r.sayings {
		if strings.Contains(s.phrase, "*") || concepts[s.means] == gManner || common[s.phrase] || strings.Contains(s.means, "=") && c.askOf(strings.SplitN(s.means, "=", 2)[0]) == nil {
			continue
		}
		if abs(len(low)-len(s.phrase)) < 6 {
			if score := 1 - float64(distance(low, s.phrase))/float64(max(len(low), len(s.phrase))); score > whole {
				whole, near = score, s.phrase
			}
		}
		if score := likeness(words, strings.Fields(s.phrase)); score > parts {
			parts, part = score, s.phrase
		}
	}
	found := firstText(near, part)
	if found != "" {
		return found
	}
	return c.example()
}

// likeness is the share of a phrase's words that stand, nearly, among the words
// said: 0 to 1.
func likeness(said, phrase []string) float64 {
	if len(phrase) == 0 {
		return 0
	}
	sum := 0.0
	for _, p := range phrase {
		best := 0.0
		for _, w := range said {
			if w == p {
				best = 1
			}
			if abs(len(w)-len(p)) > 3 || len(p) < 3 || len(w) < 3 {
				continue
			}
			if near := 1 - float64(distance(w, p))/float64(max(len(w), len(p))); near > best && near >= 0.6 {
				best = near
			}
		}
		sum += best
	}
	return sum / float64(len(phrase))
}

// example is an utterance that would answer what is expected.
func (c *call) example() string {
	e := c.ctx.Expected
	switch {
	case c.ctx.Opening:
		return "the fan never runs"
	case e == nil:
		return "12.4 V at 86, relay out, key on, switched off"
	case e.Kind == "min_max":
		return "jumping from 11.2 to 12.4"
	case e.Kind == "choice" && len(e.Of) > 0:
		return strings.ReplaceAll(strings.Join(e.Of, ", "), "_", " ")
	}
	switch e.Measure.Mode {
	case rules.Ohms:
		return "84 ohms, or OL"
	case rules.AmpsDC:
		return "9.6 amps"
	}
	return "12.4 volts"
}
