package session

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session/journal"
)

var shipped = sync.OnceValues(func() (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
})

func book(t testing.TB) *rules.Book {
	t.Helper()
	b, err := shipped()
	require.NoError(t, err)
	return b
}

func baseOf(t testing.TB) *base {
	t.Helper()
	b, err := newBase(book(t))
	require.NoError(t, err)
	return b
}

// serviceIn is a service on the jobs in a folder, with a clock and ids of its own.
func serviceIn(t testing.TB, folder string) *Service {
	t.Helper()
	d := jobsIn(t, folder)
	now := time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)
	ids := 0
	s, err := New(Options{Book: book(t), Journal: d, Clock: func() time.Time { now = now.Add(time.Second); return now },
		IDs: func() string { ids++; return fmt.Sprintf("job-%d", ids) }})
	require.NoError(t, err)
	return s
}

// running are the folders that a test's services have open.
var running sync.Map

// jobsIn opens a folder of jobs for one program after another: who had it before
// has stopped.
func jobsIn(t testing.TB, folder string) *journal.Store {
	t.Helper()
	if before, ok := running.LoadAndDelete(folder); ok {
		require.NoError(t, before.(*journal.Store).Close())
	}
	d, err := journal.OpenFolder(folder)
	require.NoError(t, err)
	running.Store(folder, d)
	t.Cleanup(func() {
		if last, ok := running.LoadAndDelete(folder); ok {
			require.NoError(t, last.(*journal.Store).Close())
		}
	})
	return d
}

func opened(t testing.TB, s *Service, o OpenRequest) Opened {
	t.Helper()
	out, err := s.Open(t.Context(), o)
	require.NoError(t, err)
	return out
}

// answered records the answer to whatever test is proposed: healthy where it is a
// number.
func answered(t testing.TB, s *Service, r Reply, job string) Reply {
	t.Helper()
	require.NotNil(t, r.Next)
	a := Answer{Unsure: true}
	switch r.Next.Answers.Kind {
	case "number":
		a = Answer{Number: number(12.4)}
	case "choice":
		a = Answer{Choice: r.Next.Answers.Of[0]}
	}
	out, err := s.Record(t.Context(), RecordRequest{Write: Write{Job: job}, Test: r.Next.ID, Answer: a})
	require.NoError(t, err)
	return out
}

func kindOf(t testing.TB, err error) Kind {
	t.Helper()
	var e *Error
	require.True(t, errors.As(err, &e), "%v", err)
	return e.Kind
}

func asJSON(t testing.TB, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	require.NoError(t, err)
	return string(text)
}

func TestAJobIsReplayedFromItsLog(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	o := opened(t, s, van())
	r := answered(t, s, o.Reply, o.Job)
	r = answered(t, s, r, o.Job)
	_, err := s.Skip(t.Context(), SkipRequest{Write: Write{Job: o.Job}, Test: "coil_drop", Reason: "no access"})
	require.NoError(t, err)
	_, err = s.Retract(t.Context(), RetractRequest{Write: Write{Job: o.Job}, Entry: *r.Entry})
	require.NoError(t, err)
	before, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)

	again := serviceIn(t, folder)
	after, err := again.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Equal(t, asJSON(t, before.Log), asJSON(t, after.Log))
	require.Equal(t, asJSON(t, before.Reply.Suspects), asJSON(t, after.Reply.Suspects), "a replay gives the same ranking byte for byte")
	require.Equal(t, asJSON(t, before.Reply.Next), asJSON(t, after.Reply.Next))
	require.Empty(t, after.Notes)
}

func TestEveryEntryTellsWhatWasShown(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	r := answered(t, s, o.Reply, o.Job)
	v, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Len(t, v.Log, 2)
	for i, e := range v.Log {
		require.Equal(t, i+1, e.Entry)
		require.Equal(t, book(t).Hash, e.Rules)
		require.Equal(t, Version, e.Engine)
		require.NotEmpty(t, e.Shown)
		require.False(t, e.Time.IsZero())
	}
	require.Equal(t, r.Suspects[0].Suspect, v.Log[1].Shown[0].Suspect)
	require.Equal(t, r.Suspects[0].Probability, v.Log[1].Shown[0].Probability)
}

func TestTakingBackLeavesWhatWasBefore(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	first := answered(t, s, o.Reply, o.Job)
	second := answered(t, s, first, o.Job)
	require.NotEqual(t, asJSON(t, first.Suspects), asJSON(t, second.Suspects))
	back, err := s.Retract(t.Context(), RetractRequest{Write: Write{Job: o.Job}, Entry: *second.Entry})
	require.NoError(t, err)
	for i, s := range back.Suspects {
		require.Equal(t, first.Suspects[i].Suspect, s.Suspect)
		// The draws are made anew after a retraction, so the last digits may differ.
		require.InDelta(t, first.Suspects[i].Probability, s.Probability, 0.005)
	}
	for entry, words := range map[int]string{
		*second.Entry: "taken back already", 1: "opened the job", 99: "there is no entry 99", *back.Entry: "cannot be taken back", 0: "there is no entry 0",
	} {
		_, err := s.Retract(t.Context(), RetractRequest{Write: Write{Job: o.Job}, Entry: entry})
		require.ErrorContains(t, err, words)
	}
}

func TestTheSameKeyWritesOnce(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	request := van()
	request.Key = "open-7"
	o := opened(t, s, request)
	require.Equal(t, asJSON(t, o), asJSON(t, opened(t, s, request)))
	record := RecordRequest{Write: Write{Job: o.Job, Key: "r1"}, Test: o.Reply.Next.ID, Answer: Answer{Unsure: true}}
	first, err := s.Record(t.Context(), record)
	require.NoError(t, err)
	again, err := s.Record(t.Context(), record)
	require.NoError(t, err)
	require.Equal(t, asJSON(t, first), asJSON(t, again))

	restarted := serviceIn(t, folder)
	again, err = restarted.Record(t.Context(), record)
	require.NoError(t, err)
	require.Equal(t, asJSON(t, first), asJSON(t, again))
	require.Equal(t, asJSON(t, o), asJSON(t, opened(t, restarted, request)))
	v, err := restarted.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Len(t, v.Log, 2)

	record.Answer = Answer{Number: number(3)}
	_, err = restarted.Record(t.Context(), record)
	require.Equal(t, Conflict, kindOf(t, err))
	request.Label = "another"
	_, err = restarted.Open(t.Context(), request)
	require.Equal(t, Conflict, kindOf(t, err))
}

func TestIfSeqRefusesWhenTheJobHasMovedOn(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	at := o.Reply.Seq
	r, err := s.Record(t.Context(), RecordRequest{Write: Write{Job: o.Job, IfSeq: &at}, Test: o.Reply.Next.ID, Answer: Answer{Unsure: true}})
	require.NoError(t, err)
	_, err = s.Record(t.Context(), RecordRequest{Write: Write{Job: o.Job, IfSeq: &at}, Test: r.Next.ID, Answer: Answer{Unsure: true}})
	require.Equal(t, Conflict, kindOf(t, err))
	require.ErrorContains(t, err, "it stands at 2, not 1")
}

func TestAClosedJobTakesNothing(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	_, err := s.Close(t.Context(), CloseRequest{Write: Write{Job: o.Job}, Outcome: "fixd"})
	require.ErrorContains(t, err, `did you mean "fixed"?`)
	r, err := s.Close(t.Context(), CloseRequest{Write: Write{Job: o.Job}, Outcome: "unproven"})
	require.NoError(t, err)
	require.Nil(t, r.Next)
	_, err = s.Tell(t.Context(), TellRequest{Write: Write{Job: o.Job}, Text: "12.4"})
	require.Equal(t, Closed, kindOf(t, err))
	_, err = s.Record(t.Context(), RecordRequest{Write: Write{Job: o.Job}, Test: o.Reply.Next.ID, Answer: Answer{Unsure: true}})
	require.Equal(t, Closed, kindOf(t, err))
	n, err := s.Next(t.Context(), ListRequest{Job: o.Job})
	require.NoError(t, err)
	require.Empty(t, n.Tests)
	list, err := s.List(t.Context(), JobsRequest{State: "closed"})
	require.NoError(t, err)
	require.Len(t, list.Jobs, 1)
	require.Equal(t, "unproven", list.Jobs[0].Outcome)
}

// Each refusal leaves the job as it was: its log, its file and its ranking.
func TestBadCallsLeaveTheJobUnharmed(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	o := opened(t, s, van())
	view := func() string {
		v, err := s.Show(t.Context(), JobRequest{o.Job})
		require.NoError(t, err)
		return asJSON(t, v)
	}
	records := func() [][]byte {
		_, lines, err := s.o.Journal.Open(o.Job)
		require.NoError(t, err)
		return lines
	}
	before, file := view(), records()
	w := Write{Job: o.Job}
	volts := func(at string, v float64) RecordRequest {
		return RecordRequest{Write: w, Measure: &rules.Measure{Mode: rules.VoltsDC, Red: at, Black: "battery.negative"},
			Setup: &rules.Setup{Relay: "out", Key: "on", Command: "on"}, Answer: Answer{Number: &v}}
	}
	with := func(r RecordRequest, change func(*RecordRequest)) RecordRequest { change(&r); return r }
	live := with(volts("socket.30", 4700), func(r *RecordRequest) { r.Measure.Mode = rules.Ohms })
	for name, c := range map[string]struct {
		r     RecordRequest
		kind  Kind
		words string
	}{
		"no job":                        {RecordRequest{Test: "coil_drop"}, Invalid, "job is missing"},
		"unknown job":                   {RecordRequest{Write: Write{Job: "../../etc"}}, NotFound, "there is no job"},
		"nothing measured":              {RecordRequest{Write: w}, Invalid, "say what was measured"},
		"misspelt test":                 {RecordRequest{Write: w, Test: "coil_dorp", Answer: Answer{Unsure: true}}, NotFound, `did you mean "coil_drop"?`},
		"wrong kind":                    {RecordRequest{Write: w, Test: "coil_drop", Answer: Answer{Choice: "click"}}, Invalid, "this test takes a number of volts"},
		"both test and measure":         {with(volts("socket.86", 1), func(r *RecordRequest) { r.Test = "coil_drop" }), Invalid, "not both"},
		"no setup":                      {with(volts("socket.86", 1), func(r *RecordRequest) { r.Setup = nil }), Invalid, "setup is missing"},
		"setup without key":             {with(volts("socket.86", 1), func(r *RecordRequest) { r.Setup.Key = "" }), Invalid, "setup.key is missing; it takes on or off"},
		"setup out of words":            {with(volts("socket.86", 1), func(r *RecordRequest) { r.Setup.Relay = "ot" }), Invalid, `did you mean "out"?`},
		"coil set in the socket":        {with(volts("socket.86", 1), func(r *RecordRequest) { r.Setup.Coil = "rest" }), Invalid, "relay bench only"},
		"unknown mode":                  {with(volts("socket.86", 1), func(r *RecordRequest) { r.Measure.Mode = "volt_dc" }), Invalid, `did you mean "volts_dc"?`},
		"unknown place":                 {volts("sockt.86", 1), Invalid, `did you mean "socket.86"?`},
		"a terminal this circuit lacks": {volts("socket.87a", 1), Invalid, "no place socket.87a"},
		"a place out of reach":          {volts("back.86", 1), Invalid, "relay in"},
		"both leads in one place":       {volts("battery.negative", 0), Invalid, "both leads"},
		"no volts like that":            {volts("socket.86", 124), Invalid, "124 V cannot be on a 12 V vehicle"},
		"negative ohms":                 {with(volts("socket.86", -4), func(r *RecordRequest) { r.Measure.Mode = rules.Ohms }), Invalid, "below zero"},
		"ohms on a live place":          {live, Unsafe, "may be live"},
		"long key":                      {RecordRequest{Write: Write{Job: o.Job, Key: strings.Repeat("k", 201)}}, Limit, "key is longer"},
	} {
		_, err := s.Record(t.Context(), c.r)
		require.Equal(t, c.kind, kindOf(t, err), "%s: %v", name, err)
		require.ErrorContains(t, err, c.words, name)
		require.Equal(t, before, view(), name)
		require.Equal(t, file, records(), name)
	}
}

func contentOf(t testing.TB, path string) string {
	t.Helper()
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(content)
}

func TestBadOpeningsMakeNoJob(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	o := van()
	o.Circuit.PowerEnters = "87a"
	_, err := s.Open(t.Context(), o)
	require.Equal(t, Invalid, kindOf(t, err))
	_, err = s.Open(t.Context(), OpenRequest{Complaint: "dead", Ruleset: "rely"})
	require.Equal(t, NotFound, kindOf(t, err))
	heads, err := s.o.Journal.Heads()
	require.NoError(t, err)
	require.Empty(t, heads)
	list, err := s.List(t.Context(), JobsRequest{})
	require.NoError(t, err)
	require.Empty(t, list.Jobs)
}

func TestADamagedLogIsSaidAndLeftAlone(t *testing.T) {
	folder := t.TempDir()
	s := serviceIn(t, folder)
	o, other := opened(t, s, van()), opened(t, s, van())
	answered(t, s, o.Reply, o.Job)
	require.NoError(t, s.o.Journal.Close())
	path := s.o.Journal.Path()
	content := []byte(contentOf(t, path))
	at := bytes.LastIndex(content, []byte(`"reading"`))
	content[at+1] ^= 1
	require.NoError(t, os.WriteFile(path, content, 0o600))

	again := serviceIn(t, folder)
	_, err := again.Show(t.Context(), JobRequest{o.Job})
	require.ErrorContains(t, err, "record 2 of job "+o.Job+" is damaged")
	var e *Error
	require.True(t, errors.As(err, &e))
	require.Equal(t, 2, e.Line)
	list, err := again.List(t.Context(), JobsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Jobs, 2)
	states := map[string]string{}
	for _, j := range list.Jobs {
		states[j.Job] = j.State
	}
	require.Equal(t, map[string]string{o.Job: "damaged", other.Job: "open"}, states)
	_, err = again.Show(t.Context(), JobRequest{other.Job})
	require.NoError(t, err, "the others go on")
}

func TestTwoProgramsOnOneFolder(t *testing.T) {
	folder := t.TempDir()
	serviceIn(t, folder)
	_, err := journal.OpenFolder(folder)
	require.ErrorContains(t, err, "another program works on the jobs in "+folder)
}

// What was written to a log behind the service's back is taken up by who writes next.
func TestALogChangedFromOutside(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	file, lines, err := s.o.Journal.Open(o.Job)
	require.NoError(t, err)
	outside := bytes.Replace(lines[0], []byte(`"entry":1,"kind":"opened"`), []byte(`"entry":2,"kind":"stands"`), 1)
	require.NotEqual(t, string(lines[0]), string(outside))
	require.NoError(t, file.Append(outside, nil))
	next := RecordRequest{Write: Write{Job: o.Job}, Test: o.Reply.Next.ID, Answer: Answer{Unsure: true}}
	r, err := s.Record(t.Context(), next)
	require.NoError(t, err)
	require.Equal(t, 3, r.Seq)
	v, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Len(t, v.Log, 3)
	require.Equal(t, "stands", v.Log[1].Kind)
}

func TestWatchersAreToldAndNeverHoldUp(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	zero, one := 0, 1
	seq, late, stopLate, err := s.Subscribe(t.Context(), o.Job, &zero)
	require.NoError(t, err)
	require.Equal(t, 1, seq)
	require.Equal(t, 1, (<-late).Seq, "already past from: told at once")
	_, fresh, stopFresh, err := s.Subscribe(t.Context(), o.Job, &one)
	require.NoError(t, err)
	r := o.Reply
	for range 3 {
		r = answered(t, s, r, o.Job)
		if r.Next == nil {
			break
		}
	}
	change := <-fresh
	require.Equal(t, r.Seq, change.Seq, "merged into the newest")
	require.Equal(t, "reading", change.Kind)
	require.Equal(t, r.Seq, (<-late).Seq)
	stopFresh()
	stopFresh()
	stopLate()
	_, open := <-fresh
	require.False(t, open)
	_, _, _, err = s.Subscribe(t.Context(), "none", nil)
	require.Equal(t, NotFound, kindOf(t, err))
	far := 99
	_, _, _, err = s.Subscribe(t.Context(), o.Job, &far)
	require.Equal(t, Invalid, kindOf(t, err))
}

func TestCallsOnOneJobAreDoneOneAfterTheOther(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	var wait sync.WaitGroup
	for i := range 8 {
		wait.Go(func() {
			_, err := s.Record(context.Background(), RecordRequest{Write: Write{Job: o.Job, Key: fmt.Sprint(i)}, Test: o.Reply.Next.ID, Answer: Answer{Unsure: true}})
			if err != nil {
				t.Error(err)
			}
			_, _ = s.Next(context.Background(), ListRequest{Job: o.Job})
			_, _ = s.List(context.Background(), JobsRequest{})
		})
	}
	wait.Wait()
	v, err := s.Show(t.Context(), JobRequest{o.Job})
	require.NoError(t, err)
	require.Len(t, v.Log, 9)
	for i, e := range v.Log {
		require.Equal(t, i+1, e.Entry)
	}
}

func TestAGoneContextIsNoWork(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := s.Record(ctx, RecordRequest{Write: Write{Job: o.Job}, Test: o.Reply.Next.ID, Answer: Answer{Unsure: true}})
	require.ErrorIs(t, err, context.Canceled)
	_, err = s.Open(ctx, van())
	require.ErrorIs(t, err, context.Canceled)
}

func TestExplainNamesExactlyOneThing(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	o := opened(t, s, van())
	r := toldTo(t, s, o.Job, "no click, relay in, key on, switched on")
	for _, bad := range []ExplainRequest{{}, {Suspect: "coil.open", Test: "coil_drop"}, {Suspect: "coil.opn"}, {Test: "coil_dorp"}, {Entry: number99()}} {
		bad.Job = o.Job
		_, err := s.Explain(t.Context(), bad)
		require.Error(t, err)
	}
	x, err := s.Explain(t.Context(), ExplainRequest{Job: o.Job, Suspect: r.Suspects[0].Suspect})
	require.NoError(t, err)
	require.NotNil(t, x.Probability)
	x, err = s.Explain(t.Context(), ExplainRequest{Job: o.Job, Entry: r.Entry})
	require.NoError(t, err)
	require.NotEmpty(t, x.Reasons)
	x, err = s.Explain(t.Context(), ExplainRequest{Job: o.Job, Test: "coil_drop"})
	require.NoError(t, err)
	require.NotEmpty(t, x.Text)
}

func number99() *int { n := 99; return &n }
