package rules

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// change is one entry of `changes`: a value of an item of an earlier layer, and no
// more, is replaced; or a suspect or test is switched off.
type change struct {
	r        *reader
	o        *object
	kind, id string
}

var changeKinds = []string{"suspect", "test", "parameter", "complaint"}

// changeFields is what of each kind can be changed.
var changeFields = map[string][]string{
	"suspect": {"prior", "off"}, "test": {"minutes", "off"}, "parameter": {"value"}, "complaint": {"priors"},
}

// change reads an entry; it is carried out when its whole layer was read.
func (r *reader) change(n *yaml.Node, m *merge) {
	o := r.object(n, "change", append([]string{"prior", "off", "minutes", "value", "priors", "was", "because", "source"}, changeKinds...)...)
	if o == nil {
		return
	}
	c := change{r: r, o: o}
	for _, kind := range changeKinds {
		if o.has(kind) && c.kind != "" {
			r.fail(o.key(kind), CodeField, "make it an entry of its own", "an entry changes one thing, but this has %q and %q", c.kind, kind)
			return
		}
		if o.has(kind) {
			c.kind, c.id = kind, o.text(kind)
		}
	}
	if c.kind == "" {
		r.fail(n, CodeMissing, "begin it with  suspect: coil.open,  test:,  parameter:  or  complaint:", "this change does not say what it changes")
		return
	}
	o.need("because")
	given := slices.DeleteFunc([]string{"prior", "off", "minutes", "value", "priors"}, func(f string) bool { return !o.has(f) })
	fields := changeFields[c.kind]
	switch {
	case len(given) == 0:
		r.fail(n, CodeMissing, "", "this change gives no %s", strings.Join(fields, " or "))
	case len(given) > 1:
		r.fail(o.key(given[1]), CodeField, "make it an entry of its own", "an entry changes one thing, but this has %q and %q", given[0], given[1])
	case !slices.Contains(fields, given[0]):
		r.fail(o.key(given[0]), CodeField, "of a "+c.kind+" it can be "+strings.Join(fields, " or "), "a %s has no %q to change", c.kind, given[0])
	default:
		m.changes = append(m.changes, c)
	}
}

// endLayer carries out the changes of the layer that was read.
func (m *merge) endLayer() {
	for _, c := range m.changes {
		m.carryOut(c)
	}
	m.changes = nil
}

func (m *merge) carryOut(c change) {
	at := c.o.at(c.kind)
	before, known := m.book.items[itemKey{c.kind, c.id}]
	switch {
	case !known || before.first == m.layer:
		c.r.fail(at, CodeName, didYouMean(c.id, m.idsOf(c.kind)), "no earlier ruleset has a %s %q to change", c.kind, c.id)
		return
	case before.layer == m.layer:
		c.r.fail(at, CodeDuplicate, "change it there, or keep one of the two", "this ruleset overrides %s %q already, at %s", c.kind, c.id, before.at.pos())
		return
	}
	o := Override{Kind: c.kind, ID: c.id, Does: "changes", Pos: c.r.spot(at).pos(), Under: before.at.pos(), at: c.r.spot(at)}
	now := ""
	switch c.kind {
	case "suspect":
		o.Was, now = m.changeSuspect(c, before.index)
	case "test":
		o.Was, now = m.changeTest(c, before.index)
	case "parameter":
		o.Was, now = m.changeParameter(c, before.index)
	case "complaint":
		o.Was, now = m.changePriors(c, before.index)
	}
	if c.o.has("off") {
		o.Does = "switches off"
	} else {
		o.What = o.Was + " to " + now
	}
	if was := c.o.at("was"); was != nil {
		o.Said, o.at = valueText(was), c.r.spot(was)
		if c.o.has("off") {
			o.Said = was.Value // a fingerprint, which may look like a number
		}
		if c.kind == "test" && was.Kind == yaml.ScalarNode && c.o.has("minutes") { // one number stands for three
			o.Said = "[" + o.Said + ", " + o.Said + ", " + o.Said + "]"
		}
	}
	m.book.overrides = append(m.book.overrides, o)
	both := &yaml.Node{Kind: yaml.SequenceNode, Content: []*yaml.Node{
		{Kind: yaml.ScalarNode, Value: m.book.Fingerprint(c.kind, c.id)}, c.o.node}}
	m.book.items[itemKey{c.kind, c.id}] = placed{before.first, m.layer, before.index, before.at, both}
}

func (m *merge) idsOf(kind string) []string {
	var out []string
	for key := range m.book.items {
		if key.kind == kind {
			out = append(out, key.id)
		}
	}
	slices.Sort(out)
	return out
}

// never is a condition that no circuit meets.
func (c change) never() *Formula { return &Formula{source: "false", at: c.r.spot(c.o.at("off"))} }

// off reads `off: true`; anything else is refused.
func (c change) off() bool {
	if c.o.has("off") && !c.o.flag("off") {
		c.r.fail(c.o.at("off"), CodeValue, "leave the entry out", "what is not switched off needs no entry")
	}
	return c.o.has("off")
}

func (m *merge) changeSuspect(c change, i int) (was, now string) {
	s := *m.book.Suspects[i]
	m.book.Suspects[i] = &s
	if c.off() {
		s.When = c.never()
		return m.book.Fingerprint("suspect", c.id), ""
	}
	was = number(s.Prior)
	s.Prior = c.o.number("prior", 1, 1e-9, 1e9)
	return was, number(s.Prior)
}

func (m *merge) changeTest(c change, i int) (was, now string) {
	t := *m.book.Tests[i]
	m.book.Tests[i] = &t
	if c.off() {
		t.When = c.never()
		m.offTests[t.ID] = c.r.spot(c.o.at("test"))
		return m.book.Fingerprint("test", c.id), ""
	}
	was = minutesText(t.Minutes)
	t.Minutes = c.o.minutes()
	return was, minutesText(t.Minutes)
}

func minutesText(m [3]float64) string {
	return "[" + number(m[0]) + ", " + number(m[1]) + ", " + number(m[2]) + "]"
}

func (m *merge) changeParameter(c change, i int) (was, now string) {
	p := *m.book.Parameters[i]
	m.book.Parameters[i] = &p
	was = number(p.Value)
	p.Value = c.o.number("value", 0, math.Inf(-1), math.Inf(1))
	if p.Source = c.o.text("source"); p.Source == "" {
		c.o.need("source")
	}
	m.retuned[p.ID] = c.r.spot(c.o.at("parameter"))
	return was, number(p.Value)
}

// changePriors gives suspects a weight of their own under a complaint. A pattern has
// to be one of the table's; an id goes before every pattern that matches it.
func (m *merge) changePriors(c change, i int) (was, now string) {
	old := m.book.Complaints[i]
	next := *old
	next.Priors, next.Own = map[string]float64{}, map[string]float64{}
	for k, v := range old.Priors {
		next.Priors[k] = v
	}
	for k, v := range old.Own {
		next.Own[k] = v
	}
	next.ownAt = slices.Clone(old.ownAt)
	m.book.Complaints[i] = &next
	var before, after []string
	for _, s := range c.o.shares("priors", 1e9) {
		had, listed := next.Priors[s.key]
		if own, ok := next.Own[s.key]; ok {
			had, listed = own, true
		}
		text := "none"
		if listed {
			text = number(had)
		}
		before, after = append(before, s.key+": "+text), append(after, s.key+": "+number(s.number))
		if _, pattern := next.Priors[s.key]; pattern && strings.Contains(s.key, "*") {
			next.Priors[s.key] = s.number
			continue
		}
		next.Own[s.key] = s.number
		next.ownAt = append(next.ownAt, c.r.spot(s.at))
	}
	return "{" + strings.Join(before, ", ") + "}", "{" + strings.Join(after, ", ") + "}"
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// valueText writes a value the way Override.Was does.
func valueText(n *yaml.Node) string {
	scalar := func(n *yaml.Node) string {
		if v, err := strconv.ParseFloat(n.Value, 64); err == nil {
			return number(v)
		}
		return n.Value
	}
	var parts []string
	switch n.Kind {
	case yaml.SequenceNode:
		for _, c := range n.Content {
			parts = append(parts, scalar(c))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			parts = append(parts, n.Content[i].Value+": "+scalar(n.Content[i+1]))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	}
	return scalar(n)
}

// changed checks what changes name, and that none loosens a safety rule.
func (k *checker) changed(m *merge) {
	for _, c := range k.book.Complaints {
		for _, at := range c.ownAt {
			if _, ok := k.book.Suspect(at.node.Value); !ok {
				k.add(at, CodeName, fmt.Sprintf("there is no suspect %q, and the table of %q has no such pattern", at.node.Value, c.ID), didYouMean(at.node.Value, k.book.suspectIDs()))
			}
		}
	}
	for _, r := range k.book.Rules {
		if !r.Safety {
			continue
		}
		for _, id := range k.testsOf(r, Require) {
			if at, off := m.offTests[id]; off {
				k.add(at, CodeSafety, fmt.Sprintf("%q can't be switched off: the safety rule %q (%s) requires it", id, r.ID, r.Pos), "")
			}
		}
	}
	for _, t := range k.book.Tests {
		for _, caution := range m.cautions[t.ID] {
			if !slices.Contains(t.Cautions, caution) {
				k.add(t.at.of("cautions"), CodeSafety, fmt.Sprintf("this loosens the test %q: it leaves out the caution %q", t.ID, clip(caution)), "repeat its cautions; more may be added")
			}
		}
	}
}
