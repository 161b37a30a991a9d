package rules

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Code groups load errors for programs; the Message is for people.
type Code string

const (
	CodeSyntax    Code = "syntax"        // not YAML, or not an expression
	CodeField     Code = "unknown_field" // a field that does not exist here
	CodeMissing   Code = "missing"       // a field that must be there
	CodeDuplicate Code = "duplicate"     // an id or key given twice
	CodeName      Code = "unknown_name"  // a fact, suspect, test ... that is not declared
	CodeType      Code = "type"          // a number where a choice belongs, and the like
	CodeUnit      Code = "unit"          // volts beside ohms
	CodeChoice    Code = "choice"        // a word outside the choices
	CodeValue     Code = "value"         // a number out of its range
	CodePattern   Code = "pattern"       // a pattern that matches nothing
	CodeLoop      Code = "loop"          // rules that feed each other
	CodeSafety    Code = "safety"        // a safety rule that would be loosened
	CodeBudget    Code = "budget"        // too long, too large, too many
	CodeFile      Code = "file"          // a folder or file that holds no rules
)

// Error is one thing wrong with a rule file.
type Error struct {
	Pos     Pos
	Code    Code
	Message string
	Hint    string // what to do about it; may be empty
	Snippet string // the source line with the offending text underlined; may be empty
}

// Error gives place, message, source line and hint.
func (e *Error) Error() string {
	var b strings.Builder
	if e.Pos.File != "" {
		b.WriteString(e.Pos.String() + ": ")
	}
	b.WriteString(e.Message)
	if e.Snippet != "" {
		b.WriteString("\n" + e.Snippet)
	}
	if e.Hint != "" {
		b.WriteString("\n  hint: " + e.Hint)
	}
	return b.String()
}

// String gives file:line:column, leaving out what is not known.
func (p Pos) String() string {
	switch {
	case p.Line == 0:
		return p.File
	case p.Column == 0:
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// Errors is everything wrong with a rulebook, sorted by place.
type Errors []*Error

func (es Errors) Error() string {
	texts := make([]string, len(es))
	for i, e := range es {
		texts[i] = e.Error()
	}
	return strings.Join(texts, "\n")
}

// sorted orders by place and message and drops repeats, which `for` makes: one
// slip in an item is one error, however often the item is expanded.
func (es Errors) sorted() Errors {
	slices.SortStableFunc(es, func(a, b *Error) int {
		return cmp.Or(strings.Compare(a.Pos.File, b.Pos.File), a.Pos.Line-b.Pos.Line, a.Pos.Column-b.Pos.Column)
	})
	var out Errors
	for _, e := range es {
		if n := len(out); n > 0 && out[n-1].Pos == e.Pos && (out[n-1].Code == e.Code || out[n-1].Message == e.Message) {
			continue
		}
		out = append(out, e)
	}
	return out
}

// problems collects errors while loading.
type problems struct{ list Errors }

// add reports the whole of a node.
func (p *problems) add(at spot, code Code, message, hint string) {
	p.addRange(at, 0, -1, code, message, hint)
}

// addRange reports the runes from..to of a scalar's value; to < 0 is its end.
func (p *problems) addRange(at spot, from, to int, code Code, message, hint string) {
	e := &Error{Pos: at.pos(), Code: code, Message: message, Hint: hint}
	defer func() { p.list = append(p.list, e) }()
	if at.node == nil || at.src == nil {
		return
	}
	width := 1
	if at.node.Value != "" {
		e.Pos, width = at.stretch(from, to)
	}
	e.Snippet = snippet(at.src, e.Pos, width)
}

// stretch gives the place and width, on its first line, of part of a scalar.
func (s spot) stretch(from, to int) (Pos, int) {
	places := s.places()
	if to < 0 || to >= len(places) {
		to = len(places) - 1
	}
	from = min(max(from, 0), to)
	start, end := places[from], places[from]
	for _, p := range places[from:max(to, from)] {
		if p.Line == start.Line {
			end = p
		}
	}
	if next := places[to]; next.Line == start.Line && next.Column > end.Column {
		return start, next.Column - start.Column
	}
	return start, end.Column - start.Column + 1
}

func snippet(src *source, at Pos, width int) string {
	line := src.line(at.Line)
	if line == "" {
		return ""
	}
	const widest = 160
	line = strings.ReplaceAll(line, "\t", " ")
	runes := []rune(line)
	start := 0
	if len(runes) > widest && at.Column > widest/2 {
		start = at.Column - widest/2
	}
	runes = runes[min(start, len(runes)):]
	if len(runes) > widest {
		runes = runes[:widest]
	}
	column := max(at.Column-start, 1)
	width = max(min(width, len(runes)-column+1), 1)
	number := fmt.Sprintf("%5d | ", at.Line)
	return number + string(runes) + "\n" +
		strings.Repeat(" ", utf8.RuneCountInString(number)-2) + "| " +
		strings.Repeat(" ", column-1) + strings.Repeat("^", width)
}
