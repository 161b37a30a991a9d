package session

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/circuit"
	"coilside/rules"
	"coilside/session/picture"
)

// This file finds the circuit to draw: the likeliest wiring, how much of it is known,
// and the two paths through it.

// layout is one way the job's circuit may be wired.
type layout struct {
	names  map[string]string // by unknown, and by the names that follow
	guess  []string          // unknowns drawn without being known
	chains [][]string        // places and elements in turn
}

// sureOfWiring is how probable a choice must be by the readings to be drawn as known.
const sureOfWiring = 0.9

// layout picks the wiring to draw: what was told, then what the readings make likely.
// Nil where the rulebook describes no circuit.
func (j *job) layout() (*layout, error) {
	if len(j.base.book.Circuits) == 0 {
		return nil, nil
	}
	c := j.base.book.Circuits[0]
	wirings, err := j.base.wirings()
	if err != nil {
		return nil, err
	}
	all := wirings[0]
	l := &layout{names: map[string]string{}}
	left := all.each
	for _, u := range j.byCertainty(c) {
		choice := u.choice
		if all.about(u.id) {
			fit := fittingOf(left, u.id, choice)
			if len(fit) == 0 { // speaks against what is surer
				choice = left[0][u.id]
				fit = fittingOf(left, u.id, choice)
			}
			left = fit
		}
		l.names[u.id] = choice
		if u.sure < sureOfWiring {
			l.guess = append(l.guess, u.id)
		}
	}
	if len(left) > 0 {
		for id, is := range left[0] {
			l.names[id] = is
		}
	}
	slices.Sort(l.guess)
	return l, l.follow(c)
}

func fittingOf(ways []map[string]string, id, choice string) []map[string]string {
	var left []map[string]string
	for _, w := range ways {
		if w[id] == choice {
			left = append(left, w)
		}
	}
	return left
}

type certainty struct {
	id, choice string
	sure       float64
}

// byCertainty lists the unknowns of a circuit with their likeliest choice, surest first.
func (j *job) byCertainty(c *rules.Circuit) []certainty {
	var out []certainty
	for _, w := range c.Wiring {
		u := certainty{id: w.ID, choice: w.Of[0]}
		if v, ok := j.fact(w.ID); ok {
			u.choice, u.sure = factText(v), 2
		} else if is, p := j.c.Belief().Likeliest(w.ID); is != "" {
			u.choice, u.sure = is, p
		}
		if !slices.Contains(w.Of, u.choice) { // told under other rules
			u.choice, u.sure = w.Of[0], 0
		}
		out = append(out, u)
	}
	slices.SortStableFunc(out, func(a, b certainty) int { return cmp.Compare(b.sure, a.sure) })
	return out
}

func factText(v rules.Value) string {
	if v.Kind == rules.Number {
		return strconv.FormatFloat(v.Number, 'f', -1, 64)
	}
	return v.Text
}

// follow lists the chains that the wiring has, with its names filled in.
func (l *layout) follow(c *rules.Circuit) error {
	env := map[string]any{}
	for id, is := range l.names {
		env[id] = is
	}
	for _, w := range c.Wiring {
		if w.Number {
			env[w.ID], _ = strconv.ParseFloat(l.names[w.ID], 64)
		}
	}
	for _, chain := range c.Chains {
		if chain.When != nil {
			if there, err := chain.When.Truth(env); err != nil {
				return err
			} else if !there {
				continue
			}
		}
		steps := make([]string, len(chain.Steps))
		for i, step := range chain.Steps {
			steps[i] = circuit.FillPlaceholders(step, l.names)
		}
		l.chains = append(l.chains, steps)
	}
	return nil
}

// edge is one element between two places.
type edge struct {
	element, to string
}

// through is the shortest path from the battery's positive post to ground that holds
// an element of each of some kinds; empty where there is none.
func (l *layout) through(kindOf map[string]string, need func(kinds map[string]bool) bool) picture.Path {
	edges := map[string][]edge{}
	for _, steps := range l.chains {
		for i := 0; i+2 < len(steps); i += 2 {
			from, by, to := steps[i], steps[i+1], steps[i+2]
			edges[from] = append(edges[from], edge{by, to})
			edges[to] = append(edges[to], edge{by, from})
		}
	}
	type trail struct {
		places, parts []string
	}
	var found *trail
	seen := map[string]bool{"battery.positive": true}
	var walk func(t trail)
	walk = func(t trail) {
		at := t.places[len(t.places)-1]
		if found != nil && len(t.parts) >= len(found.parts) {
			return
		}
		if at == "chassis" || at == circuit.Reference {
			kinds := map[string]bool{}
			for _, p := range t.parts {
				kinds[kindOf[p]] = true
			}
			if need(kinds) {
				found = &trail{slices.Clone(t.places), slices.Clone(t.parts)}
			}
			return
		}
		for _, e := range edges[at] {
			if seen[e.to] || kindOf[e.element] == "source" {
				continue
			}
			seen[e.to] = true
			walk(trail{append(slices.Clone(t.places), e.to), append(slices.Clone(t.parts), e.element)})
			delete(seen, e.to)
		}
	}
	walk(trail{places: []string{"battery.positive"}})
	if found == nil {
		return picture.Path{}
	}
	path := picture.Path{Places: found.places}
	for _, id := range found.parts {
		path.Parts = append(path.Parts, picture.Part{ID: id, Kind: kindOf[id]})
	}
	return path
}

// paths are the coil's and the load's path, their parts named in the rulebook's words.
func (j *job) paths(l *layout) (coil, load picture.Path) {
	kinds, words := map[string]string{}, map[string]string{}
	for _, p := range j.base.book.Circuits[0].Parts {
		kinds[p.ID], words[p.ID] = p.Kind, p.Words
	}
	coil = l.through(kinds, func(k map[string]bool) bool { return k["coil"] && !k["load"] && !k["suppressor"] })
	load = l.through(kinds, func(k map[string]bool) bool { return k["load"] && !k["coil"] && (k["make"] || k["rest"]) })
	suspected := map[string]bool{}
	for _, s := range j.base.book.Suspects {
		suspected[s.Element] = true
	}
	for _, path := range []*picture.Path{&coil, &load} {
		for i := range path.Parts {
			p := &path.Parts[i]
			p.Words, p.Label = words[p.ID], suspected[p.ID] || p.Kind == "key"
			if kind := l.sure("load_kind"); p.Kind == "load" && kind != "" {
				p.Words += " (" + kind + ")"
			}
		}
	}
	return coil, load
}

// guessWords say what is drawn without being known.
func (l *layout) guessWords() []string {
	if l == nil || len(l.guess) == 0 {
		return nil
	}
	names := make([]string, len(l.guess))
	for i, id := range l.guess {
		names[i] = strings.ReplaceAll(id, "_", " ") + " " + strings.ReplaceAll(l.names[id], "_", " ")
	}
	return []string{"Not known, drawn as the likeliest: " + joined(names, "and") + "."}
}
