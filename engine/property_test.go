package engine

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// trials is how many random rulebooks each property is tried on.
const trials = 200

// TestMemoryMeansWhatRulesMean holds Memory against the naive evaluator after
// every step of a random life: give, replace, take back.
func TestMemoryMeansWhatRulesMean(t *testing.T) {
	var books, looped, conflicts, firings, beaten int
	for seed := range uint64(trials) {
		g := newGenerator(seed)
		made := g.book(4 + g.IntN(14))
		book, err := loadText(made.text)
		if made.loops() {
			looped++
			requireLoop(t, seed, err)
			continue
		}
		require.NoError(t, err, "seed %d\n%s", seed, made.text)
		books++
		live := newLife(book, made)
		for step := range 20 {
			live.step(t, g)
			where := fmt.Sprintf("seed %d step %d\n%s\ngiven %v", seed, step, made.text, live.naive.given)
			live.compare(t, where)
			conflicts += len(live.memory.Conflicts())
			firings += len(live.memory.Firings())
			beaten += live.beaten()
		}
	}
	t.Logf("%d books, %d refused for loops; %d firings, %d conflicts, %d beaten claims seen", books, looped, firings, conflicts, beaten)
	require.Greater(t, books, trials/3)
	for _, seen := range []int{looped, conflicts, firings, beaten} {
		require.Positive(t, seen, "a property that never meets its case proves nothing")
	}
}

func requireLoop(t *testing.T, seed uint64, err error) {
	t.Helper()
	var found rules.Errors
	require.ErrorAs(t, err, &found, "seed %d", seed)
	for _, e := range found {
		require.Equal(t, rules.CodeLoop, e.Code, "seed %d: %s", seed, e)
	}
}

// life is one job lived by Memory and by the naive evaluator at once.
type life struct {
	memory *Memory
	naive  *naive
	made   generated
	last   int // highest entry used
}

func newLife(book *rules.Book, made generated) *life {
	return &life{memory: New(book), naive: &naive{book: book, given: map[string]map[int]rules.Value{}}, made: made}
}

func (l *life) step(t *testing.T, g *generator) {
	if g.IntN(3) == 0 {
		entry := g.IntN(l.last + 1)
		l.memory.TakeBack(entry)
		for _, by := range l.naive.given {
			delete(by, entry)
		}
		return
	}
	entry := g.IntN(l.last + 1)
	if g.IntN(2) == 0 {
		l.last++
		entry = l.last
	}
	for range 1 + g.IntN(2) { // an entry may give several facts
		f := l.made.facts[g.IntN(len(l.made.facts))]
		v := g.input(f)
		require.NoError(t, l.memory.Give(entry, f.id, v))
		if l.naive.given[f.id] == nil {
			l.naive.given[f.id] = map[int]rules.Value{}
		}
		l.naive.given[f.id][entry] = v
	}
}

// compare holds facts, conflicts, firings, entries and effects together, and
// then the whole against a fresh run from what survives.
func (l *life) compare(t *testing.T, where string) {
	t.Helper()
	var torn, fired []string
	for _, f := range l.naive.book.Facts {
		want := l.naive.value(f.ID)
		v, known := l.memory.Value(f.ID)
		require.Equal(t, want != nil, known, "%s\nknown(%s)", where, f.ID)
		if known {
			require.Equal(t, want, plain(v), "%s\n%s", where, f.ID)
		}
		if l.naive.conflict(f.ID) {
			torn = append(torn, f.ID)
		}
	}
	for _, r := range l.naive.book.Rules {
		if l.naive.fires(r) {
			fired = append(fired, fmt.Sprint(r.ID, l.naive.entries(r)))
		}
	}
	require.Equal(t, torn, conflicted(l.memory), where)
	var got []string
	for _, f := range l.memory.Firings() {
		got = append(got, fmt.Sprint(f.Rule.ID, append([]int{}, f.Entries()...)))
	}
	require.Equal(t, fired, got, where)
	weights := map[string]float64{}
	for id, w := range l.memory.Effects().Weights {
		weights[id] = w.Factor
	}
	require.Equal(t, l.naive.weights(), weights, where)
	require.Equal(t, l.fresh(t).portrait(), l.memory.portrait(), "%s\nfresh run differs", where)
}

func conflicted(m *Memory) []string {
	var out []string
	for _, c := range m.Conflicts() {
		out = append(out, c.Fact)
	}
	return out
}

// fresh runs the surviving inputs, last entry first, so that order is tried too.
func (l *life) fresh(t *testing.T) *Memory {
	m := l.memory.Program.Memory()
	for entry := l.last; entry >= 0; entry-- {
		for fact, by := range l.naive.given {
			if v, ok := by[entry]; ok {
				require.NoError(t, m.Give(entry, fact, v))
			}
		}
	}
	return m
}

// portrait is everything that can be asked of a Memory.
func (m *Memory) portrait() string {
	out := ""
	for _, f := range m.book.Facts {
		out += fmt.Sprintln(f.ID, m.Why(f.ID), m.Given(f.ID))
	}
	for _, f := range m.Firings() {
		out += fmt.Sprintln(f.Rule.ID, f.Behind, f.Entries())
	}
	for _, r := range m.book.Rules {
		d, _ := m.WhyNot(r.ID)
		out += fmt.Sprintln(r.ID, d.Truth, d.Parts)
	}
	e := m.Effects()
	for _, t := range m.book.Tests {
		out += fmt.Sprintln(t.ID, ruleIDs(e.Required[t.ID]), ruleIDs(e.Forbidden[t.ID]), e.Preferred[t.ID].Factor)
	}
	for _, s := range m.book.Suspects {
		out += fmt.Sprintln(s.ID, e.Weights[s.ID].Factor)
	}
	return out + fmt.Sprintln(m.Conflicts(), e.Advice, e.Cautions, len(e.RuledOut))
}

func ruleIDs(list []*rules.Rule) []string {
	var out []string
	for _, r := range list {
		out = append(out, r.ID)
	}
	return out
}

// beaten counts claims that a precedence removed.
func (l *life) beaten() int {
	n := 0
	for _, f := range l.naive.book.Facts {
		n += len(l.naive.claims(f.ID)) - len(l.naive.standing(f.ID))
	}
	return n
}

// TestRuleOrderDoesNotMatter loads the same rules in another order and lives the
// same life.
func TestRuleOrderDoesNotMatter(t *testing.T) {
	tried := 0
	for seed := range uint64(trials) {
		g := newGenerator(seed)
		made := g.book(12)
		if made.loops() {
			continue
		}
		tried++
		book, err := loadText(made.text)
		require.NoError(t, err)
		turned, err := loadText(turnRules(made.text))
		require.NoError(t, err)
		a, b := newLife(book, made), New(turned)
		for range 15 {
			a.step(t, g)
			b = b.Program.Memory()
			for fact, by := range a.naive.given {
				for entry, v := range by {
					require.NoError(t, b.Give(entry, fact, v))
				}
			}
			require.Equal(t, a.memory.Env(), b.Env(), "seed %d\n%s", seed, made.text)
			require.Equal(t, sortedIDs(a.memory.Firings()), sortedIDs(b.Firings()), "seed %d\n%s", seed, made.text)
		}
	}
	require.Greater(t, tried, trials/3)
}

// turnRules writes the rules of a generated book in reverse.
func turnRules(text string) string {
	head, tail, _ := strings.Cut(text, "\nrules:\n")
	parts := strings.SplitAfter("\n"+tail, "\n  - id: ")
	list := parts[1:]
	for i := range list {
		list[i] = strings.TrimSuffix(list[i], "\n  - id: ")
	}
	slices.Reverse(list)
	return head + "\nrules:" + "\n  - id: " + strings.Join(list, "\n  - id: ") + "\n"
}

func sortedIDs(list []Firing) []string {
	var out []string
	for _, f := range list {
		out = append(out, f.Rule.ID)
	}
	slices.Sort(out)
	return out
}
