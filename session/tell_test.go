package session

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// talk is a conversation about one job in which a test says lines and looks at
// the replies.
type talk struct {
	t   *testing.T
	s   *Service
	job string
}

func talking(t *testing.T, o OpenRequest) (*talk, Reply) {
	t.Helper()
	s := serviceIn(t, t.TempDir())
	out := opened(t, s, o)
	return &talk{t, s, out.Job}, out.Reply
}

func (c *talk) say(text string) Reply {
	c.t.Helper()
	r, err := c.s.Tell(c.t.Context(), TellRequest{Write: Write{Job: c.job}, Text: text})
	require.NoError(c.t, err, text)
	return r
}

func (c *talk) log() []Entry {
	c.t.Helper()
	v, err := c.s.Show(c.t.Context(), JobRequest{c.job})
	require.NoError(c.t, err)
	return v.Log
}

// plough is a circuit of which little is known; nothing in it moves.
func plough() OpenRequest {
	no := false
	return OpenRequest{Complaint: "dead", Label: "plough lights", Circuit: CircuitSpec{Contact: "make", Labels: "numbers", SystemVolts: number(24),
		Load: LoadSpec{Kind: "lamp", Moves: &no, Hazard: "none"}, Driver: "switch"}}
}

func TestToldReadingsAreReadBackWithTheJobsMarks(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("24.4 at 3, relay out, switched on")
	require.Len(t, r.Entries, 1)
	require.Equal(t, 2, *r.Entry)
	require.Contains(t, r.Text, "24.4 V at 30 (marked 3)")
	require.Equal(t, "socket.30", r.Understood[0].Measure.Red)
	require.Equal(t, 24.4, *r.Understood[0].Answer.Number)
	require.LessOrEqual(t, strings.Count(r.Speech, ". "), 2, r.Speech)
	e := c.log()[1]
	require.Equal(t, "24.4 at 3, relay out, switched on", e.Said)
}

func TestWhatIsNotUnderstoodChangesNothing(t *testing.T) {
	c, first := talking(t, plough())
	for _, text := range []string{"", "   ", "asdf qwer", "purple", "1e309 V", "12.4 at 88", "\x00", strings.Repeat("no wait ", 200)} {
		r := c.say(text)
		require.Empty(t, r.Entries, text)
		require.Nil(t, r.Entry, text)
		require.Equal(t, first.Seq, r.Seq, text)
		require.NotEmpty(t, r.Text, text)
	}
	require.Len(t, c.log(), 1)
	_, err := c.s.Tell(t.Context(), TellRequest{Write: Write{Job: c.job}, Text: strings.Repeat("x", 1<<20)})
	require.Equal(t, Limit, kindOf(t, err))
	_, err = c.s.Tell(t.Context(), TellRequest{Write: Write{Job: c.job}, Text: "12.4 \xff"})
	require.Equal(t, Invalid, kindOf(t, err))
}

func TestReadingsThatCannotBeAreQuestionedNotStored(t *testing.T) {
	c, _ := talking(t, plough())
	for text, words := range map[string]string{
		"999 volts at 86, relay out, switched on": "999",
		"-5 ohms from 1 to 2 on the bench":        "",
		"4.7k from 30 to 87 in the box":           "live",
		"12.4 at 87a, relay out, switched on":     "87a",
		"86 to 85 is 84 ohms, relay in, key on":   "",
	} {
		r := c.say(text)
		require.Empty(t, r.Entries, text)
		require.Contains(t, r.Text, words, text)
		c.say("never mind")
	}
	require.Len(t, c.log(), 1)
}

func TestOhmsOnALivePlaceAreACaution(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("4.7k from 30 to 87 in the box")
	require.NotEmpty(t, r.Cautions)
	require.Contains(t, r.Cautions[0], "live")
	require.Contains(t, r.Cautions[0], "Nothing was stored")
	require.Equal(t, 1, strings.Count(r.Text, "Nothing was stored"), "said once")
}

func TestContradictingReadingsAreTakenAndPointedOut(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("24.4 at 30, relay out, switched on")
	r := c.say("24.3 at 30, relay out, switched on")
	require.NotContains(t, r.Text, "does not fit")
	r = c.say("0 volts at 30, relay out, switched on")
	require.Len(t, r.Entries, 1)
	require.Contains(t, r.Text, "does not fit entry 3: there it was 24.3 V, now 0 V")
}

func TestUndoTakesBackTheLastUtterance(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("24.4 at 30, relay out, switched on")
	two := c.say("24.2 at 86 and 0 at 85, relay out, switched on")
	require.Len(t, two.Entries, 2, two.Text)
	r := c.say("undo")
	require.Equal(t, []int{3, 4}, c.log()[4].Retracted)
	require.Contains(t, r.Text, "Taken back")
	c.say("undo")
	require.Equal(t, []int{2}, c.log()[5].Retracted)
	r = c.say("undo")
	require.Empty(t, r.Entries)
	require.Contains(t, r.Text, "nothing to take back")
}

func TestUnsureAndSkip(t *testing.T) {
	c, first := talking(t, plough())
	r := c.say("not sure")
	require.True(t, r.Understood[0].Answer.Unsure)
	require.Equal(t, first.Next.ID, r.Understood[0].Test)
	require.NotNil(t, r.Next)
	require.NotEqual(t, first.Next.ID, r.Next.ID, "it is not asked again at once")
	skipped := r.Next.ID
	r = c.say("can't reach it")
	e := c.log()[2]
	require.Equal(t, kindSkipped, e.Kind)
	require.Equal(t, skipped, e.Skipped.Test)
	require.NotEqual(t, skipped, r.Next.ID)
}

func TestQuestionsOfTheTechnicianWriteNothing(t *testing.T) {
	c, first := talking(t, plough())
	c.say("24.4 at 30, relay out, switched on")
	for text, words := range map[string]string{
		"why": "", "why the coil": "coil", "what else": "You could also", "where are we": "Likeliest now", "help": "Tell me what you measure",
	} {
		r := c.say(text)
		require.Empty(t, r.Entries, text)
		require.Contains(t, r.Text, words, text)
		require.Contains(t, r.Text, "Next: ", text)
	}
	require.Len(t, c.log(), first.Seq+1)
}

// untilCommanded skips tests until one is proposed that runs the load.
func untilCommanded(t *testing.T, o OpenRequest) (*talk, Reply) {
	t.Helper()
	c, r := talking(t, o)
	for range 20 {
		require.NotNil(t, r.Next)
		if commands(r.Next.Measure, r.Next.Setup) {
			return c, r
		}
		require.Nil(t, r.Question, "nothing is commanded: %s", r.Text)
		r = c.say("skip")
	}
	require.Fail(t, "no test runs the load")
	return nil, r
}

// A load that moves is commanded only after its caution is accepted.
func TestALoadThatMovesWaitsForReady(t *testing.T) {
	o := van()
	c, r := untilCommanded(t, o)
	require.NotNil(t, r.Question)
	require.Contains(t, r.Text, "Say ready when clear")
	require.NotContains(t, r.Text, "Next: ", "the test is not said before")
	require.Contains(t, strings.Join(r.Next.Cautions, " "), "Keep hands", "a program reads it in the test")
	again := c.say("why")
	require.NotNil(t, again.Question)
	stands := len(c.log())
	require.NotNil(t, c.say("12.4").Question, "nobody answers a test that was not said yet")
	require.Len(t, c.log(), stands)
	r = c.say("not sure")
	require.NotNil(t, r.Question, "who is unsure has accepted nothing")
	require.NotContains(t, r.Text, "Next: ")
	r = c.say("ready")
	require.Equal(t, kindAccepted, c.log()[len(c.log())-1].Kind)
	require.Nil(t, r.Question)
	require.Contains(t, r.Text, "Next: ")

	_, r = untilCommanded(t, plough())
	require.Nil(t, r.Question, "nothing moves there")

	o.Circuit.Load.Moves = nil
	still, r := untilCommanded(t, o)
	require.NotNil(t, r.Question, "not known to be still is as good as moving")
	r = still.say("nothing moves")
	require.Nil(t, r.Question)
	require.Equal(t, "load_moves", r.Understood[0].Fact)
}

func TestARecordedAnswerAcceptsTheCaution(t *testing.T) {
	c, _ := talking(t, van())
	r, err := c.s.Record(t.Context(), RecordRequest{Write: Write{Job: c.job}, Measure: &rules.Measure{Mode: rules.Listen},
		Setup: &rules.Setup{Relay: "in", Key: "on", Command: "on"}, Answer: Answer{Choice: "click"}})
	require.NoError(t, err)
	require.NotNil(t, r.Question, "nobody was told to keep clear")
	r, err = c.s.Record(t.Context(), RecordRequest{Write: Write{Job: c.job}, Test: "watch_on", Answer: Answer{Choice: "off"}})
	require.NoError(t, err)
	require.Nil(t, r.Question, "the test carried the caution, so it was clear")
}

func (c *talk) speak(text string) Reply {
	c.t.Helper()
	r, err := c.s.Tell(c.t.Context(), TellRequest{Write: Write{Job: c.job}, Text: text, Spoken: true})
	require.NoError(c.t, err, text)
	return r
}

// readings are the numbers that stand, as "place value", in the order taken.
func (c *talk) readings() []string {
	c.t.Helper()
	var out []string
	for _, e := range standing(c.log()) {
		if e.Kind == kindReading && e.Reading.Answer.Number != nil {
			out = append(out, e.Reading.Measure.Red+" "+plain(*e.Reading.Answer.Number))
		}
	}
	return out
}

func TestSpokenNumbersWaitForAYes(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.speak("twenty four point four at terminal three, relay out, switched on")
	require.Empty(t, r.Entries)
	require.NotNil(t, r.Question)
	require.Contains(t, r.Question.Text, "24.4 V at 30")
	r = c.speak("yes")
	require.Len(t, r.Entries, 1)
	require.Equal(t, 24.4, *c.log()[1].Reading.Answer.Number)
	require.Contains(t, c.log()[1].Said, "twenty four point four", "the record keeps what was heard")
	r = c.speak("twelve volts at 85, relay out, switched on")
	require.NotNil(t, r.Question)
	r = c.speak("no")
	require.Empty(t, r.Entries)
	require.Contains(t, r.Text, "Not kept")
	require.Len(t, c.log(), 2)
}

// What is said after numbers were read back changes those, and never what is stored.
func TestSpokenNumbersAreCorrectedBeforeTheyAreKept(t *testing.T) {
	for _, tc := range []struct {
		name string
		said []string
		want []string
	}{
		{"another number", []string{"86 has 24.1", "no, twenty four point two", "yes"}, []string{"socket.30 24.4", "socket.86 24.2"}},
		{"the number again, without a no", []string{"86 has 24.1", "86 has 24.2", "that's right"}, []string{"socket.30 24.4", "socket.86 24.2"}},
		{"another place", []string{"86 has 24.1", "no, that was eighty five", "correct"}, []string{"socket.30 24.4", "socket.85 24.1"}},
		{"one of two", []string{"86 has 24.1 and 85 has 0.2", "no, 86 has 24.3", "yes"}, []string{"socket.30 24.4", "socket.85 0.2", "socket.86 24.3"}},
		{"one more", []string{"86 has 24.1", "and 85 has 0.2", "yes"}, []string{"socket.30 24.4", "socket.86 24.1", "socket.85 0.2"}},
		{"yes and one more", []string{"86 has 24.1", "yes, and 85 has 0.2"}, []string{"socket.30 24.4", "socket.86 24.1"}},
		{"yes and one more, yes", []string{"86 has 24.1", "yes, and 85 has 0.2", "yes"}, []string{"socket.30 24.4", "socket.86 24.1", "socket.85 0.2"}},
		{"scratch that", []string{"86 has 24.1", "scratch that"}, []string{"socket.30 24.4"}},
		{"no", []string{"86 has 24.1", "no", "yes"}, []string{"socket.30 24.4"}},
		{"a question meanwhile", []string{"86 has 24.1", "where are we", "yes"}, []string{"socket.30 24.4", "socket.86 24.1"}},
		{"noise meanwhile", []string{"86 has 24.1", "the radio is loud", "yes"}, []string{"socket.30 24.4", "socket.86 24.1"}},
		{"what is stored", []string{"no, 30 was twenty four point five", "yes"}, []string{"socket.30 24.5"}},
		{"what is stored, not confirmed", []string{"no, 30 was twenty four point five", "no"}, []string{"socket.30 24.4"}},
		{"typed meanwhile", []string{"86 has 24.1", "!no, 24.2", "yes"}, []string{"socket.30 24.4", "socket.86 24.2"}},
		{"a question asked back beside it", []string{"86 has 24.1 and 87 is hot", "yes", "24.2", "yes"}, []string{"socket.30 24.4", "socket.86 24.1", "socket.87 24.2"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			o := plough()
			o.Circuit.Labels = "din"
			c, _ := talking(t, o)
			c.say("24.4 at 30, relay out, key on, switched on")
			for _, text := range tc.said {
				if typed, ok := strings.CutPrefix(text, "!"); ok {
					c.say(typed)
					continue
				}
				t.Log(c.speak(text).Text)
			}
			require.ElementsMatch(t, tc.want, c.readings())
		})
	}
}

// A correction that names its place is of the reading taken there, however many were
// taken since, and no answer to a question about another place.
func TestCorrectionsFindTheirReading(t *testing.T) {
	for _, tc := range []struct {
		name string
		said []string
		want []string
	}{
		{"after a question about another place", []string{"86 has 12.3, hot on 85", "no wait that was 12.5 on 86"}, []string{"socket.86 12.5"}},
		{"the first of two", []string{"30 is 12.6 and 86 is 12.4", "no, 30 was 12.5"}, []string{"socket.30 12.5", "socket.86 12.4"}},
		{"both of two", []string{"30 is 12.6 and 86 is 12.4", "no wait, 30 is 12.5 and 86 is 12.2"}, []string{"socket.30 12.5", "socket.86 12.2"}},
		{"an earlier one", []string{"30 is 12.6", "86 is 12.4", "sorry, that was 12.5 on 30"}, []string{"socket.30 12.5", "socket.86 12.4"}},
		{"the last by its number", []string{"30 is 12.6", "86 is 12.4", "no, 12.2"}, []string{"socket.30 12.6", "socket.86 12.2"}},
		{"two exchanged", []string{"30 is 12.6 and 86 is 12.4", "oops, swap those"}, []string{"socket.30 12.4", "socket.86 12.6"}},
		{"two exchanged at once", []string{"30 is 12.6 and 86 is 12.4, no, other way round"}, []string{"socket.30 12.4", "socket.86 12.6"}},
		{"past a question in passing", []string{"86 is 12.4", "what should 87 read now?", "no, 12.2"}, []string{"socket.86 12.2"}},
		{"in two moves", []string{"86 is 12.3", "no wait that was 12.5 on 86", "no, 86 is 12.4"}, []string{"socket.86 12.4"}},
		{"the last by its place", []string{"30 is 12.6", "86 is 12.4", "no, that was 87"}, []string{"socket.30 12.6", "socket.87 12.4"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			o := van()
			c, _ := talking(t, o)
			c.say("relay out, key on, switched on")
			for _, text := range tc.said {
				c.say(text)
			}
			require.ElementsMatch(t, tc.want, c.readings())
		})
	}
}

func TestRepairedProvedAndDone(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("0 volts at the far side of the load's fuse, relay in, switched on")
	c.say("24.4 at the near side of the load's fuse, relay in, switched on")
	r := c.say("the load's fuse is blown")
	require.Equal(t, "feed_fuse.open", r.Suspects[0].Suspect, r.Text)
	r = c.say("replaced the load's fuse, works now")
	require.Equal(t, kindRepaired, c.log()[len(c.log())-1].Kind, r.Text)
	require.Equal(t, "gone", c.log()[len(c.log())-1].Repaired.Result)
	require.Nil(t, r.Conclusion)
	require.Contains(t, r.Text, "prove it")
	require.NotNil(t, r.Next)
	r = c.say("it runs")
	require.Contains(t, r.Text, "Say done")
	r = c.say("done")
	require.Equal(t, "fixed", c.log()[len(c.log())-1].Closed, r.Text)
	require.Nil(t, r.Next)
}

func TestWhatTheComplaintBecameIsKept(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("the load's fuse is blown")
	r := c.say("put a new 20 amp fuse in, blew again")
	done := c.log()[len(c.log())-1].Repaired
	require.Equal(t, "still_there", done.Result, r.Text)
	require.Equal(t, "blows_fuse", done.Now)
	require.Contains(t, r.Text, "now the fuse blows")
	require.NotContains(t, r.Text, "did not take")

	r = c.say("replaced the load's fuse, still dead")
	done = c.log()[len(c.log())-1].Repaired
	require.Equal(t, "still_there", done.Result, r.Text)
	require.Equal(t, "dead", done.Now, "it no longer blows fuses")
}

// A lead that fell off may have spoilt what was read last: it is asked whether to take it back.
func TestALeadThatFellOff(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("12.4 volts at 86, relay out, switched on")
	require.Len(t, r.Entries, 1, r.Text)
	r = c.say("hold on, my lead fell off")
	require.NotNil(t, r.Question, r.Text)
	require.Contains(t, r.Text, "12.4 V at 86")
	require.Empty(t, r.Entries)
	r = c.say("yes")
	require.Contains(t, r.Text, "12.4 V at 86", "what is taken back is said")
	require.Equal(t, kindReading, c.log()[1].Kind)
	require.NotEqual(t, kindReading, c.log()[len(c.log())-1].Kind, r.Text)
}

func TestDoneWithoutARepairIsAskedBack(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("done")
	require.NotNil(t, r.Question)
	require.Empty(t, r.Entries)
	r = c.say("unproven")
	require.Equal(t, "unproven", c.log()[1].Closed, r.Text)
}

func TestFactsToldInWords(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("the relay is mounted outside")
	require.Len(t, r.Entries, 1, r.Text)
	require.Equal(t, "mounting", r.Understood[0].Fact)
	require.Equal(t, "outside", c.log()[1].Fact.Value.Text)
}

// A question asked back does not swallow a reading that stands by itself.
func TestAReadingBesideAnOpenQuestion(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("300 millis on the ground")
	require.NotNil(t, r.Question, r.Text)
	r = c.say("24.2 volts at 86, relay out, switched on")
	require.Len(t, r.Entries, 1, r.Text)
	require.Equal(t, "socket.86", r.Understood[0].Measure.Red)
	require.Equal(t, 24.2, *r.Understood[0].Answer.Number)
	r = c.say("300 millis on the ground")
	require.NotNil(t, r.Question, r.Text)
	r = c.say("never mind")
	require.Nil(t, r.Question, r.Text)
}

// A question that is not answered does not come back for ever, and what it was about is said
// to be not kept.
func TestAQuestionNotAnsweredIsLeftOpen(t *testing.T) {
	const left = "Not kept: “77 ohms”"
	for _, other := range []string{"the relay buzzes", "key is off"} {
		c, _ := talking(t, plough())
		require.NotNil(t, c.say("77 ohms").Question)
		r := c.say(other)
		require.Nil(t, r.Question, r.Text)
		require.Len(t, r.Entries, 1, "%s is kept all the same: %s", other, r.Text)
		require.Contains(t, r.Text, left)
		require.NotContains(t, c.say("relay in").Text, left, "said once")
	}
	c, _ := talking(t, plough())
	first := c.say("77 ohms").Question
	require.NotNil(t, first)
	require.NotNil(t, c.say("my dog barks").Question, "it stands once more")
	r := c.say("my dog barks")
	require.Nil(t, r.Question, r.Text)
	require.Contains(t, r.Text, left)

	c, _ = talking(t, plough())
	c.say("77 ohms")
	r = c.say("coil on the bench")
	require.NotContains(t, r.Text, left)
	require.Contains(t, r.Text, "77 Ω between")
}

// What the load is seen to do after the repair counts more than what was said.
func TestARepairThatDidNotHoldIsNotCalledProved(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("0 volts at the far side of the load's fuse, relay in, switched on")
	c.say("the load's fuse is blown")
	r := c.say("replaced the load's fuse, works now")
	require.Contains(t, r.Text, "prove it")
	r = c.say("comes and goes, relay in, switched on")
	require.NotContains(t, r.Text, "Nothing speaks against the repair")
	require.NotEmpty(t, r.Next, "the diagnosis goes on")
}

// What a question offers is taken as its answer, word for word, also where it would be
// a reading by itself.
func TestAnOfferedChoiceIsAnAnswer(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("replaced it")
	require.NotNil(t, r.Question)
	for _, choice := range r.Question.Choices {
		told := c.say(choice)
		require.NotNil(t, told.Question, choice)
		require.Contains(t, told.Question.Choices, "still there", choice)
		require.Empty(t, told.Entries, "%s is no reading", choice)
		r = c.say("replaced it")
	}
}

// TestSeldomSetupsAreReadBack: engine, neighbours and heat are kept with the reading, and
// stay until something else is said.
func TestSeldomSetupsAreReadBack(t *testing.T) {
	c, _ := talking(t, van())
	r := c.say("engine running, relay in, switched on, 13.9 at 30")
	require.Contains(t, r.Text, "engine running")
	e := c.log()[len(c.log())-1]
	require.Equal(t, rules.Setup{Relay: "in", Key: "on", Command: "on", Engine: "running"}, e.Reading.Setup)
	c.say("relay in, switched on, with the neighbours on 87 is 13.1")
	e = c.log()[len(c.log())-1]
	require.Equal(t, rules.Setup{Relay: "in", Key: "on", Command: "on", Engine: "running", Neighbours: "on"}, e.Reading.Setup)
	c.say("engine off, neighbours off")
	c.say("relay in, switched on, 87 is 12.0")
	e = c.log()[len(c.log())-1]
	require.Equal(t, rules.Setup{Relay: "in", Key: "on", Command: "on"}, e.Reading.Setup)
}

// TestADoubtfulNumberWaits: words beside a number that mean nothing here are asked about,
// and nothing is stored until they are settled.
func TestADoubtfulNumberWaits(t *testing.T) {
	c, _ := talking(t, van())
	before := len(c.log())
	r := c.say("86 has 12.4 gnarfle, relay out, key on, switched off")
	require.Contains(t, r.Question.Text, "gnarfle")
	require.Len(t, c.log(), before)
	c.say("yes")
	require.Len(t, c.log(), before+1)
	r = c.say("86 has 11.4 gnarfle")
	require.Contains(t, r.Question.Text, "gnarfle")
	c.say("no")
	require.Len(t, c.log(), before+1)
}
