package session

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Level, seed and lines are the whole practice: one that was kept and one that is said
// anew answer the same, and what cannot be is refused by its field.
func TestPracticeOverTheCalls(t *testing.T) {
	seed := uint64(3)
	lines := []string{"ohms 85 to 86 on the bench", "does it click?", "give up"}
	kept, anew := serviceIn(t, t.TempDir()), serviceIn(t, t.TempDir())
	begun, err := kept.PracticeStart(t.Context(), PracticeRequest{Level: "easy", Seed: &seed})
	require.NoError(t, err)
	assert.NotEmpty(t, begun.Complaint)
	var last PracticeSaid
	for i := range lines {
		last, err = kept.PracticeSay(t.Context(), PracticeLines{Level: "easy", Seed: seed, Lines: lines[:i+1]})
		require.NoError(t, err)
	}
	assert.True(t, last.Ended)
	same, err := anew.PracticeSay(t.Context(), PracticeLines{Level: "easy", Seed: seed, Lines: lines})
	require.NoError(t, err)
	assert.Equal(t, last, same)
	assert.Positive(t, last.Minute)
	r, err := kept.PracticeReview(t.Context(), PracticeLines{Level: "easy", Seed: seed, Lines: lines})
	require.NoError(t, err)
	other, err := anew.PracticeReview(t.Context(), PracticeLines{Level: "easy", Seed: seed, Lines: lines})
	require.NoError(t, err)
	assert.Equal(t, r, other)
	assert.Len(t, r.Yours, 2)
	assert.True(t, r.BestFound)

	for field, call := range map[string]func() error{
		"level": func() error {
			_, err := kept.PracticeStart(t.Context(), PracticeRequest{Level: "heard"})
			return err
		},
		"lines": func() error {
			_, err := kept.PracticeReview(t.Context(), PracticeLines{Level: "easy", Seed: seed, Lines: lines[:1]})
			return err
		},
	} {
		var wrong *Error
		require.ErrorAs(t, call(), &wrong)
		assert.Equal(t, field, wrong.Field)
		assert.Equal(t, Invalid, wrong.Kind)
	}
	var wrong *Error
	_, err = kept.PracticeSay(t.Context(), PracticeLines{Seed: seed})
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, "lines", wrong.Field)
	_, err = kept.PracticeSay(t.Context(), PracticeLines{Seed: seed, Lines: make([]string, mostLines+1)})
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, Limit, wrong.Kind)
}
