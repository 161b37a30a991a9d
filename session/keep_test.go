package session

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
)

// keptIn is a service under a rulebook on the jobs in a folder.
func keptIn(t *testing.T, folder string, b *rules.Book) *Service {
	t.Helper()
	s, err := New(Options{Book: b, Journal: jobsIn(t, folder)})
	require.NoError(t, err)
	return s
}

// shopBook is the shipped rules under which a blown fuse is what the shop finds.
func shopBook(t *testing.T) *rules.Book {
	t.Helper()
	b, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()}, rules.Layer{Name: "shop", FS: fstest.MapFS{"shop.yaml": {Data: []byte(`rules:
  - id: shop_finds_fuses
    when: complaint == "dead"
    then: [{do: weigh, suspects: [feed_fuse.open], by: 20}]
    because: Here it is the fuse.
    source: practice
`)}}})
	require.NoError(t, err)
	return b
}

func TestAJobIsReplayedOnTheRulesItWasOpenedWith(t *testing.T) {
	folder := t.TempDir()
	ours := shopBook(t)
	s := keptIn(t, folder, ours)
	o := opened(t, s, van())
	told, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: "relay clicks"})
	require.NoError(t, err)
	require.Len(t, told.Entries, 1)

	s = keptIn(t, folder, book(t))
	v, err := s.Show(t.Context(), JobRequest{Job: o.Job})
	require.NoError(t, err)
	require.Equal(t, ours.Hash, v.Rules)
	require.Empty(t, v.Notes)
	require.Equal(t, told.Suspects, v.Reply.Suspects)
	more, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: "unsure"})
	require.NoError(t, err)
	require.Equal(t, told.Seq+1, more.Seq)
	v, err = s.Show(t.Context(), JobRequest{Job: o.Job})
	require.NoError(t, err)
	require.Equal(t, ours.Hash, v.Log[len(v.Log)-1].Rules, "a job goes on under the rules it was opened with")

	fresh := opened(t, s, van())
	require.NotEqual(t, o.Reply.Suspects, fresh.Reply.Suspects, "a new job is under the rules in force")
}

func TestAJobWhoseRulesAreLostSaysSo(t *testing.T) {
	s := keptIn(t, t.TempDir(), shopBook(t))
	o := opened(t, s, van())
	_, records, err := s.o.Journal.Open(o.Job)
	require.NoError(t, err)
	other := t.TempDir()
	_, err = jobsIn(t, other).Create(o.Job, records[0], nil)
	require.NoError(t, err)
	s = keptIn(t, other, book(t))
	v, err := s.Show(t.Context(), JobRequest{Job: o.Job})
	require.NoError(t, err)
	require.Len(t, v.Notes, 1)
	require.Contains(t, v.Notes[0], "not at hand")
}
