package rules

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// CodeStale is the code of a finding: what a layer overrides has changed since.
const CodeStale Code = "changed_underneath"

// Override is one thing that a later layer does to an item of an earlier one.
type Override struct {
	Kind, ID string // suspect, coil.open
	Does     string // replaces, switches off, changes
	What     string // of a change: "prior 2 to 3"
	Pos      Pos    // where the later layer says so
	Under    Pos    // what it overrides
	Was      string // what is underneath now, in the words of `was`: a fingerprint, or the value changed
	Said     string // what `was` says was underneath when it was written; "" = it says nothing
	at       spot
}

// Stale reports whether what is underneath has changed since the override was written.
func (o Override) Stale() bool { return o.Said != "" && o.Said != o.Was }

// String says what is overridden, in one line.
func (o Override) String() string {
	text := o.Does + " " + o.Kind + " " + o.ID
	if o.What != "" {
		text += ": " + o.What
	}
	return text + " (" + o.Under.String() + ")"
}

// Overrides gives everything that later layers do to items of earlier ones, in the
// order it was read.
func (b *Book) Overrides() []Override { return slices.Clone(b.overrides) }

// Stale gives a finding for each override under which something has changed.
func (b *Book) Stale() Errors {
	p := &problems{}
	for _, o := range b.overrides {
		if o.Stale() {
			p.add(o.at, CodeStale, fmt.Sprintf("the %s %s that this overrides (%s) has changed since this was written: it was %s and is %s now", o.Kind, o.ID, o.Under, o.Said, o.Was),
				"look at both again; then write  was: "+o.Was)
		}
	}
	return p.list.sorted()
}

// Fingerprint is eight hex digits that change when the item as it is in force is written otherwise,
// comments and the order of its fields apart; "" for an item that is not there.
func (b *Book) Fingerprint(kind, id string) string {
	at, ok := b.items[itemKey{kind, id}]
	if !ok {
		return ""
	}
	return fingerprint(at.item)
}

// fingerprint digests a node.
func fingerprint(n *yaml.Node) string {
	sum := sha256.Sum256(canonical(nil, n))
	return hex.EncodeToString(sum[:4])
}

// canonical appends a node in a form that does not depend on layout or the order of fields.
func canonical(to []byte, n *yaml.Node) []byte {
	to = append(to, byte(n.Kind))
	to = binary.BigEndian.AppendUint32(to, uint32(len(n.Content))) //nolint:gosec // a file is bounded
	to = append(append(to, n.Value...), 0)
	if n.Kind != yaml.MappingNode {
		for _, c := range n.Content {
			to = canonical(to, c)
		}
		return to
	}
	order := make([]int, 0, len(n.Content)/2)
	for i := 0; i+1 < len(n.Content); i += 2 {
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return strings.Compare(n.Content[a].Value, n.Content[b].Value) })
	for _, i := range order {
		to = canonical(canonical(to, n.Content[i]), n.Content[i+1])
	}
	return to
}

// start makes an item the one that is read now. What it gives is the item without `was`,
// where there can be something underneath.
func (m *merge) start(item *yaml.Node) *yaml.Node {
	m.was, m.item = nil, item
	if m.layer == 0 {
		return item
	}
	if key, was := field(item, "was"); key != nil {
		rest := *item
		at := slices.Index(item.Content, key)
		rest.Content = slices.Delete(slices.Clone(item.Content), at, at+2)
		m.was, m.item = was, &rest
	}
	return m.item
}

// overrides notes that the item read now overrides the one of that key.
func (m *merge) overrides(r *reader, at *yaml.Node, kind, id, does string) {
	o := Override{Kind: kind, ID: id, Does: does, Pos: r.spot(at).pos(), Under: m.book.items[itemKey{kind, id}].at.pos(), Was: m.book.Fingerprint(kind, id), at: r.spot(at)}
	if m.was != nil {
		o.Said, o.at = r.text(m.was, `"was"`), r.spot(m.was)
	}
	m.book.overrides = append(m.book.overrides, o)
}

// alone refuses a `was` in an item that overrides nothing.
func (m *merge) alone(r *reader, kind, id string) {
	if m.was != nil {
		r.fail(m.was, CodeName, "leave it out", `no earlier ruleset has a %s %q, so "was" says nothing here`, kind, id)
	}
}

// SameButRules reports whether two books differ in nothing but facts, words and rules of the
// first stage: circuit, suspects, tests, complaints, parameters, tables and the rules that
// look at the ranking are the same.
func SameButRules(a, b *Book) bool {
	return slices.Equal(a.shell(), b.shell())
}

// shell lists what SameButRules compares.
func (b *Book) shell() []string {
	var out []string
	add := func(kind, id string) { out = append(out, kind+" "+id+" "+b.Fingerprint(kind, id)) }
	for _, c := range b.Circuits {
		add("circuit", c.ID)
	}
	for _, c := range b.Complaints {
		add("complaint", c.ID)
	}
	for _, s := range b.Suspects {
		add("suspect", s.ID)
	}
	for _, t := range b.Tests {
		add("test", t.ID)
	}
	for _, p := range b.Parameters {
		add("parameter", p.ID)
	}
	for _, t := range b.Tables {
		add("table", t.ID)
	}
	for _, r := range b.Rules {
		if r.Late {
			add("rule", r.ID)
		}
	}
	return out
}
