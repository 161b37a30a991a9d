package session

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/session/rulecase"
)

// closedJob is a job played to its end: the fuse was blown, mended and proven.
func closedJob(t *testing.T, s *Service) string {
	t.Helper()
	o := opened(t, s, van())
	_, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: "12.6 at 30, relay out"})
	require.NoError(t, err)
	_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: o.Job}, Outcome: "abandoned"})
	require.NoError(t, err)
	return o.Job
}

// What edited rules would change is told before they are in force: totals, then each
// job and case; nothing moves.
func TestImpactOfEditedRules(t *testing.T) {
	s, write := shopRules(t)
	var jobs []string
	for range 3 {
		jobs = append(jobs, closedJob(t, s))
	}
	yes := "dead"
	s.o.Cases = func() ([]rulecase.Case, error) {
		return []rulecase.Case{{ID: "ours/dead", Facts: map[string]*string{"complaint": &yes}, Quiet: []string{"our_fan"}}}, nil
	}
	same, err := s.RulesImpact(t.Context(), ImpactRequest{}, nil)
	require.NoError(t, err)
	require.Zero(t, same.Totals.Changed)
	require.Equal(t, 3, same.Totals.Jobs)
	require.Empty(t, same.Jobs)

	write(cautiousRule)
	hash := s.inForce().book.Hash
	out, err := s.RulesImpact(t.Context(), ImpactRequest{}, nil)
	require.NoError(t, err)
	require.Equal(t, hash, out.From)
	require.Equal(t, 3, out.Totals.Changed)
	require.Equal(t, 3, out.Totals.NewCautions)
	require.Contains(t, out.Jobs[0].NewCautions, "Our fan starts by itself.")
	require.Contains(t, out.Text, "3 of 3 closed jobs change, 1 of 1 cases.\n")
	require.Contains(t, out.Text, "job "+jobs[0])
	require.Equal(t, "cannot be run", out.Cases[0].Was)
	require.Equal(t, "fails", out.Cases[0].Now)
	require.Equal(t, hash, s.inForce().book.Hash, "nothing is put in force")
	few, err := s.RulesImpact(t.Context(), ImpactRequest{Jobs: 1}, nil)
	require.NoError(t, err)
	require.Equal(t, 1, few.Totals.Jobs)

	write("rulez: []\n")
	_, err = s.RulesImpact(t.Context(), ImpactRequest{}, nil)
	require.Equal(t, Rules, kindOf(t, err))
}

// What is passed over because the ground is the same comes out the same when it is
// replayed after all.
func TestSameGroundIsTheSameJob(t *testing.T) {
	s, write := shopRules(t)
	job := closedJob(t, s)
	for i, rule := range []string{
		`{id: r, when: complaint == "weak", then: [{do: weigh, suspects: [coil.open], by: 9}], because: x, source: practice}`,
		`{id: r, when: complaint == "dead", then: [{do: weigh, suspects: [coil.open], by: 9}], because: x, source: practice}`,
		`{id: r, when: mounting == "underbody", then: [{do: forbid, tests: [battery_rest_volts]}], because: x, source: practice}`,
		`{id: r, when: load_kind == "motor", then: [{do: forbid, tests: ["relay_*"]}], because: x, source: practice}`,
	} {
		write("rules:\n  - " + rule + "\n")
		book, err := s.o.Reload()
		require.NoError(t, err)
		to, err := newBase(book)
		require.NoError(t, err)
		log := s.jobs[job].log
		was, err := courseOf(log, s.inForce())
		require.NoError(t, err)
		now, err := courseOf(log, to)
		require.NoError(t, err)
		if sameGround(log, s.inForce(), to) {
			require.Equal(t, was, now, rule)
			require.Contains(t, []int{0, 2}, i, "rule %s changes something", rule)
		} else {
			require.Contains(t, []int{1, 3}, i, fmt.Sprintf("rule %s changes nothing", rule))
		}
	}
}
