package rules

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// reader turns the YAML nodes of one file into the model, reporting whatever
// does not fit.
type reader struct {
	*problems
	src *source
}

func (r *reader) spot(n *yaml.Node) spot {
	return spot{src: r.src, node: n}
}

func (r *reader) fail(n *yaml.Node, code Code, hint, format string, args ...any) {
	r.add(r.spot(n), code, fmt.Sprintf(format, args...), hint)
}

// object is a mapping whose keys were checked. A nil object reads as empty.
type object struct {
	r     *reader
	what  string // "suspect", for messages
	node  *yaml.Node
	slips []string // known fields of which a misspelling was reported
}

// field gives the first field of that name in a mapping, as key and value; nil when there is
// none. An item has few fields: looking through them costs less than a map would.
func field(n *yaml.Node, name string) (key, value *yaml.Node) {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil, nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == name {
			return n.Content[i], n.Content[i+1]
		}
	}
	return nil, nil
}

// object checks that n is a mapping with no key twice and none but the allowed, of which
// there are at most 64.
func (r *reader) object(n *yaml.Node, what string, allowed ...string) *object {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.MappingNode {
		r.fail(n, CodeType, "write its fields as  name: value", "this %s should be a mapping of fields, but it is %s", what, nodeKind(n))
		return nil
	}
	o := &object{r: r, what: what, node: n}
	var seen uint64 // a bit for each of the allowed
	for i := 0; i+1 < len(n.Content); i += 2 {
		key := n.Content[i]
		is := slices.Index(allowed, key.Value)
		switch {
		case is < 0:
			o.slips = append(o.slips, Nearest(key.Value, allowed))
			r.fail(key, CodeField, didYouMean(key.Value, allowed), "%q is not a field of this %s", key.Value, what)
		case seen&(1<<is) != 0:
			r.fail(key, CodeDuplicate, "keep one of them", "%q is given twice in this %s", key.Value, what)
		default:
			seen |= 1 << is
		}
	}
	return o
}

func nodeKind(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a mapping"
	case yaml.SequenceNode:
		return "a list"
	case yaml.ScalarNode:
		if n.Tag == "!!null" {
			return "empty"
		}
		return fmt.Sprintf("the single value %q", clip(n.Value))
	}
	return "something else"
}

func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

func (o *object) at(key string) *yaml.Node {
	if o == nil {
		return nil
	}
	_, value := field(o.node, key)
	return value
}

// key gives the node that names a field.
func (o *object) key(name string) *yaml.Node {
	key, _ := field(o.node, name)
	return key
}

func (o *object) has(key string) bool { return o.at(key) != nil }

// missing shows, for fields that are often forgotten, what belongs in them.
var missing = map[string]string{
	"id":      "id: a_name_of_its_own",
	"when":    "when: the condition under which it holds",
	"then":    "then: [{do: advise, say: what to do}]",
	"because": "because: why this holds, in one sentence",
	"source":  "source: where it was published, or practice",
	"say":     "say: what to do, in one plain sentence",
	"measure": "measure: {mode: volts_dc, red: a place, black: battery.negative}",
	"mode":    "mode: volts_dc, ohms, watch and so on",
	"red":     "red: the place that the red lead touches",
	"black":   "black: battery.negative, or another place for the black lead",
	"at":      "at: the place or part",
	"do":      "do: advise, caution, set, weigh, rule_out, require, forbid or prefer",
	"by":      "by: a factor, above 1 for more and below 1 for less",
	"to":      "to: the value",
	"fact":    "fact: the fact to set",
	"ohms":    "ohms: how many, such as {between: [0.1, 2]}",
	"value":   "value: the number",
	"during":  "during: wiggle, command or crank",
	"how":     "how: clamp, fuse_drop or series",
	"of":      "of: the answers, such as [yes, no]",
}

// need reports a field that is missing.
func (o *object) need(keys ...string) bool {
	if o == nil {
		return false
	}
	all := true
	for _, key := range keys {
		switch {
		case o.has(key):
		case slices.Contains(o.slips, key):
			all = false
		default:
			o.r.fail(o.node, CodeMissing, missing[key], "this %s has no %q", o.what, key)
			all = false
		}
	}
	return all
}

func (o *object) pos() Pos {
	if o == nil {
		return Pos{}
	}
	return o.r.spot(o.node).pos()
}

// text reads a scalar as text; numbers keep the way they are written.
func (o *object) text(key string) string {
	n := o.at(key)
	switch {
	case n == nil:
		return ""
	case isText(n):
		return n.Value
	}
	return o.r.text(n, fmt.Sprintf("%q", key))
}

func isText(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag != "!!null" }

func (r *reader) text(n *yaml.Node, what string) string {
	if !isText(n) {
		r.fail(n, CodeType, "", "%s is one text, but this is %s", what, nodeKind(n))
		return ""
	}
	return n.Value
}

// id reads the item's id and checks its form.
func (o *object) id() string {
	if o == nil || !o.need("id") {
		return ""
	}
	id := o.text("id")
	if !validID(id) {
		o.r.fail(o.at("id"), CodeValue, "use lower-case letters, digits, _ and .", "%q can't be an id", id)
	}
	return id
}

func validID(id string) bool {
	return id != "" && len(id) <= 120 && strings.IndexFunc(id, func(c rune) bool {
		return !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_' || c == '.')
	}) < 0
}

// number reads a finite number from low to high; def when the field is absent.
func (o *object) number(key string, def, low, high float64) float64 {
	n := o.at(key)
	if n == nil {
		return def
	}
	return o.r.number(n, fmt.Sprintf("%q", key), low, high)
}

func (r *reader) number(n *yaml.Node, what string, low, high float64) float64 {
	v, err := strconv.ParseFloat(n.Value, 64)
	if n.Kind != yaml.ScalarNode || err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		r.fail(n, CodeType, "write it in digits, such as 0.5", "%s is a number, but this is %s", what, nodeKind(n))
		return max(low, 1)
	}
	switch {
	case v <= 0 && low > 0 && low < 1e-6:
		r.fail(n, CodeValue, "", "%s is %s; it has to be more than 0", what, inDigits(v))
	case v < low || v > high:
		r.fail(n, CodeValue, "", "%s is %s, which is outside %s to %s", what, inDigits(v), inDigits(low), inDigits(high))
	}
	return v
}

// inDigits writes a number as people do, without an exponent, thousands parted by commas:
// 1,000,000,000.
func inDigits(v float64) string {
	whole, part, _ := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), ".")
	sign := strings.TrimSuffix(whole, strings.TrimLeft(whole, "-"))
	whole = strings.TrimPrefix(whole, sign)
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if part != "" {
		part = "." + part
	}
	return sign + whole + part
}

func (o *object) flag(key string) bool {
	n := o.at(key)
	if n == nil {
		return false
	}
	if n.Kind != yaml.ScalarNode || n.Tag != "!!bool" {
		o.r.fail(n, CodeType, "write true or false", "%q is true or false, but this is %s", key, nodeKind(n))
		return false
	}
	return strings.EqualFold(n.Value, "true")
}

// choice reads one of a fixed set of words.
func (o *object) choice(key string, of ...string) string {
	n := o.at(key)
	if n == nil {
		return ""
	}
	v := o.text(key)
	if !slices.Contains(of, v) && v != "" {
		o.r.fail(n, CodeChoice, didYouMean(v, of), "%q is not a known %s", v, strings.NewReplacer("_", " ", "do", "action").Replace(key))
	}
	return v
}

// textsOf is texts of which each must be one of some.
func (o *object) textsOf(key string, of ...string) []string {
	all := o.texts(key)
	for i, v := range all {
		if !slices.Contains(of, v) {
			n := o.at(key)
			if i < len(n.Content) {
				n = n.Content[i]
			}
			o.r.fail(n, CodeChoice, didYouMean(v, of), "%q is nothing that can be %s", v, key)
		}
	}
	return all
}

// items gives the members of a list field; a single value is a list of one.
func (o *object) items(key string) []*yaml.Node {
	n := o.at(key)
	if n == nil {
		return nil
	}
	if n.Kind != yaml.SequenceNode {
		o.r.fail(n, CodeType, "write it as [one, two] or as lines that start with -", "%q is a list, but this is %s", key, nodeKind(n))
		return nil
	}
	return n.Content
}

// texts reads a list of texts; one bare text is a list of one.
func (o *object) texts(key string) []string {
	n := o.at(key)
	if n == nil {
		return nil
	}
	if isText(n) {
		return []string{n.Value}
	}
	var out []string
	for _, item := range o.items(key) {
		out = append(out, o.r.text(item, fmt.Sprintf("each of %q", key)))
	}
	return out
}

// share is one key and number of a mapping such as {loose: 2, sound: 8}.
type share struct {
	key    string
	at     *yaml.Node
	number float64
}

// shares reads a mapping of words to numbers >= 0, in the order of the file.
func (o *object) shares(key string, high float64) []share {
	n := o.at(key)
	if n == nil {
		return nil
	}
	if n.Kind != yaml.MappingNode {
		o.r.fail(n, CodeType, "write {word: number, ...}", "%q gives each word a number, but this is %s", key, nodeKind(n))
		return nil
	}
	var out []share
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		if seen[k.Value] {
			o.r.fail(k, CodeDuplicate, "keep one of them", "%q is given twice in %q", k.Value, key)
			continue
		}
		seen[k.Value] = true
		out = append(out, share{k.Value, k, o.r.number(n.Content[i+1], fmt.Sprintf("%q", k.Value), 0, high)})
	}
	return out
}
