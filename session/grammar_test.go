package session

import (
	"bufio"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/session/speech"
	"coilside/session/words"
)

// momentsOf plays jobs and gives each moment that a conversation passes, with the reader
// and what it knows then.
func momentsOf(t *testing.T, visit func(name string, j *job, m speech.Moment)) {
	t.Helper()
	look := func(c *talk, name string) {
		j, unlock, err := c.s.lockCase(t.Context(), c.job)
		require.NoError(t, err)
		defer unlock()
		visit(name, j, j.moment())
	}
	for name, o := range map[string]OpenRequest{"plough": plough(), "van": van()} {
		c, r := talking(t, o)
		look(c, name+" opened")
		for range 6 {
			if r.Question != nil && r.Question.Choices[0] == "ready" {
				r = c.say("ready")
			}
			if r.Next == nil || r.Conclusion != nil {
				break
			}
			switch r.Next.Answers.Kind {
			case "number":
				r = c.speak("nine point three")
				look(c, name+" read back "+r.Next.ID)
				r = c.speak("yes")
			case "choice":
				r = c.say(strings.ReplaceAll(r.Next.Answers.Of[0], "_", " "))
			default:
				r = c.say("5 to 11")
			}
			if r.Next != nil {
				look(c, name+" after "+r.Next.ID)
			}
		}
	}
}

// expectingEach gives the moment of every test of the rulebook, as if it were asked.
func expectingEach(t *testing.T, visit func(name string, m speech.Moment, ctx words.Context, j *job)) {
	t.Helper()
	c, _ := talking(t, van())
	j, unlock, err := c.s.lockCase(t.Context(), c.job)
	require.NoError(t, err)
	defer unlock()
	for _, test := range j.base.book.Tests {
		measure, ok := j.fillMeasure(test.Measure)
		if !ok {
			continue
		}
		kind := answerKind(measure, test.Of)
		m := speech.Moment{Most: j.mostHeard(), Commands: j.heard(commandsHeard...)}
		j.awaiting(&m, measure, kind, test.Sets)
		ctx := j.hearing()
		ctx.Cautioned, ctx.Repairing = false, ""
		ctx.Expected = &words.Expected{ID: test.ID, Sets: test.Sets, Measure: measure, Setup: test.Setup, Kind: kind.Kind, Of: kind.Of}
		visit(test.ID, m, ctx, j)
	}
}

// Whatever the grammar of a test hears, the reader of plain words understands: an answer
// to the test, a reading elsewhere, a command, or a question back; and every number comes
// out as it was said.
func TestWhatTheGrammarHearsIsUnderstood(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	modes := map[rules.Mode]bool{}
	expectingEach(t, func(id string, m speech.Moment, ctx words.Context, j *job) {
		mode := ctx.Expected.Measure.Mode
		if modes[mode] && mode != rules.Ask && mode != rules.Look {
			return // one test of each mode and every question
		}
		modes[mode] = true
		g, err := speech.New(m)
		require.NoError(t, err, id)
		sentences := g.Sentences()
		rng.Shuffle(len(sentences), func(a, b int) { sentences[a], sentences[b] = sentences[b], sentences[a] })
		for _, said := range sentences[:min(400, len(sentences))] {
			got := j.base.reader.Read(said, ctx)
			if !assert.Empty(t, got.Unread, "%s: %q", id, said) {
				continue
			}
			assert.NotEmpty(t, len(got.Findings)+len(got.Commands)+len(got.Questions), "%s: %q", id, said)
			for _, f := range got.Findings {
				if n := f.Answer.Number; n != nil && !f.Answer.Over {
					assert.Contains(t, saidNumbers(said), plain(*n), "%s: %q", id, said)
				}
			}
		}
	})
	assert.GreaterOrEqual(t, len(modes), 10)
}

// saidNumbers are the values that the number words of a sentence can stand for, by a
// reading of their own: what a voice says for each value, looked up.
func saidNumbers(said string) []string {
	fields := strings.Fields(said)
	var out []string
	for from := range fields {
		for to := from + 1; to <= len(fields); to++ {
			out = append(out, valuesOf(strings.Join(fields[from:to], " "))...)
		}
	}
	return out
}

var numberOf = func() map[string]float64 {
	of := map[string]float64{}
	for n := range 1000 {
		say := speech.Say(plain(float64(n)))
		of[say] = float64(n)
		of[strings.ReplaceAll(say, " and ", " ")] = float64(n)
		for d := range 100 {
			if n < 100 {
				of[say+" point "+speech.Say(plain(float64(d/10)))+" "+speech.Say(plain(float64(d%10)))] = float64(n*100+d) / 100
				of[say+" point "+speech.Say(plain(float64(d%10)))] = float64(n*10+d%10) / 10
				of["point "+speech.Say(plain(float64(d/10)))+" "+speech.Say(plain(float64(d%10)))] = float64(d) / 100
				of["point "+speech.Say(plain(float64(d%10)))] = float64(d%10) / 10
			}
		}
	}
	return of
}()

func valuesOf(phrase string) []string {
	n, ok := numberOf[phrase]
	if !ok {
		n, ok = numberOf[strings.TrimPrefix(phrase, "minus ")]
		n = -n
	}
	if !ok {
		return nil
	}
	return []string{plain(n), plain(n / 1000), plain(n * 1000)}
}

// Every word that any moment of a job listens for is in the recogniser's dictionary.
func TestEveryWordHeardIsInTheDictionary(t *testing.T) {
	f, err := os.Open("/usr/share/pocketsphinx/model/en-us/cmudict-en-us.dict")
	if err != nil && os.Getenv("COILSIDE_CI") == "" {
		t.Skip("pocketsphinx-en-us is not installed")
	}
	require.NoError(t, err)
	defer f.Close()
	known := map[string]bool{}
	for scan := bufio.NewScanner(f); scan.Scan(); {
		w, _, _ := strings.Cut(scan.Text(), " ")
		known[w] = true
	}
	check := func(name string, m speech.Moment) {
		g, err := speech.New(m)
		require.NoError(t, err, name)
		for _, w := range g.Vocabulary() {
			assert.True(t, known[w], "%s: %s", name, w)
		}
	}
	momentsOf(t, func(name string, _ *job, m speech.Moment) { check(name, m) })
	expectingEach(t, func(name string, m speech.Moment, _ words.Context, _ *job) { check(name, m) })
}

// The grammar follows the moment: a read-back hears yes, no and a corrected number, a
// caution hears ready, a choice hears its choices and no number.
func TestTheGrammarFollowsTheMoment(t *testing.T) {
	o := plough()
	o.Circuit.Labels = "din"
	c, _ := talking(t, o)
	hears := func(said ...string) []bool {
		t.Helper()
		g, err := c.s.Grammar(t.Context(), GrammarRequest{Job: c.job, Format: "phrases"})
		require.NoError(t, err)
		var out []bool
		for _, s := range said {
			_, ok := slices.BinarySearch(g.Phrases, s)
			out = append(out, ok)
		}
		return out
	}
	r := c.speak("86 has 24.1, relay out, key on, switched on")
	require.NotNil(t, r.Question)
	assert.Equal(t, []bool{true, true, true, true, true}, hears("yes", "no", "no twenty four point two volts", "say again", "scratch that"))
	assert.Equal(t, []bool{false, false}, hears("ready", "it clicks"))
	c.speak("yes")
	for range 8 {
		next, err := c.s.Next(t.Context(), ListRequest{Job: c.job, Limit: 1})
		require.NoError(t, err)
		if next.Tests[0].Answers.Kind == "choice" && next.Tests[0].Measure.Mode == rules.Listen {
			break
		}
		c.say("skip")
	}
	if next, _ := c.s.Next(t.Context(), ListRequest{Job: c.job, Limit: 1}); next.Tests[0].Measure.Mode == rules.Listen {
		assert.Equal(t, []bool{true, true, false}, hears("it clicks", "no click", "twelve point four"))
	}
	_, err := c.s.Grammar(t.Context(), GrammarRequest{Job: c.job, Format: "abnf"})
	require.ErrorContains(t, err, "jsgf")
	_, err = c.s.Grammar(t.Context(), GrammarRequest{Job: "nope", Format: "jsgf"})
	require.Error(t, err)
}

// What a voice says is short: at most two parts, each of at most mostSpoken words, said
// with no digit, sign or unit a voice would stumble over; the SSML beside it is never empty.
func TestSpeechSuitsAnEar(t *testing.T) {
	longest := 0
	check := func(r Reply) {
		n := len(strings.Fields(r.Speech))
		longest = max(longest, n)
		assert.LessOrEqual(t, n, 2*mostSpoken, r.Speech)
		assert.NotRegexp(t, `\d|Ω|%|[“”()\n]`, r.Speech)
		assert.NotEmpty(t, r.Speech, r.Text)
		assert.Contains(t, r.SSML, "<speak ")
	}
	for _, o := range []OpenRequest{plough(), van()} {
		c, r := talking(t, o)
		check(r)
		for range 14 {
			switch {
			case r.Question != nil && slices.Contains(r.Question.Choices, "ready"):
				r = c.say("ready")
			case r.Next == nil:
			case r.Next.Answers.Kind == "number":
				r = c.speak("zero point two")
				check(r)
				r = c.speak("yes")
			case r.Next.Answers.Kind == "choice":
				r = c.say(strings.ReplaceAll(r.Next.Answers.Of[0], "_", " "))
			default:
				r = c.say("not sure")
			}
			check(r)
		}
		check(c.say("why"))
		check(c.say("what else"))
		check(c.say("where are we"))
		check(c.say("84 volts at 86"))
		check(c.say("nothing on 85, relay out, key on"))
	}
	t.Logf("longest: %d words", longest)
}
