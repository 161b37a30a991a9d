package rules

import (
	"slices"

	"go.yaml.in/yaml/v3"
)

// merge lays the items of layer over layer: an id seen in an earlier layer is
// replaced where it stands, a new one is added at the end.
type merge struct {
	book    *Book
	layer   int
	seen    map[string]placed  // "suspect coil.open"
	offs    []off              // that switch off nothing
	retuned map[string]spot    // parameters whose value a later layer replaced, and where
	removed map[string]spot    // rules that a later layer switched off, and where
	history map[string][]*Rule // rules as earlier layers had them
}

type placed struct {
	layer, index int
	pos          Pos
}

// off is a later layer's wish to switch a rule off.
type off struct {
	id string
	at spot
}

func newMerge() *merge {
	return &merge{book: &Book{}, seen: map[string]placed{}, removed: map[string]spot{}, retuned: map[string]spot{}, history: map[string][]*Rule{}}
}

// finish drops the rules that were switched off.
func (m *merge) finish() *Book {
	m.book.Rules = slices.DeleteFunc(m.book.Rules, func(r *Rule) bool {
		_, off := m.removed[r.ID]
		return off
	})
	return m.book
}

func (m *merge) begin(layer int) { m.layer = layer }

// put adds or replaces one item of a list.
func put[T any](m *merge, r *reader, at *yaml.Node, kind, id string, list *[]T, item T) {
	if id == "" {
		return
	}
	key := kind + " " + id
	before, known := m.seen[key]
	switch {
	case known && before.layer == m.layer:
		r.fail(at, CodeDuplicate, "give one of them another id, or drop it", "%s %q is declared twice; the first is at %s", kind, id, before.pos)
		return
	case known:
		(*list)[before.index] = item
		m.seen[key] = placed{m.layer, before.index, r.spot(at).pos()}
	default:
		*list = append(*list, item)
		m.seen[key] = placed{m.layer, len(*list) - 1, r.spot(at).pos()}
	}
}

// topLevel reads the sections of one file into the book.
func (r *reader) topLevel(n *yaml.Node, m *merge) {
	sections := []string{"facts", "parameters", "circuits", "complaints", "suspects", "tests", "rules", "words", "tables"}
	if n.Kind != yaml.MappingNode {
		r.fail(n, CodeType, "start with a section such as  rules:", "a rule file holds sections, but this is %s", nodeKind(n))
		return
	}
	o := r.object(n, "rule file", sections...)
	for _, item := range o.items("facts") {
		f := r.fact(item)
		put(m, r, idNode(item), "fact", f.ID, &m.book.Facts, f)
	}
	for _, item := range o.items("parameters") {
		p := r.parameter(item)
		if before, known := m.seen["parameter "+p.ID]; known && before.layer < m.layer {
			m.retuned[p.ID] = r.spot(idNode(item))
		}
		put(m, r, idNode(item), "parameter", p.ID, &m.book.Parameters, p)
	}
	for _, item := range o.items("circuits") {
		c := r.circuit(item)
		put(m, r, idNode(item), "circuit", c.ID, &m.book.Circuits, c)
	}
	for _, item := range o.items("complaints") {
		c := r.complaint(item)
		put(m, r, idNode(item), "complaint", c.ID, &m.book.Complaints, c)
	}
	for _, item := range o.items("suspects") {
		s := r.suspect(item)
		put(m, r, idNode(item), "suspect", s.ID, &m.book.Suspects, s)
	}
	for _, item := range o.items("tests") {
		t := r.test(item)
		put(m, r, idNode(item), "test", t.ID, &m.book.Tests, t)
	}
	for _, item := range o.items("rules") {
		r.mergeRule(item, m)
	}
	for _, item := range o.items("tables") {
		r.mergeTable(item, m)
	}
	for _, item := range o.items("words") {
		w := r.synonym(item)
		put(m, r, item, "word", w.Means, &m.book.Words, w)
	}
}

// idNode is the node to blame for an item's id.
func idNode(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == "id" {
				return n.Content[i+1]
			}
		}
	}
	return n
}

func (r *reader) mergeRule(item *yaml.Node, m *merge) {
	rule, isOff := r.rule(item)
	before, known := m.seen["rule "+rule.ID]
	earlier := known && before.layer < m.layer
	if earlier {
		m.history[rule.ID] = append(m.history[rule.ID], m.book.Rules[before.index])
	}
	switch {
	case isOff && earlier:
		m.removed[rule.ID] = r.spot(idNode(item))
	case isOff:
		m.offs = append(m.offs, off{rule.ID, r.spot(idNode(item))})
	default:
		if earlier {
			delete(m.removed, rule.ID)
		}
		put(m, r, idNode(item), "rule", rule.ID, &m.book.Rules, rule)
	}
}
