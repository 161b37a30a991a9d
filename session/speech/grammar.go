package speech

import (
	"slices"
	"strings"
)

// Grammar is what may be said at a moment: a finite set of sentences, without loops,
// so that it can be written as a list too. A rule refers only to rules before it.
type Grammar struct {
	Root  string
	Rules []Rule
}

// Rule is a named part of a grammar.
type Rule struct {
	Name string // letters and underscores
	Is   Expansion
}

// Expansion is what a rule stands for: exactly one of Word, Rule, All and Any is set.
type Expansion struct {
	Word     string      // one word: small letters and apostrophes
	Rule     string      // name of another rule
	All      []Expansion // one after the other
	Any      []Expansion // one of them
	Optional bool        // or nothing
}

func word(w string) Expansion         { return Expansion{Word: w} }
func ref(name string) Expansion       { return Expansion{Rule: name} }
func all(of ...Expansion) Expansion   { return Expansion{All: of} }
func any(of ...Expansion) Expansion   { return Expansion{Any: of} }
func optional(of Expansion) Expansion { of.Optional = true; return of }
func (g *Grammar) add(n string, e Expansion) Expansion {
	g.Rules = append(g.Rules, Rule{n, e})
	return ref(n)
}

// rule finds a rule by its name.
func (g *Grammar) rule(name string) (Expansion, bool) {
	i := slices.IndexFunc(g.Rules, func(r Rule) bool { return r.Name == name })
	if i < 0 {
		return Expansion{}, false
	}
	return g.Rules[i].Is, true
}

// Words makes one phrase of plain text an expansion. It is false where the phrase holds
// what is no word once said as people say it.
func Words(phrase string) (Expansion, bool) {
	var out []Expansion
	for _, w := range strings.Fields(strings.NewReplacer(",", " ", "-", " ", ".", " ", "?", " ", "!", " ", ":", " ", ";", " ").Replace(strings.ToLower(Say(phrase)))) {
		if !plainWord(w) {
			return Expansion{}, false
		}
		out = append(out, word(w))
	}
	if len(out) == 0 {
		return Expansion{}, false
	}
	if len(out) == 1 {
		return out[0], true
	}
	return all(out...), true
}

func plainWord(w string) bool {
	for _, r := range w {
		if (r < 'a' || r > 'z') && r != '\'' {
			return false
		}
	}
	return strings.Trim(w, "'") != ""
}

// phrases makes a choice of phrases, each once, in the order given; those that hold no
// plain words are left out.
func phrases(list []string) (Expansion, bool) {
	var out []Expansion
	var seen []string
	for _, p := range list {
		e, ok := Words(p)
		if key := e.flat(); ok && !slices.Contains(seen, key) {
			seen = append(seen, key)
			out = append(out, e)
		}
	}
	return any(out...), len(out) > 0
}

func (e Expansion) flat() string {
	if e.Word != "" {
		return e.Word
	}
	var out []string
	for _, x := range e.All {
		out = append(out, x.flat())
	}
	return strings.Join(out, " ")
}

// Vocabulary lists the words that a grammar can hear, sorted.
func (g *Grammar) Vocabulary() []string {
	var out []string
	var walk func(e Expansion)
	walk = func(e Expansion) {
		if e.Word != "" {
			out = append(out, e.Word)
		}
		for _, x := range slices.Concat(e.All, e.Any) {
			walk(x)
		}
	}
	for _, r := range g.Rules {
		walk(r.Is)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Sentences lists everything the grammar hears, sorted, each once.
func (g *Grammar) Sentences() []string {
	done := map[string][]string{}
	for _, r := range g.Rules {
		done[r.Name] = sentencesOf(r.Is, done)
	}
	out := slices.Clone(done[g.Root])
	slices.Sort(out)
	return slices.Compact(out)
}

func sentencesOf(e Expansion, done map[string][]string) []string {
	var out []string
	switch {
	case e.Word != "":
		out = []string{e.Word}
	case e.Rule != "":
		out = slices.Clone(done[e.Rule])
	case len(e.Any) > 0:
		for _, x := range e.Any {
			out = append(out, sentencesOf(x, done)...)
		}
	default:
		out = []string{""}
		for _, x := range e.All {
			out = joinEach(out, sentencesOf(x, done))
		}
	}
	if e.Optional {
		out = append(out, "")
	}
	return out
}

func joinEach(left, right []string) []string {
	out := make([]string, 0, len(left)*len(right))
	for _, l := range left {
		for _, r := range right {
			out = append(out, strings.TrimSpace(l+" "+r))
		}
	}
	return out
}
