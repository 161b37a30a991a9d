package session

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"coilside/rules"
)

// agree checks that the fields given can all be true of one circuit. It returns
// what follows from them: every unknown of the wiring that only one choice is
// left for. The error names the smallest set of fields that contradict.
func (b *base) agree(fields []given) ([]given, error) {
	wirings, err := b.wirings()
	if err != nil {
		return nil, err
	}
	var first error
	for _, w := range wirings {
		follows, err := w.agree(fields)
		if err == nil {
			return follows, nil
		}
		if first == nil {
			first = err
		}
	}
	return nil, first
}

func (w *ways) agree(fields []given) ([]given, error) {
	known := map[string]string{}
	var named []given
	for _, g := range fields {
		if w.about(g.fact) {
			known[g.fact] = g.value.Text
			named = append(named, g)
		}
	}
	left := w.fitting(known)
	if len(left) == 0 {
		return nil, w.contradiction(known, named)
	}
	var follows []given
	for _, unknown := range w.free {
		if _, ok := known[unknown.ID]; ok {
			continue
		}
		value := left[0][unknown.ID]
		if slices.ContainsFunc(left, func(m map[string]string) bool { return m[unknown.ID] != value }) {
			continue
		}
		v := rules.Value{Kind: rules.Choice, Text: value}
		if unknown.Number {
			v.Kind = rules.Number
			v.Number, _ = strconv.ParseFloat(value, 64)
		}
		follows = append(follows, given{fact: unknown.ID, value: v})
	}
	return follows, nil
}

// ways is every way a circuit can be wired, as far as its conditions and names
// tell the ways apart.
type ways struct {
	free  []*rules.Wiring
	names []*rules.DerivedName
	each  []map[string]string
}

// wiringsOf gives the ways of each circuit of a rulebook, worked out when first asked for.
func wiringsOf(book *rules.Book) func() ([]*ways, error) {
	return sync.OnceValues(func() (all []*ways, err error) {
		for _, circuit := range book.Circuits {
			w, err := waysOf(circuit)
			if err != nil {
				return nil, err
			}
			all = append(all, w)
		}
		return all, nil
	})
}

// waysOf lists the ways; unknowns that no condition or name mentions are left
// out, as they can contradict nothing.
func waysOf(circuit *rules.Circuit) (*ways, error) {
	w := &ways{names: circuit.Names}
	for _, unknown := range circuit.Wiring {
		if mentioned(circuit, unknown.ID) {
			w.free = append(w.free, unknown)
		}
	}
	chosen, env := map[string]string{}, map[string]any{}
	var walk func(i int) error
	walk = func(i int) error {
		if i == len(w.free) {
			return w.add(circuit, chosen, env)
		}
		for _, choice := range w.free[i].Of {
			id := w.free[i].ID
			chosen[id], env[id] = choice, any(choice)
			if w.free[i].Number {
				env[id], _ = strconv.ParseFloat(choice, 64)
			}
			if err := walk(i + 1); err != nil {
				return err
			}
		}
		return nil
	}
	return w, walk(0)
}

func (w *ways) add(circuit *rules.Circuit, chosen map[string]string, env map[string]any) error {
	for _, allow := range circuit.Allow {
		ok, err := allow.Truth(env)
		if err != nil || !ok {
			return err
		}
	}
	way, all := maps.Clone(chosen), maps.Clone(env)
	for _, n := range circuit.Names {
		is, err := n.Is.TextValue(all)
		if err != nil {
			return err
		}
		way[n.ID], all[n.ID] = is, is
	}
	w.each = append(w.each, way)
	return nil
}

func (w *ways) about(id string) bool {
	return slices.ContainsFunc(w.free, func(f *rules.Wiring) bool { return f.ID == id }) ||
		slices.ContainsFunc(w.names, func(n *rules.DerivedName) bool { return n.ID == id })
}

// mentioned says whether a condition or a name of the circuit reads an unknown.
func mentioned(circuit *rules.Circuit, id string) bool {
	for _, f := range circuit.Allow {
		if slices.Contains(f.Names(), id) {
			return true
		}
	}
	return slices.ContainsFunc(circuit.Names, func(n *rules.DerivedName) bool { return slices.Contains(n.Is.Names(), id) })
}

func (w *ways) fitting(known map[string]string) []map[string]string {
	var left []map[string]string
	for _, way := range w.each {
		fits := true
		for id, value := range known {
			fits = fits && way[id] == value
		}
		if fits {
			left = append(left, way)
		}
	}
	return left
}

// contradiction names the fewest fields that cannot all be true, and what the
// last of them could be beside the others.
func (w *ways) contradiction(known map[string]string, named []given) error {
	rest := maps.Clone(known)
	var clash []given
	for _, g := range named {
		value := rest[g.fact]
		delete(rest, g.fact)
		if len(w.fitting(rest)) > 0 {
			rest[g.fact] = value
			clash = append(clash, g)
		}
	}
	said := make([]string, len(clash))
	for i, g := range clash {
		said[i] = fmt.Sprintf("%s %s", leaf(g.field), g.value.Text)
	}
	last := clash[len(clash)-1]
	e := invalid(last.field, "%s cannot all be true of one circuit", joined(said, "and"))
	if len(clash) == 2 {
		e.Message = fmt.Sprintf("%s does not go with %s", said[1], said[0])
	}
	delete(rest, last.fact)
	if could := w.could(rest, last.fact); len(could) > 0 {
		e.Message += fmt.Sprintf("; with %s, %s can be %s", joined(said[:len(said)-1], "and"), leaf(last.field), either(could))
		if len(could) == 1 {
			e.Nearest = could[0]
		}
	}
	return e
}

func (w *ways) could(known map[string]string, id string) []string {
	could := map[string]bool{}
	for _, way := range w.fitting(known) {
		could[way[id]] = true
	}
	return slices.Sorted(maps.Keys(could))
}

func leaf(field string) string { return field[strings.LastIndexByte(field, '.')+1:] }
