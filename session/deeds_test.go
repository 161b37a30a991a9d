package session

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

var (
	socketOut = rules.Setup{Relay: "out", Key: "on", Command: "on"}
	allOn     = rules.Setup{Relay: "in", Key: "on", Command: "on"}
)

func voltsAt(place string) *rules.Measure {
	return &rules.Measure{Mode: rules.VoltsDC, Red: place, Black: "battery.negative"}
}

// unasked records a measurement that no test asked for.
func (c *talk) unasked(m *rules.Measure, s rules.Setup, a Answer) Reply {
	c.t.Helper()
	r, err := c.s.Record(c.t.Context(), RecordRequest{Write: Write{Job: c.job}, Measure: m, Setup: &s, Answer: a})
	require.NoError(c.t, err)
	return r
}

// carrying counts the tests that command the load, and those that carry its caution.
func (c *talk) carrying() (commanded, carry int) {
	c.t.Helper()
	list, err := c.s.Next(c.t.Context(), ListRequest{Job: c.job, Limit: 60})
	require.NoError(c.t, err)
	for _, test := range list.Tests {
		if commands(test.Measure, test.Setup) {
			commanded++
			if test.Accept != "" {
				carry++
			}
		}
	}
	return commanded, carry
}

// The caution of a load that moves is accepted by saying so or by answering a test that
// carried it, never by a reading that nobody asked for.
func TestAReadingUnaskedAcceptsNothing(t *testing.T) {
	for place, setup := range map[string]rules.Setup{"socket.86": socketOut, "back.86": allOn} {
		c, _ := talking(t, van())
		r := c.unasked(voltsAt(place), setup, Answer{Number: number(12.4)})
		require.NotNil(t, r.Entry, "it is kept")
		commanded, carry := c.carrying()
		require.Positive(t, commanded)
		require.Equal(t, commanded, carry, place)
	}
	c, r := untilCommanded(t, van())
	_, err := c.s.Record(t.Context(), RecordRequest{Write: Write{Job: c.job}, Test: r.Next.ID, Answer: Answer{Number: number(12.4)}})
	if r.Next.Answers.Kind == "choice" {
		_, err = c.s.Record(t.Context(), RecordRequest{Write: Write{Job: c.job}, Test: r.Next.ID, Answer: Answer{Choice: r.Next.Answers.Of[0]}})
	}
	require.NoError(t, err)
	_, carry := c.carrying()
	require.Zero(t, carry, "the test carried it")
}

// Where the load may have run unasked, its caution is said, and in full only once.
func TestTheCautionIsSaidOnceAfterARunUnasked(t *testing.T) {
	c, _ := talking(t, van())
	said := 0
	for _, place := range []string{"back.86", "back.30", "back.85"} {
		r := c.unasked(voltsAt(place), allOn, Answer{Number: number(12.4)})
		said += strings.Count(r.Text, "Keep hands, hair, leads and tools clear from here on")
	}
	require.Equal(t, 1, said)
}

// What is unsafe and was done all the same is kept, and the reply begins with what to
// stop, in its cautions, its text and its speech.
func TestAnUnsafeDeedIsAnsweredWithAStop(t *testing.T) {
	jumper := func(from, to string) *rules.Measure { return &rules.Measure{Mode: rules.Bridge, From: from, To: to} }
	lamp := func(red, black string) *rules.Measure {
		return &rules.Measure{Mode: rules.TestLamp, Red: red, Black: black}
	}
	hazard := func(h string) func(*OpenRequest) { return func(o *OpenRequest) { o.Circuit.Load.Hazard = h } }
	module := func(o *OpenRequest) { o.Circuit.Driver = "module" }
	anyDriver := func(o *OpenRequest) { o.Circuit.Driver = "" }
	blows := func(o *OpenRequest) { o.Complaint = "blows_fuse" }
	interlocks := "Take the jumper off. Interlocks are never bypassed"
	for name, d := range map[string]struct {
		how    func(*OpenRequest)
		deed   *rules.Measure
		setup  rules.Setup
		answer string
		stop   string // "" = none
	}{
		"brakes":          {hazard("brakes_or_steering"), jumper("socket.30", "socket.87"), socketOut, "runs", interlocks},
		"fuel":            {hazard("fuel"), jumper("socket.30", "socket.87"), socketOut, "runs", interlocks},
		"starting":        {hazard("starting"), jumper("socket.87", "socket.30"), socketOut, "off", interlocks},
		"lifting":         {hazard("lifting"), jumper("socket.30", "socket.87"), socketOut, "runs", interlocks},
		"not known":       {hazard(""), jumper("socket.30", "socket.87"), socketOut, "runs", "Take the jumper off. Say first what this load does"},
		"coil cavities":   {module, jumper("socket.86", "socket.85"), socketOut, "off", "Take the jumper off. It goes only from"},
		"coil to contact": {module, jumper("socket.85", "socket.87"), socketOut, "runs", "Take the jumper off. It goes only from"},
		"to the load":     {nil, jumper("battery.positive", "load.in"), socketOut, "runs", "Take the jumper off. It goes only from"},
		"into a short":    {blows, jumper("socket.30", "socket.87"), socketOut, "off", "Take the jumper off. "},
		"trips":           {nil, jumper("socket.30", "socket.87"), socketOut, "trips", "Stop bridging. "},
		"lamp, module":    {module, lamp("back.85", "battery.negative"), allOn, "dim", "Take the test lamp off. A module drives the coil"},
		"lamp, its plug":  {module, lamp("battery.positive", "control.in"), allOn, "dim", "Take the test lamp off. A module drives the coil"},
		"lamp, not known": {anyDriver, lamp("socket.86", "socket.85"), socketOut, "bright", "Take the test lamp off. A module may drive the coil"},
		"lamp near fuel":  {hazard("fuel"), lamp("socket.30", "battery.negative"), socketOut, "bright", "Take the test lamp off. A lamp or a jumper sparks"},
		"good relay":      {blows, &rules.Measure{Mode: rules.Swap}, allOn, "runs", "Stop swapping relays. The load may be shorted"},
		"a right bridge":  {nil, jumper("socket.30", "socket.87"), socketOut, "runs", ""},
		"a right lamp":    {nil, lamp("socket.86", "socket.85"), socketOut, "bright", ""},
		"lamp, contact":   {module, lamp("socket.30", "battery.negative"), socketOut, "bright", ""},
	} {
		t.Run(name, func(t *testing.T) {
			o := van()
			if d.how != nil {
				d.how(&o)
			}
			c, _ := talking(t, o)
			r := c.unasked(d.deed, d.setup, Answer{Choice: d.answer})
			require.NotNil(t, r.Entry, "it is kept")
			if d.stop == "" {
				require.NotRegexp(t, "^(Take|Stop)", r.Text)
				return
			}
			require.NotEmpty(t, r.Cautions)
			require.True(t, strings.HasPrefix(r.Cautions[0], d.stop), r.Cautions[0])
			require.True(t, strings.HasPrefix(r.Text, d.stop), r.Text)
			require.True(t, strings.HasPrefix(r.Speech, strings.TrimSuffix(firstSentence(d.stop), " ")), r.Speech)
		})
	}
}

// The same told in plain words; and once a jumper blew a fuse, none is offered again.
func TestAnUnsafeDeedToldIsAnsweredWithAStop(t *testing.T) {
	for said, stop := range map[string]string{
		"bridged 30 to 87, it runs":                "Take the jumper off. Interlocks",
		"jumped 86 to 85 and it clicked":           "",
		"test lamp on 85 is dim, switched on":      "Take the test lamp off. A module drives",
		"jumper 30 to 87 sparked, popped the fuse": "Stop bridging. ",
	} {
		o := van()
		o.Circuit.Driver, o.Circuit.Load.Hazard = "module", "brakes_or_steering"
		c, _ := talking(t, o)
		r := c.say(said)
		if stop == "" {
			t.Log(r.Text)
			continue
		}
		require.NotEmpty(t, r.Entries, said)
		require.NotEmpty(t, r.Cautions, said)
		require.True(t, strings.HasPrefix(r.Cautions[0], stop), "%s: %s", said, r.Cautions)
		require.True(t, strings.HasPrefix(r.Text, stop), "%s: %s", said, r.Text)
	}
	c, _ := talking(t, van())
	c.unasked(&rules.Measure{Mode: rules.Bridge, From: "socket.30", To: "socket.87"}, socketOut, Answer{Choice: "trips"})
	list, err := c.s.Next(t.Context(), ListRequest{Job: c.job, Limit: 100})
	require.NoError(t, err)
	for _, test := range list.Tests {
		require.NotContains(t, []string{"bridge_contact", "swap_relay", "reseat_relay"}, test.ID)
	}
}

// How long a list may be is said as it is taken.
func TestALimitSaysWhatItTakes(t *testing.T) {
	c, _ := talking(t, van())
	for _, most := range []int{-1, 1001} {
		_, err := c.s.Next(t.Context(), ListRequest{Job: c.job, Limit: most})
		require.ErrorContains(t, err, "it takes 1 to 1000, or 0 for the usual 5")
	}
	usual, err := c.s.Next(t.Context(), ListRequest{Job: c.job})
	require.NoError(t, err)
	require.Len(t, usual.Tests, 5)
}

// What to do about either of two suspects says which act is for which.
func TestARepairOfATieSaysWhichIsForWhich(t *testing.T) {
	c, _ := talking(t, van())
	j, unlock, err := c.s.lockCase(t.Context(), c.job)
	require.NoError(t, err)
	defer unlock()
	found := *j.now()
	found.conclusion = &diagnosis.Conclusion{Kind: "tied", Suspects: []string{"terminal_30.loose", "coil.open"}, Repair: []string{"Mend the terminal.", "Fit a relay."}}
	j.found = &found
	require.Regexp(t, "^If terminal 30 is loose.*: .+[.] If .*coil.*: .+[.]$", j.conclusion().Repair)
	found.conclusion = &diagnosis.Conclusion{Kind: "single", Suspects: []string{"coil.open"}, Repair: []string{"Fit a relay."}}
	require.Equal(t, "Fit a relay.", j.conclusion().Repair)
}
