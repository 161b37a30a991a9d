package engine

import (
	"slices"

	"coilside/rules"
)

// given holds the values that were given: for each fact a list, linked from the highest entry
// down. A reference is a place in inputs plus one; 0 ends a list.
type given struct {
	latest  []int32 // by fact
	entries []int   // by place
	inputs  []input // by place
	unused  int32   // list of places to use again
}

// input is one value given for a fact.
type input struct {
	value rules.Cell
	fact  int32 // -1 in a place that is unused
	below int32 // the next lower entry for the fact
}

func (g *given) is(fact int32) bool { return g.latest[fact] != 0 }

// top gives the value that counts for a fact that is given.
func (g *given) top(fact int32) rules.Cell { return g.inputs[g.latest[fact]-1].value }

// topEntry gives the entry whose value counts.
func (g *given) topEntry(fact int32) int { return g.entries[g.latest[fact]-1] }

func (g *given) grow(by int) {
	g.entries, g.inputs = slices.Grow(g.entries, by), slices.Grow(g.inputs, by)
}

// put adds a value, or replaces that of the same entry and fact.
func (g *given) put(entry int, fact int32, value rules.Cell) {
	link := &g.latest[fact]
	for *link != 0 && g.entries[*link-1] > entry {
		link = &g.inputs[*link-1].below
	}
	if *link != 0 && g.entries[*link-1] == entry {
		g.inputs[*link-1].value = value
		return
	}
	in := input{value: value, fact: fact, below: *link}
	if reused := g.unused; reused != 0 {
		g.unused = g.inputs[reused-1].below
		*link = reused
		g.entries[reused-1], g.inputs[reused-1] = entry, in
		return
	}
	*link = int32(len(g.inputs) + 1) // before append, which may move what link points into
	g.entries, g.inputs = append(g.entries, entry), append(g.inputs, in)
}

// remove withdraws what an entry gave and calls lost for each of its facts.
func (g *given) remove(entry int, lost func(fact int32)) {
	for i, e := range g.entries {
		in := &g.inputs[i]
		if e != entry || in.fact < 0 {
			continue
		}
		fact, place := in.fact, int32(i+1)
		link := &g.latest[fact]
		for *link != place {
			link = &g.inputs[*link-1].below
		}
		*link = in.below
		*in = input{fact: -1, below: g.unused}
		g.unused = place
		lost(fact)
	}
}

// all gives the entries that gave a value for a fact, lowest first.
func (g *given) all(fact int32) []int {
	var out []int
	for at := g.latest[fact]; at != 0; at = g.inputs[at-1].below {
		out = append(out, g.entries[at-1])
	}
	slices.Reverse(out)
	return out
}
