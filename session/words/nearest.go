package words

import (
	"strings"

	"coilside/rules"
)

// nearest is something that would be understood, as near as can be to what was
// said; failing that, an example for what is expected.
func (c *call) nearest(text string) string {
	words := strings.Fields(strings.ToLower(excerpt(text)))
	if len(words) > 12 {
		words = words[:12]
	}
	low := strings.Join(words, " ")
	whole, parts, near, part := 0.6, 0.7, "", ""
	like := likeness{said: words, word: map[string]float64{}}
	for _, s := range c.r.sayings {
		if s.phrase == low || s.loose || concepts[s.means] == gManner || concepts[s.means] == gPlace || common[s.phrase] || strings.Contains(s.means, "=") && c.askOf(strings.SplitN(s.means, "=", 2)[0]) == nil {
			continue
		}
		if abs(len(low)-len(s.phrase)) < 6 {
			if score := 1 - float64(distance(low, s.phrase))/float64(max(len(low), len(s.phrase))); score > whole {
				whole, near = score, s.phrase
			}
		}
		if score := like.of(s.words); score > parts && !strings.Contains(s.means, "=") {
			parts, part = score, s.phrase
		}
	}
	found := firstText(near, part)
	if found != "" {
		return found
	}
	return c.example()
}

// likeness holds what was said beside sayings, which share most of their words.
type likeness struct {
	said []string
	word map[string]float64 // of a saying's word: how near one said comes to it, 0 to 1
}

// of is the share of a phrase's words that stand, nearly, among the words said: 0 to 1.
func (l *likeness) of(phrase []string) float64 {
	sum := 0.0
	for _, p := range phrase {
		near, known := l.word[p]
		if !known {
			near = nearestWord(p, l.said)
			l.word[p] = near
		}
		sum += near
	}
	return sum / float64(len(phrase))
}

// nearestWord is how near the nearest word said comes to w: 1 for the same, 0 for none.
func nearestWord(w string, said []string) float64 {
	best := 0.0
	for _, s := range said {
		if s == w {
			return 1
		}
		if abs(len(s)-len(w)) > 3 || len(w) < 3 || len(s) < 3 {
			continue
		}
		if near := 1 - float64(distance(s, w))/float64(max(len(s), len(w))); near > best && near >= 0.6 {
			best = near
		}
	}
	return best
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
