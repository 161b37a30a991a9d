package rules

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

func (r *reader) suspect(n *yaml.Node) *Suspect {
	o := r.object(n, "suspect", "id", "words", "when", "prior", "stays", "does", "repair")
	s := &Suspect{
		ID: o.id(), Words: o.text("words"), When: r.formula(o.at("when")), Pos: o.pos(), at: o.spots(),
		Prior: o.number("prior", 1, 1e-9, 1e9), Stays: o.flag("stays"),
	}
	s.Element, s.Fault, _ = strings.Cut(s.ID, ".")
	if s.ID != "" && (s.Element == "" || s.Fault == "" || strings.Contains(s.Fault, ".")) {
		r.fail(o.at("id"), CodeValue, "such as coil.open", "a suspect's id is element.fault, but this is %q", s.ID)
	}
	for _, item := range o.items("does") {
		s.Does = append(s.Does, r.effect(item))
	}
	if o.has("repair") {
		s.Repair = r.repair(o.at("repair"))
	}
	if s.Repair.Class == "" {
		s.Repair.Class = s.Element
	}
	return s
}

func (r *reader) repair(n *yaml.Node) Repair {
	o := r.object(n, "repair", "do", "check", "verify", "class")
	return Repair{Do: o.text("do"), Check: o.texts("check"), Verify: o.text("verify"), Class: o.text("class"), at: o.spots()}
}

var effectKinds = []string{"open", "add_ohms", "short_to", "join", "rewire", "pulse", "hold", "scale", "instead", "one_of", "all_of"}

func (r *reader) effect(n *yaml.Node) Effect {
	o := r.object(n, "effect", append([]string{"to", "ohms", "by", "comes_and_goes", "only", "slow"}, effectKinds...)...)
	e := Effect{
		To: o.text("to"), Open: o.flag("open"), AddOhms: r.spread(o.at("add_ohms")),
		ShortTo: o.choice("short_to", "ground", "supply"), Ohms: r.spread(o.at("ohms")),
		Join: o.texts("join"), Rewire: o.text("rewire"), Pulse: r.spread(o.at("pulse")), Slow: o.flag("slow"),
		Only:  o.choice("only", "hot", "loaded", "engine_off", "neighbours_on", "tap_on"),
		Hold:  o.choice("hold", "closed", "open", "over", "rest", "inverted", "reversed"),
		Scale: o.text("scale"), By: r.spread(o.at("by")),
		Instead:  o.choice("instead", "make", "rest"),
		ComesAnd: r.spread(o.at("comes_and_goes")), Pos: o.pos(), at: o.spots(),
	}
	for _, item := range o.items("one_of") {
		e.OneOf = append(e.OneOf, r.effect(item))
	}
	for _, item := range o.items("all_of") {
		e.AllOf = append(e.AllOf, r.effect(item))
	}
	if o != nil {
		o.oneEffect()
	}
	return e
}

// oneEffect checks that the fields say one thing.
func (o *object) oneEffect() {
	r := o.r
	kinds := []string{}
	for _, key := range effectKinds {
		if o.has(key) {
			kinds = append(kinds, key)
		}
	}
	how := "one of " + strings.Join(effectKinds, ", ")
	switch {
	case len(kinds) == 0:
		r.fail(o.node, CodeMissing, "add "+how, "this effect does nothing")
		return
	case len(kinds) > 1:
		r.fail(o.key(kinds[1]), CodeField, "make it an effect of its own", "an effect does one thing, but this has %q and %q", kinds[0], kinds[1])
		return
	}
	switch kinds[0] {
	case "one_of", "all_of", "rewire":
	case "join":
		if n := len(o.texts("join")); n != 2 {
			r.fail(o.at("join"), CodeType, "join: [socket.30, socket.87]", "\"join\" takes two places, but this has %d", n)
		}
	default:
		o.need("to")
	}
	for _, beside := range []struct {
		other string
		of    []string
	}{{"ohms", []string{"short_to", "join"}}, {"by", []string{"scale"}}} {
		if slices.Contains(beside.of, kinds[0]) {
			o.need(beside.other)
		} else if o.has(beside.other) {
			r.fail(o.key(beside.other), CodeField, "", "%q belongs beside %q", beside.other, strings.Join(beside.of, "\" or \""))
		}
	}
}
