package session

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/session/experience"
)

// mended plays a job about a fault that was mended, proves it and closes it; with short, the
// job is closed right after the complaint was said to be gone.
func mended(t *testing.T, s *Service, fault, complaint string, short bool) string {
	t.Helper()
	k, err := diagnosis.Compile(book(t))
	require.NoError(t, err)
	for seed := range uint64(200) {
		v, is := complaining(book(t), k.Model(), fault, seed)
		if v == nil || is != complaint {
			continue
		}
		job := openedFor(t, s, v, is)
		_, err = v.Repair(fault)
		require.NoError(t, err)
		outcome := "unproven"
		if short {
			_, err = s.Repair(t.Context(), RepairRequest{Write: Write{Job: job}, Suspect: fault, Action: "mended", Result: "gone"})
			require.NoError(t, err)
		} else if proven, tests := proved(t, s, v, job, fault); proven {
			outcome = "fixed"
		} else {
			t.Logf("not proven by %v", tests)
			continue
		}
		_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: job}, Outcome: outcome})
		require.NoError(t, err)
		return job
	}
	t.Fatalf("no vehicle with %s complains of %s", fault, complaint)
	return ""
}

// Only proven repairs count: an intermittent fault whose complaint is said to be gone, but
// which was not provoked since, counts for nothing. What counts is shown and changes no job until it is
// switched on; then new jobs say so among their reasons.
func TestOnlyProvenRepairsCount(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	counts := mended(t, s, "load_ground.open", "dead", false)
	counts2 := mended(t, s, "load_ground.open", "dead", false)
	said := mended(t, s, "terminal_87.loose", "intermittent", true)
	driven := mended(t, s, "terminal_87.loose", "intermittent", false)

	out, err := s.RulesExperience(t.Context(), ExperienceRequest{})
	require.NoError(t, err)
	require.False(t, out.On)
	require.Equal(t, 3, out.Jobs, "%v count: %v", []string{counts, counts2, driven}, out.NotCounted)
	require.Equal(t, []string{said}, []string{out.NotCounted[0].Job})
	require.Len(t, out.NotCounted, 1)
	total := 0
	for _, g := range out.Groups {
		require.NotEmpty(t, g.Suspects)
		for _, x := range g.Suspects {
			require.Greater(t, x.After, x.Before)
			total += x.Repairs
		}
	}
	require.Equal(t, 3, total)

	o := van()
	i := slices.IndexFunc(out.Groups, func(g experience.ExperienceGroup) bool { return g.Complaint == "dead" })
	o.Circuit.Load.Kind = out.Groups[i].LoadKind
	plain := opened(t, s, o)
	explain := func(s *Service, job string) Explanation {
		why, err := s.Explain(t.Context(), ExplainRequest{Job: job, Suspect: "load_ground.open"})
		require.NoError(t, err)
		return why
	}
	before := explain(s, plain.Job)
	_, err = s.RulesExperience(t.Context(), ExperienceRequest{Worth: new(int)})
	require.Equal(t, Invalid, kindOf(t, err))
	with, err := New(Options{Book: book(t), Journal: jobsIn(t, folder), Experience: true})
	require.NoError(t, err)
	list, err := with.RulesList(t.Context(), struct{}{})
	require.NoError(t, err)
	require.Equal(t, 3, list.Experience.Jobs)
	require.Equal(t, "relay", list.Rulesets[0].Name)
	sharper := opened(t, with, o)
	after := explain(with, sharper.Job)
	require.NotContains(t, before.Text, "Proven repairs here")
	require.Contains(t, after.Text, "Proven repairs here")
	require.Greater(t, *after.Probability, *before.Probability)
}
