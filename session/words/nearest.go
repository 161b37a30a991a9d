package words

import (
	"cmp"
	"slices"
	"strings"

	"coilside/rules"
)

// suggest gives something near to what was said that is understood when it is said; failing that, near is ""
// and sayable tells what kinds of things can be said at the moment.
func (c *call) suggest(text string) (near, sayable string) {
	if c.ctx.trying {
		return "", ""
	}
	if near = c.nearest(text); near != "" {
		return near, ""
	}
	return "", c.sayable()
}

// nearest is what was said with the words that come nearest to a saying replaced by it, where that makes
// all of it understood; "" for none.
func (c *call) nearest(text string) string {
	words := strings.Fields(strings.ToLower(excerpt(text)))
	if len(words) > 12 {
		words = words[:12]
	}
	low := strings.Join(words, " ")
	like := likeness{said: words, word: map[string]float64{}}
	var tries []guess
	for _, s := range c.r.sayings {
		if s.phrase == low || s.loose || concepts[s.means] == gManner || concepts[s.means] == gPlace || common[s.phrase] || strings.Contains(s.means, "=") && c.askOf(strings.SplitN(s.means, "=", 2)[0]) == nil {
			continue
		}
		if abs(len(low)-len(s.phrase)) < 6 {
			if score := 1 - float64(distance(low, s.phrase))/float64(max(len(low), len(s.phrase))); score > 0.6 {
				tries = append(tries, guess{s.phrase, score})
			}
		}
		if score := like.of(s.words); score > 0.7 && score < 1 && len(s.words) <= len(words) && !strings.Contains(s.means, "=") {
			if text, ok := replaceNearest(words, s.words); ok {
				tries = append(tries, guess{text, score - 0.3})
			}
		}
	}
	slices.SortStableFunc(tries, func(a, b guess) int { return cmp.Compare(b.score, a.score) })
	for i, try := range tries {
		if i == mostTries {
			break
		}
		if try.text != low && c.understood(try.text) {
			return try.text
		}
	}
	return ""
}

// guess is something that might have been meant, and how near it comes, 0 to 1.
type guess struct {
	text  string
	score float64
}

// mostTries bounds how many guesses are read again.
const mostTries = 3

// replaceNearest is what was said with the run of words nearest to a phrase replaced by it, where nothing
// that could mean something stands beside them.
func replaceNearest(said, phrase []string) (text string, ok bool) {
	best, at := -1.0, 0
	for i := 0; i+len(phrase) <= len(said); i++ {
		score := 0.0
		for k, p := range phrase {
			score += nearestWord(p, said[i+k:i+k+1])
		}
		if score > best {
			best, at = score, i
		}
	}
	for i, w := range said {
		if (i < at || i >= at+len(phrase)) && !linkWords[w] && !common[w] && !filler[w] {
			return "", false
		}
	}
	return strings.Join(slices.Replace(slices.Clone(said), at, at+len(phrase), phrase...), " "), true
}

// understood tells that something is found or wanted by a text, and nothing of it is asked about.
func (c *call) understood(text string) bool {
	ctx := *c.ctx
	ctx.trying = true
	res := c.r.readFresh(text, ctx)
	return len(res.Findings)+len(res.Commands) > 0 && len(res.Questions)+len(res.Unread) == 0
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

// sayable tells what kinds of things can be said at the moment, in one line.
func (c *call) sayable() string {
	e := c.ctx.Expected
	switch {
	case c.ctx.Opening:
		return "Say what is wrong, as “the fan never runs”"
	case e == nil:
		return "Say a reading with its place and how it stood, as “12.4 V at 86, relay out, key on, switched off”, or “status” or “help”"
	}
	return "Say " + c.answerable(e) + ", another reading with its place, or “skip”, “why” or “help”"
}

// answerable names the answers that the test asked for takes.
func (c *call) answerable(e *Expected) string {
	if e.Kind == "min_max" {
		return "the lowest and the highest, as “jumping from 11.2 to 12.4”"
	}
	if e.Kind == "choice" && len(e.Of) > 0 {
		of := strings.Split(strings.ReplaceAll(strings.Join(e.Of, "\n"), "_", " "), "\n")
		if len(of) == 1 {
			return of[0]
		}
		return strings.Join(of[:len(of)-1], ", ") + " or " + of[len(of)-1]
	}
	switch e.Measure.Mode {
	case rules.Ohms:
		return "what the meter showed, as “84 ohms” or “OL”"
	case rules.AmpsDC:
		return "what the meter showed, as “9.6 amps”"
	case rules.Ask:
		return "the number"
	}
	return "what the meter showed, as “12.4 volts”"
}
