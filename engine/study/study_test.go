package study

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/engine/rank"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/rulesets"
)

func knowledge(t testing.TB) *diagnosis.Knowledge {
	t.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	return k
}

func player(t testing.TB, k *diagnosis.Knowledge, policy string) *Player {
	t.Helper()
	minutes, err := ReadMinutes()
	require.NoError(t, err)
	p, ok := FindPolicy(policy)
	require.True(t, ok)
	return &Player{Knowledge: k, Minutes: minutes, Policy: p, Clock: func() float64 { return 0 }}
}

// The same seed and number give the same job and the same play.
func TestAJobCanBeReplayed(t *testing.T) {
	k := knowledge(t)
	for _, s := range Strata[4:] {
		var before []string
		for range 2 {
			j, err := (&Dealer{Knowledge: k}).Deal(s, 7, 3)
			require.NoError(t, err)
			var lines []string
			p := player(t, k, "product")
			p.Log = func(format string, args ...any) { lines = append(lines, format); _ = args }
			r, err := p.Play(j)
			require.NoError(t, err)
			now := append(lines, j.Complaint, r.Ends[len(r.Ends)-1].Verdict)
			now = append(now, j.Faults...)
			if before != nil {
				assert.Equal(t, before, now, s.ID)
			}
			before = now
		}
	}
}

// Every stratum hides what it says it does, and each fault causes a complaint.
func TestWhatIsDealt(t *testing.T) {
	k := knowledge(t)
	for _, s := range Strata {
		untold := 0
		for number := range 40 {
			j, err := (&Dealer{Knowledge: k}).Deal(s, 1, number)
			require.NoError(t, err)
			require.Len(t, j.Faults, s.Faults, "%s %d", s.ID, number)
			require.NotEmpty(t, j.Complaint, "%s %d", s.ID, number)
			for id, is := range j.Vehicle.Choices() {
				told, ok := j.Facts[id]
				if !ok {
					untold++
				} else if told.Kind == rules.Choice {
					require.Equal(t, is, told.Text, "%s %d", s.ID, number)
				}
			}
			for _, mended := range j.Faults {
				_, err := j.Vehicle.Repair(mended)
				require.NoError(t, err)
			}
			require.Empty(t, j.Vehicle.Complaint(), "%s %d: all is mended", s.ID, number)
		}
		share := float64(untold) / 40 / float64(len(k.Book().Circuits[0].Wiring))
		assert.InDelta(t, s.Untold, share, 0.1, s.ID)
	}
}

// The truth is drawn evenly over the suspects that the drawn circuit can have: in
// wirings that have them all, none comes up much more often than another.
func TestTheTruthIsDrawnEvenly(t *testing.T) {
	k := knowledge(t)
	single, _ := FindStratum("single")
	drawn := map[string]int{}
	const jobs = 600
	for number := range jobs {
		j, err := (&Dealer{Knowledge: k}).Deal(single, 2, number)
		require.NoError(t, err)
		drawn[j.Faults[0]]++
		for _, id := range j.Silent {
			drawn[id]++
		}
	}
	// These can occur in every wiring, so each is as likely as the others.
	always := []string{"battery.discharged", "coil.open", "control.open", "load.open", "load_wire.open", "feed_fuse.open", "coil_fuse.open", "armature.weak"}
	sum := 0
	for _, id := range always {
		sum += drawn[id]
	}
	mean := float64(sum) / float64(len(always))
	for _, id := range always {
		assert.InDelta(t, mean, float64(drawn[id]), 4.5*math.Sqrt(mean), "%s", id)
	}
}

// Getting at a place is paid once, and so is a change of setup.
func TestMinutesAreChargedOnce(t *testing.T) {
	table, err := ReadMinutes()
	require.NoError(t, err)
	for access := range accesses {
		l := NewLedger(table, access)
		m := rules.Measure{Mode: rules.VoltsDC, Red: "socket.30", Black: "battery.negative"}
		s := rules.Setup{Relay: "out", Key: "on", Command: "on"}
		first := l.Charge(m, s)
		m.Red = "socket.87"
		again := l.Charge(m, s)
		c := table
		assert.InDelta(t, c.Open["relay"][access]+c.Change["relay"][access]+c.Change["key"][access]+c.Change["command"][access]+c.Do["volts_dc"][access], first, 1e-9)
		assert.InDelta(t, c.Do["volts_dc"][access], again, 1e-9)
		l.Charge(rules.Measure{Mode: rules.Look, At: "feed_fuse"}, s)
		back := l.Charge(m, s)
		assert.InDelta(t, c.BackTo["relay"][access]+c.Do["volts_dc"][access], back, 1e-9)
		assert.InDelta(t, first+again+back+c.Open["fuses"][access]+c.Do["look"][access], l.Total, 1e-9)
	}
}

// Every mode of every test of the rulebook has its minutes.
func TestEveryTestHasMinutes(t *testing.T) {
	table, err := ReadMinutes()
	require.NoError(t, err)
	for _, test := range knowledge(t).Book().Tests {
		assert.Positive(t, NewLedger(table, 0).Charge(test.Measure, test.Setup), test.ID)
		assert.Contains(t, table.Do, string(test.Measure.Mode))
		for condition := range conditions(test.Setup) {
			assert.Contains(t, table.Change, condition, test.ID)
		}
	}
}

// A wrong reading is wrong: one in twenty, and never within what a meter errs.
func TestWrongReadings(t *testing.T) {
	k := knowledge(t)
	s, _ := FindStratum("wrong")
	wrong, tests := 0, 0
	for number := range 30 {
		j, err := (&Dealer{Knowledge: k}).Deal(s, 3, number)
		require.NoError(t, err)
		tech := &technician{vehicle: j.Vehicle, has: j.Vehicle.Wiring().Has, stratum: s, rng: j.rng, ledger: NewLedger(&Minutes{}, 0)}
		for _, test := range k.Book().Tests {
			taken, ok := j.Vehicle.Reach(test)
			if !ok || test.Measure.Mode == rules.Ask {
				continue
			}
			_, _, err := tech.answer(taken.Measure, taken.Setup)
			require.NoError(t, err, test.ID)
			tests++
		}
		wrong += tech.Wrong
	}
	share := float64(wrong) / float64(tests)
	assert.InDelta(t, s.Wrong, share, 4*math.Sqrt(s.Wrong/float64(tests))+0.005, "%d of %d", wrong, tests)
	low, high := 12.0, 12.1
	assert.False(t, unlike(rules.VoltsDC, rank.Answer{Number: &low}, rank.Answer{Number: &high}))
	assert.True(t, unlike(rules.Ohms, rank.Answer{Over: true}, rank.Answer{Number: &high}))
}

// What could still be asked for is what the assistant may propose for this complaint: nobody runs a load for ten minutes
// that does not run.
func TestOnlyWhatTheComplaintAllowsIsAtHand(t *testing.T) {
	k := knowledge(t)
	j, err := (&Dealer{Knowledge: k}).Deal(Strata[0], 7, 3)
	require.NoError(t, err)
	for complaint, runs := range map[string]bool{"blows_fuse": false, "weak": true} {
		j.Complaint = complaint
		desk, err := openCase(k, j, nil)
		require.NoError(t, err)
		q := &play{Player: player(t, k, "product"), job: j, desk: desk}
		asked := slices.ContainsFunc(q.open(), func(v vehicle.Taken) bool { return v.Test.ID == "ask_hottest" })
		assert.Equal(t, runs, asked, complaint)
	}
}
