package engine

import (
	"testing"

	"github.com/expr-lang/expr"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// TestConditionsEqualTheirLanguage holds our closures, and the conditions taken apart that a
// Memory fires by, against the virtual machine of the expression language itself, with every
// fact known: there the three-valued meaning must be the two-valued one.
func TestConditionsEqualTheirLanguage(t *testing.T) {
	compared := map[rules.Truth]int{}
	for seed := range uint64(trials) {
		g := newGenerator(seed + 10_000)
		made := g.book(8)
		book, err := loadText(made.text)
		if err != nil {
			continue // a loop; the property is about conditions
		}
		env := map[string]any{"limit": 2.5, "known": func(any) bool { return true }}
		frame, memory := book.NewFrame(), New(book)
		for range 5 {
			for _, f := range made.facts {
				v := g.input(f)
				fact, _ := book.Fact(f.id)
				frame.Put(fact, v.Cell())
				require.NoError(t, memory.Give(1, f.id, v))
				env[f.id] = plain(v)
			}
			for _, r := range book.Rules {
				want := machine(t, r.When.Source(), env)
				got := r.When.Truth(&frame)
				require.Equal(t, want, got == rules.True, "seed %d: %s with %v", seed, r.When.Source(), env)
				require.NotEqual(t, rules.Unknown, got, "seed %d: %s", seed, r.When.Source())
				require.Equal(t, want, memory.Fires(r.ID), "taken apart, seed %d: %s with %v", seed, r.When.Source(), env)
				compared[got]++
				compareSets(t, r, &frame, env)
			}
		}
	}
	t.Logf("compared: %d true, %d false", compared[rules.True], compared[rules.False])
	require.Greater(t, compared[rules.True], 1000)
	require.Greater(t, compared[rules.False], 1000)
}

func machine(t *testing.T, source string, env map[string]any) any {
	program, err := expr.Compile(source, expr.Env(env))
	require.NoError(t, err, source)
	out, err := expr.Run(program, env)
	require.NoError(t, err, source)
	if n, ok := out.(int); ok {
		return float64(n)
	}
	return out
}

func compareSets(t *testing.T, r *rules.Rule, frame *rules.Frame, env map[string]any) {
	for _, a := range r.Then {
		if a.To == nil {
			continue
		}
		want := machine(t, a.To.Source(), env)
		cell := a.To.Cell(frame)
		require.True(t, cell.Known, a.To.Source())
		switch want := want.(type) {
		case bool:
			require.Equal(t, want, cell.Number != 0, a.To.Source())
		case float64:
			require.InDelta(t, want, cell.Number, 1e-12, a.To.Source())
		default:
			require.Equal(t, want, cell.Text, a.To.Source())
		}
	}
}
