package rules

import (
	"fmt"
	"slices"
	"strings"
)

// touches reports what a test touches that no wiring of any circuit has. Figures given by
// hand need no circuit, nor its places.
func (k *checker) touches(t *Test) {
	known := k.places
	at, ok := t.at.field("measure")
	if !ok || len(known) == 0 || len(t.Expect) > 0 {
		return
	}
	measure := spots{at}
	check := func(field, place string, known []string) {
		meant := k.filled(place)
		if place == "" || len(meant) == 0 || slices.ContainsFunc(meant, func(p string) bool { return slices.Contains(known, p) }) {
			return
		}
		k.add(measure.of(field), CodeName, fmt.Sprintf("no wiring has a place %q", place), didYouMean(place, known))
	}
	m := t.Measure
	check("red", m.Red, known)
	check("black", m.Black, known)
	check("from", m.From, known)
	check("to", m.To, known)
	if m.Mode == AmpsDC { // read at a place, or of a part
		for _, c := range k.book.Circuits {
			known = append(slices.Clip(known), c.partIDs()...)
		}
		check("at", m.At, known)
	}
}

// knownPlaces are the places of all circuits in all their wirings, a terminal's harness side
// by both its names.
func (k *checker) knownPlaces() []string {
	var out []string
	for _, c := range k.book.Circuits {
		for _, chain := range c.allChains() {
			for i := 0; i < len(chain.Steps); i += 2 {
				for _, p := range k.filled(chain.Steps[i]) {
					out = append(out, p)
					if terminal, ok := strings.CutPrefix(p, "socket."); ok {
						out = append(out, "back."+terminal)
					}
				}
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// filled are all that a place may be once its {role} is known; none where the role is not
// declared, which is told apart.
func (k *checker) filled(place string) []string {
	at := placeholder.FindStringSubmatchIndex(place)
	if at == nil {
		return []string{place}
	}
	var out []string
	for _, c := range k.book.Circuits {
		for _, d := range c.Names {
			if d.ID != place[at[2]:at[3]] || d.Is == nil || d.Is.op == nil {
				continue
			}
			for _, is := range d.Is.op.of {
				if is == "" {
					continue // in some wirings there is none
				}
				out = append(out, k.filled(place[:at[0]]+is+place[at[1]:])...)
			}
		}
	}
	return out
}
