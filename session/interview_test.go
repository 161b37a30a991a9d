package session

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func interviewed(t *testing.T, answers ...string) (OpenRequest, []string) {
	t.Helper()
	i, err := NewInterview(book(t))
	require.NoError(t, err)
	var said []string
	for _, a := range answers {
		require.NotNil(t, i.Question(), "nothing left to ask for %q", a)
		if s := i.Answer(a); s != "" {
			said = append(said, s)
		}
	}
	return i.Request(), said
}

func TestInterviewTakesPlainAnswers(t *testing.T) {
	o, said := interviewed(t, "the radiator fan never runs", "24v", "1 to 5", "87")
	require.Empty(t, said)
	require.Equal(t, "dead", o.Complaint)
	require.Equal(t, "the radiator fan never runs", o.Label)
	require.Equal(t, 24.0, *o.Circuit.SystemVolts)
	require.Equal(t, "motor", o.Circuit.Load.Kind)
	require.True(t, *o.Circuit.Load.Moves)
	require.Equal(t, "none", o.Circuit.Load.Hazard)
	require.Equal(t, "numbers", o.Circuit.Labels)
	require.Equal(t, "make", o.Circuit.Contact)
	_, err := factsOf(baseOf(t), o)
	require.NoError(t, err)
}

// What was told in passing is read back before the job is opened, each thing once.
func TestInterviewReadsBackWhatItTook(t *testing.T) {
	i, err := NewInterview(book(t))
	require.NoError(t, err)
	require.Empty(t, i.Taken())
	for _, answer := range []string{"the driving lights never come on, 12 volt, the dash switch grounds the relay", "normal numbers", "four pin"} {
		require.NotNil(t, i.Question())
		require.Empty(t, i.Answer(answer), answer)
	}
	require.Equal(t, []string{"the load never runs", "12 volts", "lamp", "nothing moves", "terminals marked 30, 85, 86, 87", "only 87",
		"control side: ground", "what commands the coil: switch"}, i.Taken())
}

// The first question takes the slips that later ones do, and every choice that any of them
// lists is taken, word for word and with a slip.
func TestInterviewTakesSlipsAndItsOwnChoices(t *testing.T) {
	o, said := interviewed(t, "ded", "24 vlots", "moter", "noting moves")
	require.Empty(t, said)
	require.Equal(t, "dead", o.Complaint)
	require.Equal(t, 24.0, *o.Circuit.SystemVolts)
	require.Equal(t, "motor", o.Circuit.Load.Kind)
	require.False(t, *o.Circuit.Load.Moves)
	asked, err := NewInterview(book(t))
	require.NoError(t, err)
	for n, q := range asked.questions() {
		for _, choice := range q.offer {
			i, err := NewInterview(book(t))
			require.NoError(t, err)
			i.at = n
			require.Empty(t, i.Answer(choice.words), choice.words)
		}
		i, err := NewInterview(book(t))
		require.NoError(t, err)
		i.at = n
		require.Equal(t, i.MayLeaveOpen(), i.Answer("don't know") == "", q.text)
	}
}

func TestInterviewLeavesUnknownOpen(t *testing.T) {
	o, said := interviewed(t, "it blows the fuse", "don't know", "", "no idea", "?", "dunno")
	require.Empty(t, said)
	require.Equal(t, OpenRequest{Complaint: "blows_fuse"}, o)
}

// What a load is called tells its kind, and often what happens when it runs.
func TestInterviewKnowsLoadsByName(t *testing.T) {
	yes, no := true, false
	for said, want := range map[string]LoadSpec{
		"fan": {Kind: "motor", Moves: &yes}, "radiator fan": {Kind: "motor", Moves: &yes, Hazard: "none"}, "pump": {Kind: "motor", Moves: &yes},
		"fuel pump": {Kind: "motor", Moves: &yes, Hazard: "fuel"}, "horn": {Kind: "solenoid", Moves: &no, Hazard: "none"},
		"work lights": {Kind: "lamp", Moves: &no, Hazard: "none"}, "the heated screen": {Kind: "heater", Moves: &no, Hazard: "none"},
		"starter": {Kind: "motor", Moves: &yes, Hazard: "starting"}, "tail lift": {Kind: "motor", Moves: &yes, Hazard: "lifting"},
		"heated rear screen": {Kind: "heater", Moves: &no, Hazard: "none"}, "wipers": {Kind: "motor", Moves: &yes, Hazard: "none"},
		"dipped beam": {Kind: "lamp", Moves: &no, Hazard: "none"}, "horns": {Kind: "solenoid", Moves: &no, Hazard: "none"},
		"lamp": {Kind: "lamp", Moves: &no}, "motor": {Kind: "motor"},
	} {
		o, told := interviewed(t, "never runs", "12", said)
		require.Empty(t, told, said)
		require.Equal(t, want, o.Circuit.Load, said)
		if said != "lamp" && said != "motor" { // those are the choices offered
			require.Equal(t, said, o.Label)
		}
	}
	o, _ := interviewed(t, "the lights run when they should be off and stop when switched on")
	require.Equal(t, "inverted", o.Complaint)
	o, _ = interviewed(t, "work lights on the plough dont come on")
	require.Equal(t, "dead", o.Complaint)
	require.Equal(t, "work lights on the plough dont come on", o.Label)
}

// One line may tell all that is asked, the load's name and the number of pins included.
func TestTheFirstLineMayTellItAll(t *testing.T) {
	o, said := interviewed(t, "rad fan on a 12v van only clicks, 4 pin relay with the normal numbers")
	require.Empty(t, said)
	require.Equal(t, "dead", o.Complaint)
	require.Equal(t, "motor", o.Circuit.Load.Kind)
	require.Equal(t, "make", o.Circuit.Contact)
	require.Equal(t, "din", o.Circuit.Labels)
	o, _ = interviewed(t, "the fuse for the heated screen keeps blowing since I fitted a new relay")
	require.Equal(t, "blows_fuse", o.Complaint)
	require.Equal(t, "heater", o.Circuit.Load.Kind)
}

// What becomes of the relay is no complaint of the load: what the load does is asked, and why.
func TestInterviewOfAPartThatSuffers(t *testing.T) {
	for _, said := range []string{"melts the relay socket", "relay gets really hot", "third relay this year"} {
		i, err := NewInterview(book(t))
		require.NoError(t, err)
		i.Question()
		require.Contains(t, i.Answer(said), "What does the load do?", said)
		require.Empty(t, i.Request().Complaint, said)
		require.Empty(t, i.Answer("it never runs"), said)
		require.Equal(t, "dead", i.Request().Complaint, said)
	}
}

func TestInterviewEndsWhateverIsSaid(t *testing.T) {
	i, err := NewInterview(book(t))
	require.NoError(t, err)
	require.Contains(t, i.Answer(""), "I need that one")
	require.Contains(t, i.Answer("help"), "in your own words")
	require.NotContains(t, i.Answer("qwerty"), "don't know", "it is not offered where it is not taken")
	require.NotEmpty(t, i.Answer("xyzzy"))
	require.Empty(t, i.Answer("never runs"))
	asked := i.Question()
	for range 3 {
		require.Equal(t, "Take your time.", i.Answer("hang on"))
		require.Equal(t, asked, i.Question())
	}
	for _, asks := range []string{"why", "what next", "why do you ask", "what do you mean"} {
		require.Contains(t, i.Answer(asks), "how the circuit is wired", asks)
		require.Equal(t, asked, i.Question(), asks)
	}
	for n := 0; i.Question() != nil; n++ {
		require.Less(t, n, 20)
		i.Answer("xyzzy")
	}
	require.Equal(t, CircuitSpec{}, i.Request().Circuit)
}

func TestInterviewChoices(t *testing.T) {
	for said, want := range map[string]string{"both": "changeover", "only 87a": "break", "87a": "break", "87": "make", "87 and 87a": "changeover"} {
		o, _ := interviewed(t, "never runs", "12", "lamp", "nothing moves", "din", said)
		require.Equal(t, want, o.Circuit.Contact, said)
		require.Equal(t, "din", o.Circuit.Labels)
		require.False(t, *o.Circuit.Load.Moves)
	}
}

func TestInterviewFindsDanger(t *testing.T) {
	for _, told := range [][]string{{"stays on", "12", "solenoid", "an airbag fires", "", ""}, {"the airbag light stays on"}} {
		o, _ := interviewed(t, told...)
		require.Equal(t, "restraint", o.Circuit.Load.Hazard)
		_, err := factsOf(baseOf(t), o)
		require.Equal(t, Unsafe, kindOf(t, err))
	}
}

// The first line says several things at once; what is wrong is in one of its clauses.
func TestTheFirstLineSaysSeveralThings(t *testing.T) {
	book := book(t)
	for _, said := range []string{"the horn is dead, 12 volts", "horn on a tractor dead, 12 v, relay on the firewal", "24 volts; blower wont stop"} {
		i, err := NewInterview(book)
		require.NoError(t, err)
		require.Empty(t, i.Answer(said), said)
		require.NotEmpty(t, i.Request().Complaint, said)
		require.NotNil(t, i.Request().Circuit.SystemVolts, said)
	}
}
