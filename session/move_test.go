package session

import (
	"context"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
)

// shopFolder is a service on jobs on disk under the shipped rules and a shop's folder.
func shopFolder(t *testing.T, jobs, shop string) *Service {
	t.Helper()
	load := func() (*rules.Book, error) {
		layers := []rules.Layer{{Name: "relay", FS: rulesets.Relay()}}
		if files, err := os.ReadDir(shop); err == nil && len(files) > 0 {
			layers = append(layers, rules.Layer{Name: "shop", FS: os.DirFS(shop)})
		}
		return rules.Load(layers...)
	}
	first, err := load()
	require.NoError(t, err)
	s, err := New(Options{Book: first, Reload: load, Journal: jobsIn(t, jobs)})
	require.NoError(t, err)
	return s
}

const cautiousRule = `rules:
  - id: our_fan
    when: complaint == "dead"
    then:
      - {do: caution, say: Our fan starts by itself.}
      - {do: weigh, suspects: [load_ground.open], by: 40}
    because: On our vans the ground strap goes first.
    source: practice
`

// A move weighs the whole job anew, says what that changes, and survives a restart; the
// same key moves nothing twice.
func TestAnOpenJobIsMovedToOtherRules(t *testing.T) {
	jobs, shop := t.TempDir(), t.TempDir()
	s := shopFolder(t, jobs, shop)
	o := opened(t, s, van())
	answered(t, s, o.Reply, o.Job)
	before, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(shop, "ours.yaml"), []byte(cautiousRule), 0o600))
	list, err := s.RulesReload(t.Context(), struct{}{})
	require.NoError(t, err)
	still, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Equal(t, before.Reply.Suspects, still.Reply.Suspects, "an open job stays on its rules until it is told to move")

	request := MoveRulesRequest{Write: Write{Job: o.Job, Key: "once"}}
	moved, err := s.MoveRules(t.Context(), request)
	require.NoError(t, err)
	require.Equal(t, before.Rules, moved.From)
	require.Equal(t, list.Rulesets[0].Hash, moved.To)
	require.Equal(t, []string{"Our fan starts by itself."}, moved.Changed.NewCautions)
	require.Empty(t, moved.Changed.LostCautions)
	require.Contains(t, moved.Changed.Words, "rules that fire now: our_fan")
	require.Contains(t, moved.Reply.Text, "New caution: Our fan starts by itself.")
	require.Contains(t, moved.Reply.Cautions, "Our fan starts by itself.")
	require.Greater(t, moved.Changed.Now.share("load_ground.open"), moved.Changed.Was.share("load_ground.open"))
	again, err := s.MoveRules(t.Context(), request)
	require.NoError(t, err)
	require.Equal(t, asJSON(t, moved), asJSON(t, again))

	after, err := shopFolder(t, jobs, shop).Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Equal(t, before.Rules, after.Rules)
	require.Equal(t, moved.To, after.RulesNow)
	require.Equal(t, asJSON(t, moved.Reply.Suspects), asJSON(t, after.Reply.Suspects))
}

func (s Standing) share(suspect string) float64 {
	for _, x := range s.Suspects {
		if x.Suspect == suspect {
			return x.Probability
		}
	}
	return 0
}

// A move is undone by moving back, to the very ranking there was; a closed job does not move.
func TestAMovedJobIsMovedBack(t *testing.T) {
	s, write := shopRules(t)
	o := opened(t, s, van())
	first := answered(t, s, o.Reply, o.Job)
	hash := s.inForce().book.Hash
	write(cautiousRule)
	_, err := s.RulesReload(t.Context(), struct{}{})
	require.NoError(t, err)
	moved, err := s.MoveRules(t.Context(), MoveRulesRequest{Write: Write{Job: o.Job}})
	require.NoError(t, err)
	_, err = s.Retract(t.Context(), RetractRequest{Write: Write{Job: o.Job}, Entry: *moved.Reply.Entry})
	require.ErrorContains(t, err, "move it back instead")
	back, err := s.MoveRules(t.Context(), MoveRulesRequest{Write: Write{Job: o.Job}, Ruleset: hash})
	require.NoError(t, err)
	require.Equal(t, []string{"Our fan starts by itself."}, back.Changed.LostCautions)
	require.Equal(t, asJSON(t, first.Suspects), asJSON(t, back.Reply.Suspects))
	nothing, err := s.MoveRules(t.Context(), MoveRulesRequest{Write: Write{Job: o.Job}, Ruleset: hash})
	require.NoError(t, err)
	require.Empty(t, nothing.Changed.Words)
	require.Nil(t, nothing.Reply.Entry)
	_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: o.Job}, Outcome: "abandoned"})
	require.NoError(t, err)
	_, err = s.MoveRules(t.Context(), MoveRulesRequest{Write: Write{Job: o.Job}})
	require.Equal(t, Closed, kindOf(t, err))
	_, err = s.MoveRules(t.Context(), MoveRulesRequest{Write: Write{Job: o.Job}, Ruleset: "shpo"})
	require.Equal(t, NotFound, kindOf(t, err))
}

const lookTest = `tests:
  - id: our_look
    measure: {mode: ask, question: "Does the strap look green?"}
    setup: {relay: in, key: "off", command: "off"}
    of: ["yes", "no"]
    say: Look at the strap.
    why: It corrodes.
    words: strap
    minutes: [1, 1, 1]
    tool: none
    expect:
      - {suspects: [load_ground.resistive], answers: {"yes": 0.8, "no": 0.2}}
      - {answers: {"yes": 0.1, "no": 0.9}}
`

// A job with an entry that the other rules cannot read stays as it is, and the refusal
// names the entry.
func TestAJobThatDoesNotFitStays(t *testing.T) {
	s, write := shopRules(t)
	write(lookTest)
	_, err := s.RulesReload(t.Context(), struct{}{})
	require.NoError(t, err)
	o := opened(t, s, van())
	r, err := s.Record(t.Context(), RecordRequest{Write: Write{Job: o.Job}, Test: "our_look", Answer: Answer{Choice: "yes"}})
	require.NoError(t, err)
	write(goodRule)
	_, err = s.RulesReload(t.Context(), struct{}{})
	require.NoError(t, err)
	_, err = s.MoveRules(t.Context(), MoveRulesRequest{Write: Write{Job: o.Job}})
	require.Equal(t, Conflict, kindOf(t, err))
	require.ErrorContains(t, err, "entry 2")
	require.ErrorContains(t, err, "our_look")
	now, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Equal(t, r.Seq, now.Seq)
	require.Equal(t, asJSON(t, r.Suspects), asJSON(t, now.Reply.Suspects))
}

// What keeps the folders from being in force is told to whoever asks, until it is mended.
func TestARefusedReloadIsTold(t *testing.T) {
	s, write := shopRules(t)
	good := s.inForce().book.Hash
	write("rules:\n  - id: x\n    when: mountng == \"outside\"\n")
	_, err := s.RulesReload(t.Context(), struct{}{})
	require.Error(t, err)
	list, err := s.RulesList(t.Context(), struct{}{})
	require.NoError(t, err)
	require.Equal(t, good, list.Rulesets[0].Hash)
	require.NotNil(t, list.Refused)
	require.Equal(t, 3, list.Refused.Problems[len(list.Refused.Problems)-1].Line)
	opened(t, s, van())
	write(goodRule)
	list, err = s.RulesReload(t.Context(), struct{}{})
	require.NoError(t, err)
	require.Nil(t, list.Refused)
}

// A change of files is taken up once the files stand still, and a bad one leaves the
// last good rules in force.
func TestRulesFollowTheirFiles(t *testing.T) {
	s, write := shopRules(t)
	before := s.inForce().book.Hash
	var stamp atomic.Value
	stamp.Store("a")
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		s.WatchRules(ctx, "a", func() string { return stamp.Load().(string) }, time.Millisecond) //nolint:forcetypeassert // only texts are stored
		close(ended)
	}()
	write(goodRule)
	stamp.Store("b")
	require.Eventually(t, func() bool { return s.inForce().book.Hash != before }, 10*time.Second, time.Millisecond)
	good := s.inForce().book.Hash
	s.reloading.Lock() // no reload reads the files while they are written
	write("rulez: []\n")
	s.reloading.Unlock()
	stamp.Store("c")
	require.Eventually(t, func() bool { return s.rulesList().Refused != nil }, 10*time.Second, time.Millisecond)
	require.Equal(t, good, s.inForce().book.Hash)
	stop()
	<-ended
}
