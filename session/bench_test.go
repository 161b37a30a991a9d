package session

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// BenchmarkOpen opens a common job, wholly told: log on disk, ranking, next test
// and reply.
func BenchmarkOpen(b *testing.B) { benchmarkOpen(b, van()) }

// BenchmarkOpenUnknown opens a job of which nothing but the complaint is known.
func BenchmarkOpenUnknown(b *testing.B) { benchmarkOpen(b, OpenRequest{Complaint: "dead"}) }

func benchmarkOpen(b *testing.B, o OpenRequest) {
	s := benchService(b)
	b.ReportAllocs()
	for b.Loop() {
		_, err := s.Open(b.Context(), o)
		require.NoError(b, err)
	}
}

// BenchmarkRecord takes one reading to a new ranking, next test and reply, on disk.
func BenchmarkRecord(b *testing.B) {
	s := benchService(b)
	o, err := s.Open(b.Context(), van())
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		r, err := s.Record(b.Context(), RecordRequest{Write: Write{Job: o.Job}, Test: o.Reply.Next.ID, Answer: Answer{Number: number(12.4)}})
		require.NoError(b, err)
		b.StopTimer()
		_, err = s.Retract(b.Context(), RetractRequest{Write: Write{Job: o.Job}, Entry: *r.Entry})
		require.NoError(b, err)
		b.StartTimer()
	}
}

func benchService(b *testing.B) *Service {
	s, err := New(Options{Book: book(b), Journal: jobsIn(b, b.TempDir())})
	require.NoError(b, err)
	return s
}
