package diagnosis_test

import (
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/rulesets"
)

// said plays a few turns, always answering in the same way, and gives all that was said.
func said(t *testing.T, c *diagnosis.Case) string {
	t.Helper()
	out := ""
	number := 7.3
	for entry := 1; entry <= 3; entry++ {
		ps := c.Next(3)
		out += fmt.Sprintf("%v\n%v\n", c.Ranking(), c.Conclusion())
		if len(ps) == 0 {
			break
		}
		p := ps[0]
		out += fmt.Sprint(p.Test.ID, " ", p.Gain, " ", p.Outcomes, "\n")
		a := diagnosis.Answer{Number: &number}
		if of := p.Test.Answers(); len(of) > 0 {
			a = diagnosis.Answer{Choice: of[0]}
		}
		if p.Measure.Mode == rules.MinMax {
			a = diagnosis.Answer{MinMax: &[2]float64{number, number}}
		}
		require.NoError(t, c.Read(diagnosis.Reading{Entry: entry, Test: p.Test.ID, Measure: p.Measure, Setup: p.Setup, Answer: a}))
	}
	return out
}

// Jobs that start alike share what was worked out for the first of them. They say to the
// last digit what a job says that shares nothing, also when several go on at once.
func TestJobsThatStartAlikeAreTheSame(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	open := func(k *diagnosis.Knowledge) *diagnosis.Case {
		c, err := k.Open(diagnosis.Opening{Complaint: "weak", Facts: nothingKnown(), Seed: 11})
		require.NoError(t, err)
		return c
	}
	alone, err := diagnosis.Compile(book)
	require.NoError(t, err)
	want := said(t, open(alone))

	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	first := open(k)
	first.Next(1) // from now on there is something to share
	var wait sync.WaitGroup
	got := make([]string, 3)
	for i := range got {
		wait.Go(func() { got[i] = said(t, open(k)) })
	}
	wait.Wait()
	for _, g := range got {
		assert.Equal(t, want, g)
	}
	assert.Equal(t, want, said(t, first))
}
