//go:build unix

package session

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/session/journal"
	"coilside/session/journal/pgtest"
)

// instanceAt is one more instance over a database.
func instanceAt(t *testing.T, where string) *Service {
	t.Helper()
	d, err := journal.OpenServer(where)
	require.NoError(t, err)
	s, err := New(Options{Book: book(t), Journal: d})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, d.Close()) })
	return s
}

// Two instances over one database serve every job as one instance would.
func TestInstances(t *testing.T) {
	cluster := pgtest.Start(t)
	for what, test := range map[string]func(t *testing.T, a, b *Service){
		"any serves any job":            instancesServeAnyJob,
		"keys and numbers hold at both": instancesKeepKeysAndNumbers,
		"a conversation goes on":        instancesGoOnTalking,
		"writers come in turn":          instancesPutWritersInTurn,
		"watchers are told":             instancesTellWatchers,
	} {
		t.Run(what, func(t *testing.T) {
			where := cluster.Address(t)
			test(t, instanceAt(t, where), instanceAt(t, where))
		})
	}
	t.Run("the database goes away", func(t *testing.T) {
		where := cluster.Address(t)
		theirDatabaseGoesAway(t, cluster, instanceAt(t, where), instanceAt(t, where))
	})
}

func shown(t *testing.T, s *Service, job string) string {
	t.Helper()
	v, err := s.Show(t.Context(), JobRequest{job})
	require.NoError(t, err)
	return asJSON(t, v)
}

func unsureOf(r Reply, job, key string) RecordRequest {
	return RecordRequest{Write: Write{Job: job, Key: key}, Test: r.Next.ID, Answer: Answer{Unsure: true}}
}

func instancesServeAnyJob(t *testing.T, a, b *Service) {
	o := opened(t, a, van())
	list, err := b.List(t.Context(), JobsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Jobs, 1)
	r := o.Reply
	for i := range 4 { // turn about
		s := []*Service{a, b}[i%2]
		if r.Next == nil {
			break
		}
		before := r.Seq
		r = answered(t, s, r, o.Job)
		require.Equal(t, before+1, r.Seq)
	}
	_, err = b.Retract(t.Context(), RetractRequest{Write: Write{Job: o.Job}, Entry: 2})
	require.NoError(t, err)
	require.Equal(t, shown(t, a, o.Job), shown(t, b, o.Job))
	for _, s := range []*Service{a, b} {
		replayed, err := s.Replay(t.Context(), o.Job)
		require.NoError(t, err)
		require.True(t, replayed.Same(), "%v then, %v now", replayed.Was, replayed.Now)
	}
	_, err = a.Close(t.Context(), CloseRequest{Write: Write{Job: o.Job}, Outcome: "abandoned"})
	require.NoError(t, err)
	_, err = b.Skip(t.Context(), SkipRequest{Write: Write{Job: o.Job}, Test: "coil_drop"})
	require.Equal(t, Closed, kindOf(t, err))
	list, err = b.List(t.Context(), JobsRequest{State: "closed"})
	require.NoError(t, err)
	require.Len(t, list.Jobs, 1)
	for range 2 {
		_, err = b.Show(t.Context(), JobRequest{"nowhere"})
		require.Equal(t, NotFound, kindOf(t, err))
	}
	require.Len(t, b.jobs, 1, "what is not there is not remembered")
}

func instancesKeepKeysAndNumbers(t *testing.T, a, b *Service) {
	request := van()
	request.Key = "k"
	o := opened(t, a, request)
	require.Equal(t, asJSON(t, o), asJSON(t, opened(t, b, request)), "the same key again, elsewhere")
	r, err := a.Record(t.Context(), unsureOf(o.Reply, o.Job, "r"))
	require.NoError(t, err)
	again, err := b.Record(t.Context(), unsureOf(o.Reply, o.Job, "r"))
	require.NoError(t, err)
	require.Equal(t, asJSON(t, r), asJSON(t, again))
	_, err = b.Record(t.Context(), RecordRequest{Write: Write{Job: o.Job, Key: "r"}, Test: o.Reply.Next.ID, Answer: Answer{Over: true}})
	require.Equal(t, Conflict, kindOf(t, err))
	late := unsureOf(r, o.Job, "")
	late.IfSeq = &o.Reply.Seq
	_, err = b.Record(t.Context(), late)
	require.Equal(t, Conflict, kindOf(t, err))
	require.ErrorContains(t, err, "it stands at 2, not 1")
}

// A number that was heard and read back at one instance is confirmed at the other.
func instancesGoOnTalking(t *testing.T, a, b *Service) {
	o := opened(t, a, van())
	tell := func(s *Service, text string) Reply {
		r, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: text, Spoken: true})
		require.NoError(t, err)
		return r
	}
	r := tell(a, "relay out, key on, switched on: 12.4 volts at 86")
	require.NotNil(t, r.Question, r.Text)
	require.Equal(t, 1, r.Seq, "it waits to be confirmed")
	r = tell(b, "yes")
	require.Equal(t, 2, r.Seq, r.Text)
	require.Equal(t, shown(t, a, o.Job), shown(t, b, o.Job))
	require.Nil(t, tell(a, "status").Question, "answered at the other")
}

// Clients at both instances write to one job as fast as they can; each has all of it
// written, in its own order.
func instancesPutWritersInTurn(t *testing.T, a, b *Service) {
	o := opened(t, a, van())
	const each = 8
	var all sync.WaitGroup
	for i, s := range []*Service{a, b, a, b} {
		all.Go(func() {
			for n := range each {
				_, err := s.Skip(t.Context(), SkipRequest{Write: Write{Job: o.Job}, Test: "coil_drop", Reason: fmt.Sprintf("%d %d", i, n)})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	require.Equal(t, shown(t, a, o.Job), shown(t, b, o.Job))
	v, err := a.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Len(t, v.Log, 1+4*each)
	next := make([]int, 4)
	for i, e := range v.Log[1:] {
		require.Equal(t, i+2, e.Entry)
		var client, n int
		_, err := fmt.Sscanf(e.Skipped.Reason, "%d %d", &client, &n)
		require.NoError(t, err)
		require.Equal(t, next[client], n)
		next[client]++
	}
}

func instancesTellWatchers(t *testing.T, a, b *Service) {
	o := opened(t, a, van())
	go b.FollowOthers(t.Context())
	one := 1
	seq, changes, stop, err := b.Subscribe(t.Context(), o.Job, &one)
	require.NoError(t, err)
	require.Equal(t, 1, seq)
	r := o.Reply
	for range 3 {
		r = answered(t, a, r, o.Job)
		require.Equal(t, r.Seq, seen(t, changes, r.Seq).Seq)
	}
	stop()
	r = answered(t, b, r, o.Job)
	seq, changes, stop, err = a.Subscribe(t.Context(), o.Job, &seq)
	require.NoError(t, err)
	defer stop()
	require.Equal(t, r.Seq, seq, "the other instance knows at once")
	require.Equal(t, Change{Job: o.Job, Seq: r.Seq, Kind: "reading", Entry: &r.Seq}, <-changes)
}

// seen waits for a change to a number.
func seen(t *testing.T, changes <-chan Change, seq int) Change {
	t.Helper()
	for late := time.After(30 * time.Second); ; {
		select {
		case c := <-changes:
			require.LessOrEqual(t, c.Seq, seq)
			if c.Seq == seq {
				return c
			}
		case <-late:
			require.Fail(t, "not told", "of %d", seq)
		}
	}
}

// While the database is away calls say so; once it is back nothing is missing, and watchers
// are told what they missed.
func theirDatabaseGoesAway(t *testing.T, cluster *pgtest.Cluster, a, b *Service) {
	go b.FollowOthers(t.Context())
	o := opened(t, a, van())
	_, changes, stop, err := b.Subscribe(t.Context(), o.Job, nil)
	require.NoError(t, err)
	defer stop()
	require.Eventually(t, func() bool { return b.o.Journal.Ready(t.Context()) == nil }, time.Minute, time.Millisecond)
	cluster.Stop(t)
	require.ErrorContains(t, b.o.Journal.Ready(t.Context()), "the database cannot be reached")
	_, err = a.Record(t.Context(), unsureOf(o.Reply, o.Job, "k"))
	require.Equal(t, Storage, kindOf(t, err))
	require.ErrorContains(t, err, "the database cannot be reached")
	_, err = b.List(t.Context(), JobsRequest{})
	require.Equal(t, Storage, kindOf(t, err))
	_, err = b.Show(t.Context(), JobRequest{"nowhere"})
	require.Equal(t, Storage, kindOf(t, err), "it may be there")
	cluster.Run(t)
	r, err := a.Record(t.Context(), unsureOf(o.Reply, o.Job, "k"))
	require.NoError(t, err)
	require.Equal(t, 2, r.Seq)
	require.Equal(t, 2, seen(t, changes, 2).Seq)
	require.Equal(t, shown(t, a, o.Job), shown(t, b, o.Job))
	require.Eventually(t, func() bool { return b.o.Journal.Ready(t.Context()) == nil }, time.Minute, 10*time.Millisecond)
}
