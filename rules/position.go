package rules

import (
	"regexp"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// source is one rule file as text, kept while loading so that an error can show
// the line it blames.
type source struct {
	name  string
	lines []string
	swaps map[*yaml.Node]*swap // what `for` replaced
}

func newSource(name string, data []byte) *source {
	return &source{name: name, lines: splitLines(strings.TrimPrefix(string(data), "\uFEFF")), swaps: map[*yaml.Node]*swap{}}
}

var lineBreak = regexp.MustCompile("\r\n|[\n\r\u0085\u2028\u2029]")

// splitLines breaks lines wherever YAML 1.1 does (https://yaml.org/spec/1.1/, "Line Break Characters"),
// as the parser counts them.
func splitLines(text string) []string {
	for _, rare := range []string{"\r", "\u0085", "\u2028", "\u2029"} {
		if strings.Contains(text, rare) {
			return lineBreak.Split(text, -1)
		}
	}
	return strings.Split(text, "\n")
}

// line gives line n, counted from 1; "" when there is none.
func (s *source) line(n int) string {
	if n < 1 || n > len(s.lines) {
		return ""
	}
	return s.lines[n-1]
}

// spot is a YAML node together with the file it came from.
type spot struct {
	src  *source
	node *yaml.Node
}

// child gives the place of a node below this one.
func (s spot) child(n *yaml.Node) spot {
	return spot{src: s.src, node: n}
}

// swap records that the text of a scalar came out of `for`: the positions of
// the text before the replacement are the ones to show.
type swap struct {
	node  *yaml.Node // as it was; an enclosing `for` may have made that one
	edits []edit
}

// edit replaces the runes from..to of the text before by a value.
type edit struct{ from, to, length int }

func (s spot) pos() Pos {
	if s.src == nil || s.node == nil {
		return Pos{}
	}
	if last := len(s.src.lines); s.node.Line > last { // what is missing at the end may be put behind it
		return Pos{File: s.src.name, Line: last, Column: utf8.RuneCountInString(s.src.line(last)) + 1}
	}
	return Pos{File: s.src.name, Line: s.node.Line, Column: s.node.Column}
}

// places maps every rune of the scalar's value, and its end, to the file.
func (s spot) places() []Pos {
	if s.node == nil || s.src == nil {
		return nil
	}
	change := s.src.swaps[s.node]
	if change == nil {
		return scan(s.src, s.node)
	}
	before := s.child(change.node).places()
	var out []Pos
	at := 0
	for _, e := range change.edits {
		out = append(out, before[at:e.from]...)
		for range e.length {
			out = append(out, before[e.from])
		}
		at = e.to
	}
	return append(out, before[at:]...)
}

// scan walks the source text of a scalar beside its decoded value. Folding,
// escapes and indentation make the two differ; where they cannot be matched the
// last matched place stands.
func scan(src *source, node *yaml.Node) []Pos {
	w := walker{src: src, line: node.Line, col: node.Column, value: []rune(node.Value)}
	w.runes = []rune(src.line(w.line))
	switch {
	case node.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		w.openBlock()
	case node.Style&yaml.DoubleQuotedStyle != 0:
		w.quote = '"'
		w.skipTo('"')
	case node.Style&yaml.SingleQuotedStyle != 0:
		w.quote = '\''
		w.skipTo('\'')
	}
	w.run()
	return w.out
}

type walker struct {
	src    *source
	line   int // from 1
	col    int // from 1
	runes  []rune
	value  []rune
	quote  rune // 0 plain or block
	block  bool
	indent int // of a block's text
	out    []Pos
}

func (w *walker) here() Pos { return Pos{File: w.src.name, Line: w.line, Column: w.col} }

func (w *walker) skipTo(quote rune) {
	for w.col-1 < len(w.runes) && w.runes[w.col-1] != quote {
		w.col++
	}
	w.col++
}

func (w *walker) goTo(line int) {
	w.line = line
	w.runes = []rune(w.src.line(line))
	w.col = 1
}

func (w *walker) openBlock() {
	w.block = true
	w.goTo(w.line + 1)
	for w.line < len(w.src.lines) && strings.TrimSpace(string(w.runes)) == "" {
		w.goTo(w.line + 1)
	}
	for w.indent < len(w.runes) && w.runes[w.indent] == ' ' {
		w.indent++
	}
	// An indentation indicator makes leading spaces part of the text.
	for i := 0; i < len(w.value) && w.value[i] == ' ' && w.indent > 0; i++ {
		w.indent--
	}
	w.col = w.indent + 1
}

func (w *walker) run() {
	for i := 0; i < len(w.value); {
		if n := w.fold(i); n > 0 {
			i += n
			continue
		}
		i += w.one(i)
	}
	w.out = append(w.out, w.here())
}

// one matches a single rune of the value, escapes included.
func (w *walker) one(i int) int {
	w.out = append(w.out, w.here())
	if w.col-1 >= len(w.runes) {
		return 1
	}
	r := w.runes[w.col-1]
	switch {
	case w.quote == '"' && r == '\\':
		w.col += escapeLength(w.runes[w.col-1:])
	case w.quote == '\'' && r == '\'':
		w.col += 2
	default:
		w.col++
	}
	return 1
}

func escapeLength(runes []rune) int {
	if len(runes) < 2 {
		return 1
	}
	switch runes[1] {
	case 'x':
		return 4
	case 'u':
		return 6
	case 'U':
		return 10
	}
	return 2
}

// fold steps over a line break of the source and says how many runes of the
// value, from i on, stand for it.
func (w *walker) fold(i int) int {
	if !w.atBreak(i) {
		return 0
	}
	place := w.here()
	last := w.line
	for {
		w.goTo(w.line + 1)
		if w.line > len(w.src.lines) {
			w.goTo(last)
			w.col = len(w.runes) + 1
			return 0
		}
		if strings.TrimSpace(string(w.runes)) != "" {
			break
		}
	}
	w.col = w.indent + 1
	if !w.block {
		for w.col-1 < len(w.runes) && (w.runes[w.col-1] == ' ' || w.runes[w.col-1] == '\t') {
			w.col++
		}
	}
	n := 0
	for i+n < len(w.value) && w.value[i+n] == '\n' {
		w.out = append(w.out, place)
		n++
	}
	if n == 0 && i < len(w.value) && w.value[i] == ' ' {
		w.out = append(w.out, place)
		n++
	}
	return n
}

// atBreak says whether only blanks that folding drops are left on this line.
func (w *walker) atBreak(i int) bool {
	if w.value[i] != ' ' && w.value[i] != '\n' {
		return w.col-1 >= len(w.runes) && w.line < len(w.src.lines) && w.quote != 0
	}
	if w.block {
		return w.col-1 >= len(w.runes)
	}
	rest := string(w.runes[min(w.col-1, len(w.runes)):])
	if w.quote == '"' && strings.TrimSpace(rest) == `\` {
		return true
	}
	return strings.TrimSpace(rest) == ""
}
