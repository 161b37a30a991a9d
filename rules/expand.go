package rules

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// What `for` may make of one file: items, and YAML nodes within them.
const (
	maxItems    = 10_000
	maxExpanded = 2_000_000
)

// expander writes out the items that `for` declares once for many. `{name}` is
// replaced in every text of the item; other names in braces stay, they are
// roles that follow from the wiring.
type expander struct {
	*reader
	made  int // items
	nodes int
	stuck bool // the budget was reported
}

func (x *expander) expand(n *yaml.Node, outer *swap) {
	switch n.Kind {
	case yaml.DocumentNode, yaml.MappingNode:
		for _, c := range n.Content {
			x.expand(c, outer)
		}
	case yaml.SequenceNode:
		if slices.ContainsFunc(n.Content, func(item *yaml.Node) bool { return forKey(item) >= 0 }) {
			x.items(n)
		}
		for _, item := range n.Content {
			if x.stuck {
				return
			}
			x.expand(item, outer)
		}
	}
}

// items writes out the members of a list.
func (x *expander) items(list *yaml.Node) {
	var out []*yaml.Node
	for _, item := range list.Content {
		out = append(out, x.item(item)...)
		if x.stuck {
			return
		}
	}
	list.Content = out
}

// item gives what one member of a list stands for.
func (x *expander) item(n *yaml.Node) []*yaml.Node {
	at := forKey(n)
	if at < 0 {
		return []*yaml.Node{n}
	}
	over := n.Content[at+1]
	rest := *n
	rest.Content = append(append([]*yaml.Node{}, n.Content[:at]...), n.Content[at+2:]...)
	if over.Kind != yaml.MappingNode || len(over.Content) == 0 {
		x.fail(over, CodeType, "for: {T: [30, 87]}", "`for` gives each name a list, but this is %s", nodeKind(over))
		return []*yaml.Node{&rest}
	}
	out := []*yaml.Node{&rest}
	for i := 0; i+1 < len(over.Content) && !x.stuck; i += 2 {
		out = x.each(out, over.Content[i], over.Content[i+1])
	}
	return out
}

func forKey(n *yaml.Node) int {
	if n.Kind != yaml.MappingNode {
		return -1
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == "for" {
			return i
		}
	}
	return -1
}

// each multiplies the items by the values of one variable.
func (x *expander) each(items []*yaml.Node, name, values *yaml.Node) []*yaml.Node {
	if values.Kind != yaml.SequenceNode || len(values.Content) == 0 {
		x.fail(values, CodeType, fmt.Sprintf("for: {%s: [30, 87]}", name.Value), "%q in `for` needs a list of values, but this is %s", name.Value, nodeKind(values))
		return items
	}
	used := false
	var out []*yaml.Node
	for _, value := range values.Content {
		if value.Kind != yaml.ScalarNode {
			x.fail(value, CodeType, "", "a value in `for` is one word or number, but this is %s", nodeKind(value))
			continue
		}
		for _, item := range items {
			if x.made++; x.made > maxItems || x.nodes > maxExpanded {
				x.stuck = true
				x.fail(name, CodeBudget, "split the file or shorten the lists", "`for` makes more than %d items", maxItems)
				return out
			}
			clone, hit := x.replace(item, "{"+name.Value+"}", value.Value)
			used = used || hit
			out = append(out, clone)
		}
	}
	if !used {
		x.fail(name, CodeName, fmt.Sprintf("write {%s} where the value belongs", name.Value), "the item never uses {%s}", name.Value)
		return items
	}
	return out
}

// replace clones a tree with the variable replaced in every scalar.
func (x *expander) replace(n *yaml.Node, name, value string) (*yaml.Node, bool) {
	x.nodes++
	clone := *n
	clone.Content = make([]*yaml.Node, len(n.Content))
	used := false
	for i, c := range n.Content {
		child, hit := x.replace(c, name, value)
		clone.Content[i] = child
		used = used || hit
	}
	if before := x.src.swaps[n]; before != nil {
		x.src.swaps[&clone] = before
	}
	if n.Kind != yaml.ScalarNode || !strings.Contains(n.Value, name) {
		return &clone, used
	}
	change := &swap{node: n}
	size, length := len([]rune(name)), len([]rune(value))
	at := 0
	parts := strings.Split(n.Value, name)
	for _, part := range parts[:len(parts)-1] {
		at += len([]rune(part))
		change.edits = append(change.edits, edit{from: at, to: at + size, length: length})
		at += size
	}
	clone.Value = strings.Join(parts, value)
	x.src.swaps[&clone] = change
	return &clone, true
}
