package practice

import (
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/engine/study"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/rulesets"
	"coilside/session/words"
)

var school = sync.OnceValue(func() *School {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	if err != nil {
		panic(err)
	}
	k, err := diagnosis.Compile(book)
	if err != nil {
		panic(err)
	}
	reader, err := words.New(book.Words)
	if err != nil {
		panic(err)
	}
	return &School{Knowledge: k, Reader: reader}
})

func start(t *testing.T, level string, seed uint64) *Lesson {
	t.Helper()
	l, err := school().Start(level, seed)
	require.NoError(t, err)
	return l
}

func say(t *testing.T, l *Lesson, line string) string {
	t.Helper()
	said, err := l.Say(line)
	require.NoError(t, err)
	return said
}

// The same level and seed give the same vehicle and the same readings; another seed gives
// another, and each level hides what it says.
func TestTheSameSeedIsTheSameVehicle(t *testing.T) {
	all, err := Levels()
	require.NoError(t, err)
	for _, level := range all {
		seen := map[string]bool{}
		for seed := range uint64(12) {
			a, b := start(t, level.ID, seed), start(t, level.ID, seed)
			require.Equal(t, a.Opening(), b.Opening())
			require.Equal(t, a.hidden, b.hidden)
			seen[a.Opening()[strings.Index(a.Opening(), "Known"):]+a.hidden] = true
			s, ok := school().Knowledge.Book().Suspect(a.hidden)
			require.True(t, ok)
			switch level.ID {
			case "easy":
				assert.GreaterOrEqual(t, s.Prior, level.LeastPrior)
				assert.NotContains(t, a.Opening(), "Not known")
			case "hard":
				assert.True(t, s.Prior <= level.MostPrior || vehicle.Intermittent(s), a.hidden)
				assert.Contains(t, a.Opening(), "Not known")
			}
		}
		assert.Greater(t, len(seen), 8, level.ID)
	}
	a, b := start(t, "middle", 4), start(t, "middle", 4)
	for _, line := range []string{"does it click?", "volts at the battery", "volts at 86, relay out, key on, switched on"} {
		assert.Equal(t, say(t, a, line), say(t, b, line))
	}
}

// The best path of a review is what the study's player does on the same vehicle up to
// its conclusion, test for test as far as number and minutes tell.
func TestTheBestPathIsTheAssistants(t *testing.T) {
	minutes, err := study.ReadMinutes()
	require.NoError(t, err)
	policy, _ := study.FindPolicy("product")
	for _, c := range []struct {
		level string
		seed  uint64
	}{{"easy", 3}, {"middle", 2}, {"middle", 1}} {
		l := start(t, c.level, c.seed)
		_, err := l.Review(t.Context())
		var early *FieldError
		require.ErrorAs(t, err, &early)
		say(t, l, "give up")
		r, err := l.Review(t.Context())
		require.NoError(t, err)

		dealer := study.Dealer{Knowledge: school().Knowledge, Can: l.Level.hides}
		j, err := dealer.Deal(l.Level.stratum(), c.seed, 0)
		require.NoError(t, err)
		played, err := (&study.Player{Knowledge: school().Knowledge, Minutes: minutes, Policy: policy, Clock: func() float64 { return 0 }}).Play(j)
		require.NoError(t, err)
		tests, spent := 0, 0.0
		for _, s := range r.Best {
			if s.Named != "" {
				break
			}
			tests, spent = tests+1, spent+s.Minutes
		}
		assert.Equal(t, played.Tests, tests)
		assert.InDelta(t, played.Minutes, spent, 1e-6)
		assert.False(t, r.Found)
	}
}

// Who takes every hint goes the assistant's way, and is told the same bits.
func TestHintsAreTheBestPath(t *testing.T) {
	l := start(t, "easy", 3)
	for range mostTests {
		if strings.Contains(say(t, l, "hint"), "prove something") {
			break
		}
		say(t, l, "do it")
	}
	require.Contains(t, say(t, l, "it's "+l.hidden), "Right")
	r, err := l.Review(t.Context())
	require.NoError(t, err)
	require.True(t, r.Found)
	for i, s := range r.Best {
		if s.Named != "" {
			break
		}
		assert.Equal(t, s.Words, r.Yours[i].Words)
		assert.Equal(t, s.Bits, r.Yours[i].Bits)
		assert.True(t, r.Yours[i].Hint)
	}
	assert.InDelta(t, r.BestMinutes, r.Minutes, 1e-6)
}

// Requests in plain words, each held to the measurement that it is.
func TestRequestsInPlainWords(t *testing.T) {
	l := start(t, "easy", 3)
	for line, want := range map[string]string{
		"volts at 86, relay out, key on, switched on": "volts_dc socket.86 battery.negative",
		"what is the voltage at 30, relay out":        "volts_dc socket.30 battery.negative",
		"measure 30 to 87 under load":                 "volts_dc back.30 back.87",
		"ohms 85 to 86 on the bench":                  "ohms relay.85 relay.86",
		"what's the resistance of the coil?":          "ohms relay.86 relay.85",
		"does it click":                               "listen  ",
		"does the load run?":                          "watch  ",
		"swap the relay":                              "swap  ",
		"test lamp at 87":                             "test_lamp back.87 battery.negative",
		"look at the feed fuse":                       "look  ",
		"battery voltage":                             "volts_dc battery.positive battery.negative",
		"voltage drop across the relay contacts":      "volts_dc back.30 back.87",
		"coil resistance":                             "ohms relay.86 relay.85",
	} {
		r, _, ok := l.read(line)
		if assert.True(t, ok, line) {
			assert.Equal(t, want, string(r.measure.Mode)+" "+r.measure.Red+" "+r.measure.Black, line)
		}
	}
	_, near, ok := l.read("the weather")
	assert.False(t, ok)
	assert.NotEmpty(t, near)
}

// What is refused, is not understood or is named wrongly says why; only the last costs.
func TestWhatIsRefused(t *testing.T) {
	l := start(t, "easy", 3)
	assert.Contains(t, say(t, l, "ohms from 30 to ground, relay out, key on, switched on"), "Refused. Ohms are not for a place that may be live")
	assert.Contains(t, say(t, l, "fused jumper from 30 to battery negative"), "Nothing was done")
	assert.Contains(t, say(t, l, "volts at 87a, relay out, key on, switched on"), "Nothing was done") // a relay with 87 only
	assert.Contains(t, say(t, l, "tickle the flange"), "no measurement I understand")
	assert.Contains(t, say(t, l, "it's the flange"), "no suspect")
	assert.Contains(t, say(t, l, "do it"), "hint")
	assert.Zero(t, l.Minute())
	assert.Empty(t, l.Steps)

	require.Contains(t, say(t, l, "ohms 85 to 86 on the bench"), "ohms")
	before := l.Minute()
	said := say(t, l, "it's the coil")
	assert.Contains(t, said, "coil is open, it gives OL") // it was read, and is sound
	assert.InDelta(t, before+l.naming, l.Minute(), 1e-9)
	assert.False(t, l.Ended)

	var wrong *FieldError
	_, err := l.Say(strings.Repeat("x", mostLine+1))
	require.ErrorAs(t, err, &wrong)
	say(t, l, "give up")
	_, err = l.Say("volts at 86")
	require.ErrorAs(t, err, &wrong)
	_, err = school().Start("midle", 1)
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, "level", wrong.Field)
	assert.Equal(t, "middle", wrong.Nearest)
}

// A repair is enough where it mends the fault, whichever part of the relay it is.
func TestARepairEndsIt(t *testing.T) {
	l := start(t, "easy", 3)
	s, ok := school().Knowledge.Book().Suspect(l.hidden)
	require.True(t, ok)
	require.Equal(t, "relay", s.Repair.Class, "the seed hides something else now; take one in the relay")
	assert.Contains(t, say(t, l, "replace the relay"), "That mends it")
	assert.True(t, l.Found)
}

// A fault is named in several ways; a question about a part names none. What is asked
// after a look with everything off, or on the bench, is taken as usual and not so.
func TestNamesAndStates(t *testing.T) {
	for _, line := range []string{"it's the working contact", "its the contact", "the contact is burnt", "I think the contact is bad"} {
		l := start(t, "easy", 3)
		assert.Contains(t, say(t, l, line), "Right", line)
	}
	l := start(t, "easy", 3)
	say(t, l, "look at the feed fuse")
	first := say(t, l, "is 86 live?")
	assert.Contains(t, first, "commanded on")
	assert.Contains(t, first, "Careful: in a real vehicle the load may move")
	say(t, l, "coil resistance")
	assert.Contains(t, say(t, l, "volts across the load"), "commanded on")
	assert.Len(t, l.Steps, 4)
	say(t, l, "is the coil open?")
	assert.False(t, l.Ended)
	for _, s := range l.Steps {
		assert.Empty(t, s.Named)
	}
}
