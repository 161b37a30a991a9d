package rules

import (
	"strings"

	"go.yaml.in/yaml/v3"
)

func (r *reader) suspect(n *yaml.Node) *Suspect {
	o := r.object(n, "suspect", "id", "words", "when", "prior", "does", "repair")
	s := &Suspect{
		ID: o.id(), Words: o.text("words"), When: r.formula(o.at("when")), Pos: o.pos(), at: o.spots(),
		Prior: o.number("prior", 1, 1e-9, 1e9),
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

var effectKinds = []string{"open", "add_ohms", "short_to", "hold", "scale", "instead", "one_of", "all_of"}

func (r *reader) effect(n *yaml.Node) Effect {
	o := r.object(n, "effect", append([]string{"to", "ohms", "by", "comes_and_goes"}, effectKinds...)...)
	e := Effect{
		To: o.text("to"), Open: o.flag("open"), AddOhms: r.spread(o.at("add_ohms")),
		ShortTo: o.choice("short_to", "ground", "supply"), Ohms: r.spread(o.at("ohms")),
		Hold:  o.choice("hold", "closed", "open", "over", "rest"),
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
		r.fail(o.keys[kinds[1]], CodeField, "make it an effect of its own", "an effect does one thing, but this has %q and %q", kinds[0], kinds[1])
		return
	}
	if kinds[0] != "one_of" && kinds[0] != "all_of" {
		o.need("to")
	}
	pairs := map[string]string{"short_to": "ohms", "scale": "by"}
	for _, kind := range []string{"short_to", "scale"} {
		other := pairs[kind]
		if kinds[0] == kind {
			o.need(other)
		} else if o.has(other) {
			r.fail(o.keys[other], CodeField, "", "%q belongs beside %q", other, kind)
		}
	}
}
