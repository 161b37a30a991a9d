package rules

import (
	"math"

	"go.yaml.in/yaml/v3"
)

func (r *reader) fact(n *yaml.Node) *Fact {
	o := r.object(n, "fact", "id", "kind", "unit", "range", "of", "words")
	f := &Fact{ID: o.id(), Unit: o.text("unit"), Of: o.texts("of"), Words: o.text("words"), Pos: o.pos(), at: o.spots(), explicit: true}
	f.Kind = Kind(o.choice("kind", string(Bool), string(Number), string(Choice), string(Text)))
	if ends := o.items("range"); o.has("range") && ends != nil {
		if len(ends) != 2 {
			r.fail(o.at("range"), CodeType, "range: [0, 100]", "a range has two ends, but this has %d", len(ends))
		} else {
			low := r.number(ends[0], "the low end", math.Inf(-1), math.Inf(1))
			f.Range = [2]float64{low, r.number(ends[1], "the high end", low, math.Inf(1))}
		}
	}
	if f.Kind == "" {
		f.Kind = impliedKind(o)
	}
	r.distinct(o.at("of"), f.Of)
	return f
}

// distinct reports a choice that is listed twice.
func (r *reader) distinct(at *yaml.Node, choices []string) {
	seen := make(map[string]bool, len(choices))
	for _, word := range choices {
		if seen[word] {
			r.fail(at, CodeDuplicate, "", "the choice %q is listed twice", word)
		}
		seen[word] = true
	}
}

// impliedKind takes the kind from the fields given; "" when they say nothing.
func impliedKind(o *object) Kind {
	switch {
	case o.has("of"):
		return Choice
	case o.has("unit") || o.has("range"):
		return Number
	}
	return ""
}

func (r *reader) parameter(n *yaml.Node) *Parameter {
	o := r.object(n, "parameter", "id", "value", "unit", "source", "words")
	o.need("value", "source")
	return &Parameter{
		ID: o.id(), Value: o.number("value", 0, math.Inf(-1), math.Inf(1)), Unit: o.text("unit"),
		Source: o.text("source"), Words: o.text("words"), Pos: o.pos(), at: o.spots(),
	}
}

func (r *reader) complaint(n *yaml.Node) *Complaint {
	o := r.object(n, "complaint", "id", "words", "prove", "priors")
	c := &Complaint{ID: o.id(), Words: o.text("words"), Prove: o.texts("prove"), Priors: map[string]float64{}, Pos: o.pos(), at: o.spots()}
	for _, s := range o.shares("priors", 1e9) {
		c.Priors[s.key] = s.number
		c.patterns = append(c.patterns, r.spot(s.at))
	}
	return c
}

func (r *reader) synonym(n *yaml.Node) *Synonym {
	o := r.object(n, "word", "means", "said", "heard")
	o.need("means")
	if !o.has("heard") {
		o.need("said")
	}
	heard := o.texts("heard")
	return &Synonym{Means: o.text("means"), Said: append(o.texts("said"), heard...), Heard: heard, Pos: o.pos()}
}

// spots keeps where an item and its fields stand, for checks that come after all files are read.
func (o *object) spots() spots {
	if o == nil {
		return spots{}
	}
	return spots{o.r.spot(o.node)}
}

// spots are the places of an item and its fields.
type spots struct{ whole spot }

// of gives the place of a field, or of the item when the field is absent.
func (s spots) of(name string) spot {
	if at, ok := s.field(name); ok {
		return at
	}
	return s.whole
}

func (s spots) field(name string) (spot, bool) {
	_, value := field(s.whole.node, name)
	return s.whole.child(value), value != nil
}
