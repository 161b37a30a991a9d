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
	offs    []off              // that switch off nothing
	retuned map[string]spot    // parameters whose value a later layer replaced, and where
	removed map[string]spot    // rules that a later layer switched off, and where
	history map[string][]*Rule // rules as earlier layers had them

	was      *yaml.Node          // of the item read now: what it says it overrides
	item     *yaml.Node          // that is read now
	changes  []change            // of the layer read now
	offTests map[string]spot     // tests that a later layer switched off, and where
	cautions map[string][]string // of tests, as earlier layers had them
}

// itemKey names an item: suspect, coil.open.
type itemKey struct{ kind, id string }

// placed is an item as it is written, and where it stands: in its list, and in the last layer
// that declared it.
type placed struct {
	first, layer int // that declared it
	index        int
	at           spot
	item         *yaml.Node
}

// off is a later layer's wish to switch a rule off.
type off struct {
	id string
	at spot
}

func newMerge() *merge {
	return &merge{book: &Book{items: map[itemKey]placed{}}, removed: map[string]spot{}, retuned: map[string]spot{},
		history: map[string][]*Rule{}, offTests: map[string]spot{}, cautions: map[string][]string{}}
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
	key := itemKey{kind, id}
	before, known := m.book.items[key]
	switch {
	case known && before.layer == m.layer:
		r.fail(at, CodeDuplicate, "give one of them another id, or drop it", "%s %q is declared twice; the first is at %s", kind, id, before.at.pos())
		return
	case known:
		m.overrides(r, at, kind, id, "replaces")
		(*list)[before.index] = item
		m.book.items[key] = placed{before.first, m.layer, before.index, r.spot(at), m.item}
	default:
		m.alone(r, kind, id)
		*list = append(*list, item)
		m.book.items[key] = placed{m.layer, m.layer, len(*list) - 1, r.spot(at), m.item}
	}
}

// topLevel reads the sections of one file into the book.
func (r *reader) topLevel(n *yaml.Node, m *merge) {
	sections := []string{"facts", "parameters", "circuits", "complaints", "suspects", "tests", "rules", "words", "tables", "changes"}
	if n.Kind != yaml.MappingNode {
		r.fail(n, CodeType, "start with a section such as  rules:", "a rule file holds sections, but this is %s", nodeKind(n))
		return
	}
	o := r.object(n, "rule file", sections...)
	for _, item := range o.items("facts") {
		item = m.start(item)
		f := r.fact(item)
		put(m, r, idNode(item), "fact", f.ID, &m.book.Facts, f)
	}
	for _, item := range o.items("parameters") {
		item = m.start(item)
		p := r.parameter(item)
		if before, known := m.book.items[itemKey{"parameter", p.ID}]; known && before.layer < m.layer {
			m.retuned[p.ID] = r.spot(idNode(item))
		}
		put(m, r, idNode(item), "parameter", p.ID, &m.book.Parameters, p)
	}
	for _, item := range o.items("circuits") {
		item = m.start(item)
		c := r.circuit(item)
		put(m, r, idNode(item), "circuit", c.ID, &m.book.Circuits, c)
	}
	for _, item := range o.items("complaints") {
		item = m.start(item)
		c := r.complaint(item)
		put(m, r, idNode(item), "complaint", c.ID, &m.book.Complaints, c)
	}
	for _, item := range o.items("suspects") {
		item = m.start(item)
		s := r.suspect(item)
		put(m, r, idNode(item), "suspect", s.ID, &m.book.Suspects, s)
	}
	for _, item := range o.items("tests") {
		item = m.start(item)
		t := r.test(item)
		if before, known := m.book.items[itemKey{"test", t.ID}]; known && before.layer < m.layer {
			m.cautions[t.ID] = append(m.cautions[t.ID], m.book.Tests[before.index].Cautions...)
		}
		put(m, r, idNode(item), "test", t.ID, &m.book.Tests, t)
	}
	for _, item := range o.items("changes") {
		r.change(item, m)
	}
	for _, item := range o.items("rules") {
		item = m.start(item)
		r.mergeRule(item, m)
	}
	for _, item := range o.items("tables") {
		item = m.start(item)
		r.mergeTable(item, m)
	}
	for _, item := range o.items("words") {
		item = m.start(item)
		w := r.synonym(item)
		put(m, r, item, "word", w.Means, &m.book.Words, w)
	}
}

// idNode is the node to blame for an item's id.
func idNode(n *yaml.Node) *yaml.Node {
	if _, id := field(n, "id"); id != nil {
		return id
	}
	return n
}

func (r *reader) mergeRule(item *yaml.Node, m *merge) {
	rule, isOff := r.rule(item)
	before, known := m.book.items[itemKey{"rule", rule.ID}]
	earlier := known && before.layer < m.layer
	if earlier {
		m.history[rule.ID] = append(m.history[rule.ID], m.book.Rules[before.index])
	}
	switch {
	case isOff && earlier:
		m.overrides(r, idNode(item), "rule", rule.ID, "switches off")
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
