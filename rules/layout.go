package rules

import (
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// fieldOrder is the order in which the fields of an item are written, where there is one.
var fieldOrder = map[string][]string{
	"rules":      {"for", "id", "off", "when", "over", "then", "because", "source", "safety"},
	"suspects":   {"for", "id", "words", "prior", "when", "stays", "does", "repair"},
	"facts":      {"for", "id", "kind", "unit", "range", "of", "words"},
	"parameters": {"for", "id", "value", "unit", "source", "words"},
	"complaints": {"for", "id", "prove", "words", "priors"},
}

// Format lays out a rule file the way the shipped ones are: two spaces a step, fields in one order, no
// blanks at line ends, one empty line at most. Comments stay with what they stand at, and lines are
// neither joined nor broken. What the file means does not change: that is checked, and where it would
// the file comes back as it is, with an error. The other errors are of files that are not YAML.
func Format(name string, data []byte) ([]byte, error) {
	root, err := parseDocument(name, data)
	if err != nil || root == nil {
		return data, err
	}
	f := &layout{lines: cleanLines(data)}
	f.literal = map[int]bool{}
	f.indent = map[int]int{}
	f.dash = map[int]bool{}
	f.walk(root, 0)
	f.shift()
	text := f.text()
	if again, err := parseDocument(name, []byte(text)); err == nil && again != nil {
		o := &layout{lines: strings.Split(strings.TrimSuffix(text, "\n"), "\n")}
		o.order(again)
		text = o.text()
	}
	if err := sameMeaning(data, []byte(text)); err != nil {
		return data, fmt.Errorf("%s: left as it is: %w", name, err)
	}
	return []byte(text), nil
}

func parseDocument(name string, data []byte) (*yaml.Node, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		return nil, fmt.Errorf("%s: this is not readable as YAML: %w", name, err)
	}
	if len(doc.Content) == 0 {
		return nil, nil
	}
	return doc.Content[0], nil
}

func cleanLines(data []byte) []string {
	text := strings.TrimRight(strings.TrimPrefix(string(data), "\uFEFF"), " \t\r\n")
	return splitLines(text)
}

// layout is one file being laid out. Lines count from 1 in nodes, from 0 in lines.
type layout struct {
	lines   []string
	indent  map[int]int  // by line: where its first word belongs
	dash    map[int]bool // the line starts an item: indent is that of the dash
	literal map[int]bool // the line is text of a block scalar
}

// walk says where the lines belong that start a field or an item.
func (f *layout) walk(n *yaml.Node, at int) {
	switch {
	case n.Style&yaml.FlowStyle != 0 || n.Kind == yaml.AliasNode:
	case n.Kind == yaml.ScalarNode && n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		f.block(n)
	case n.Kind == yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			key, value := n.Content[i], n.Content[i+1]
			if !f.dash[key.Line-1] {
				f.indent[key.Line-1] = at
			}
			f.walk(value, at+2)
		}
	case n.Kind == yaml.SequenceNode:
		for _, item := range n.Content {
			line := item.Line - 1
			if !f.dash[line] && strings.HasPrefix(strings.TrimLeft(f.lines[line], " "), "- ") {
				f.indent[line], f.dash[line] = at, true
			}
			f.walk(item, at+2)
		}
	}
}

// block marks the lines of a text that keeps its line breaks.
func (f *layout) block(n *yaml.Node) {
	first := f.lines[n.Line-1]
	head := len(first) - len(strings.TrimLeft(first, " -")) // of the field
	if item := strings.TrimLeft(first, " "); strings.HasPrefix(item, "- |") || strings.HasPrefix(item, "- >") {
		head = len(first) - len(item) // of the dash
	}
	for i := n.Line; i < len(f.lines); i++ {
		line := f.lines[i]
		if strings.TrimSpace(line) != "" && len(line)-len(strings.TrimLeft(line, " ")) <= head {
			return
		}
		f.literal[i] = true
	}
}

// shift moves each line that starts something to its place, what continues it along with it, and
// comments along with what follows them.
func (f *layout) shift() {
	delta := make([]int, len(f.lines))
	known := make([]bool, len(f.lines))
	last := 0
	for i, line := range f.lines {
		if at, ok := f.indent[i]; ok {
			last = at - (len(line) - len(strings.TrimLeft(line, " ")))
			known[i] = true
		} else if !isComment(line) || f.literal[i] {
			known[i] = true
		}
		delta[i] = last
	}
	next, above := 0, -1 // shift of what follows; where it belongs, if it follows at once
	for i := len(f.lines) - 1; i >= 0; i-- {
		switch {
		case f.literal[i]:
		case isComment(f.lines[i]) && !known[i] && above >= 0:
			delta[i] = above - (len(f.lines[i]) - len(strings.TrimLeft(f.lines[i], " ")))
		case isComment(f.lines[i]) && !known[i]:
			delta[i] = next
		case strings.TrimSpace(f.lines[i]) != "":
			next, above = delta[i], -1
			if at, ok := f.indent[i]; ok {
				above = at
			}
		default:
			above = -1
		}
	}
	for i, line := range f.lines {
		f.lines[i] = moved(line, delta[i])
		if f.dash[i] {
			f.lines[i] = oneSpace.ReplaceAllString(f.lines[i], "$1- ")
		}
	}
}

var oneSpace = regexp.MustCompile(`^( *)- +`)

func isComment(line string) bool { return strings.HasPrefix(strings.TrimSpace(line), "#") }

func moved(line string, by int) string {
	text := strings.TrimLeft(line, " ")
	if text == "" {
		return ""
	}
	return strings.Repeat(" ", max(len(line)-len(text)+by, 0)) + text
}

// text joins the lines, without blanks at their ends and with one empty line at most.
func (f *layout) text() string {
	var out []string
	for i, line := range f.lines {
		if !f.literal[i] {
			line = strings.TrimRight(line, " \t")
		}
		if line == "" && !f.literal[i] && (len(out) == 0 || out[len(out)-1] == "") {
			continue
		}
		out = append(out, line)
	}
	return strings.TrimRight(strings.Join(out, "\n"), "\n") + "\n"
}

// order sorts the fields of every item of the sections, last item first so that line numbers hold.
func (f *layout) order(root *yaml.Node) {
	if root.Kind != yaml.MappingNode {
		return
	}
	for i := len(root.Content) - 2; i >= 0; i -= 2 {
		order, items := fieldOrder[root.Content[i].Value], root.Content[i+1]
		if order == nil || items.Kind != yaml.SequenceNode || items.Style&yaml.FlowStyle != 0 {
			continue
		}
		for j := len(items.Content) - 1; j >= 0; j-- {
			if item := items.Content[j]; item.Kind == yaml.MappingNode && item.Style&yaml.FlowStyle == 0 {
				f.orderItem(item, order)
			}
		}
	}
}

// orderItem sorts the fields of one item, each with its lines and the comments above it.
func (f *layout) orderItem(item *yaml.Node, order []string) {
	type field struct {
		key   string
		lines []string
	}
	var fields []field
	start := item.Content[0].Line - 1
	end := f.endOf(item)
	for i := 0; i+1 < len(item.Content); i += 2 {
		from, to := f.top(item.Content[i].Line-1, start), end
		if i+2 < len(item.Content) {
			to = f.top(item.Content[i+2].Line-1, item.Content[i].Line)
		}
		if from >= to {
			return // two fields on one line
		}
		fields = append(fields, field{item.Content[i].Value, slices.Clone(f.lines[from:to])})
	}
	rank := func(x field) int {
		if at := slices.Index(order, x.key); at >= 0 {
			return at
		}
		return len(order)
	}
	if slices.IsSortedFunc(fields, func(a, b field) int { return rank(a) - rank(b) }) {
		return
	}
	fields[0].lines[0] = strings.Replace(fields[0].lines[0], "- ", "  ", 1)
	slices.SortStableFunc(fields, func(a, b field) int { return rank(a) - rank(b) })
	var out []string
	for _, x := range fields {
		out = append(out, x.lines...)
	}
	first := slices.IndexFunc(out, func(l string) bool { return !isComment(l) && l != "" })
	text := strings.TrimLeft(out[first], " ")
	indent := len(out[first]) - len(text)
	out[first] = strings.Repeat(" ", max(indent-2, 0)) + "- " + text
	f.lines = slices.Concat(f.lines[:start], out, f.lines[end:])
}

// top steps up over the comments right above a line.
func (f *layout) top(line, least int) int {
	for line > least && isComment(f.lines[line-1]) {
		line--
	}
	return line
}

// endOf gives the line after the last one of an item: what is indented further than its dash.
func (f *layout) endOf(item *yaml.Node) int {
	dash := item.Column - 3
	end := item.Line
	for i := item.Line; i < len(f.lines); i++ {
		line := f.lines[i]
		if strings.TrimSpace(line) == "" {
			continue
		}
		if len(line)-len(strings.TrimLeft(line, " ")) <= dash {
			break
		}
		end = i + 1
	}
	return end
}

// sameMeaning compares two files as data and by their comments.
func sameMeaning(before, after []byte) error {
	var a, b any
	if err := yaml.Unmarshal(before, &a); err != nil {
		return err
	}
	if err := yaml.Unmarshal(after, &b); err != nil {
		return err
	}
	if !reflect.DeepEqual(a, b) {
		return fmt.Errorf("laid out anew it would mean something else")
	}
	if x, y := commentsOf(before), commentsOf(after); !slices.Equal(x, y) {
		return fmt.Errorf("a comment would be lost")
	}
	return nil
}

func commentsOf(data []byte) []string {
	var out []string
	for _, line := range cleanLines(data) {
		if at := strings.Index(line, "#"); at >= 0 {
			out = append(out, strings.TrimSpace(line[at:]))
		}
	}
	slices.Sort(out)
	return out
}
