package rules

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"
	"sync"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
)

// Budgets of one expression.
const (
	maxExpression = 2_000 // characters
	maxNodes      = 200   // parts of the syntax tree
)

// symbol is a name that an expression may use.
type symbol struct {
	name     string
	kind     Kind // Choice and Text both read as text
	unit     unit
	of       []string // choices; nil = any text
	constant *float64 // of a parameter
	fact     int      // index into Book.Facts, or -1
	place    int      // of a fact: in its column of the frame
}

// same says whether the name means the same to an expression.
func (s *symbol) same(t *symbol) bool {
	sameConstant := s.constant == t.constant || s.constant != nil && t.constant != nil && *s.constant == *t.constant
	return sameConstant && s.name == t.name && s.kind == t.kind && s.unit == t.unit && slices.Equal(s.of, t.of) && s.fact == t.fact && s.place == t.place
}

// scope holds the names known where an expression stands.
type scope struct {
	names    map[string]*symbol
	suspects func(pattern string) []string // for suspected() and concluded(); nil where they can't be used
	known    []string                      // of suspects, for hints
	used     map[string]bool               // names that some expression read; shared by all scopes of a book
}

func (s *scope) list() []string {
	out := make([]string, 0, len(s.names))
	for name := range s.names {
		out = append(out, name)
	}
	sort.Strings(out)
	return out
}

// copy gives a scope of its own, to which names can be added.
func (s *scope) copy() *scope {
	out := *s
	out.names = maps.Clone(s.names)
	return &out
}

// same says whether every expression means the same in both.
func (s *scope) same(t *scope) bool {
	return maps.EqualFunc(s.names, t.names, (*symbol).same) && slices.Equal(s.known, t.known)
}

func (s *scope) add(n symbol) { s.names[n.name] = &n }

// operand is a compiled part of an expression: what type it has, and a closure
// of that type. The second result of a number or text says whether it is known.
type operand struct {
	kind     Kind
	unit     unit
	of       []string // what a text may be; nil = anything
	constant bool
	literal  bool // written out as "word"
	truth    func(*Frame) Truth
	number   func(*Frame) (float64, bool)
	text     func(*Frame) (string, bool)
}

// compiler turns one expression into closures, reporting what does not fit.
type compiler struct {
	*problems
	at     spot
	scope  *scope
	slot   func(*symbol) int // where the frame's column holds a name
	reads  []*symbol         // names read, in order of appearance
	params []string          // parameters read
	late   bool              // asks suspected() or concluded()
	source string
}

// parse reads the text of an expression, reporting syntax errors and budgets.
func (c *compiler) parse() ast.Node {
	if n := len([]rune(c.source)); n > maxExpression {
		c.add(c.at, CodeBudget, fmt.Sprintf("this expression has %d characters; %d is the limit", n, maxExpression), "split the rule and let one set a fact for the other")
		return nil
	}
	if strings.TrimSpace(c.source) == "" {
		c.add(c.at, CodeMissing, "an expression is missing here", "")
		return nil
	}
	tree, err := parser.ParseWithConfig(c.source, language())
	var bad *file.Error
	switch {
	case err == nil:
		return tree.Node
	case errors.As(err, &bad):
		c.syntax(bad)
	default:
		c.add(c.at, CodeSyntax, err.Error(), "")
	}
	return nil
}

// language is what the parser may take; it only reads it.
var language = sync.OnceValue(func() *conf.Config {
	config := conf.CreateNew()
	config.MaxNodes = maxNodes
	config.DisableIfOperator = true
	return config
})

func (c *compiler) syntax(bad *file.Error) {
	if strings.Contains(bad.Message, "maximum allowed nodes") {
		c.add(c.at, CodeBudget, fmt.Sprintf("this expression has more than %d parts", maxNodes), "split the rule and let one set a fact for the other")
		return
	}
	hint := ""
	runes := []rune(c.source)
	if from := min(bad.From, len(runes)); from < len(runes) && runes[from] == '=' {
		hint = "compare with =="
	}
	message := bad.Message
	switch {
	case strings.Contains(message, "token EOF") || strings.Contains(message, "unexpected end"):
		message = "the expression ends too early"
		if strings.Count(c.source, "(") > strings.Count(c.source, ")") {
			hint = "a ( is never closed"
		}
	case strings.HasPrefix(message, "unexpected token"):
		message = fmt.Sprintf("%q is not expected here", string(runes[min(bad.From, len(runes)):min(max(bad.To, bad.From+1), len(runes))]))
	}
	c.addRange(c.at, bad.From, max(bad.To, bad.From+1), CodeSyntax, message, hint)
}

// fail reports a part of the expression and gives no operand.
func (c *compiler) fail(n ast.Node, code Code, hint, format string, args ...any) *operand {
	from, to := c.span(n)
	c.addRange(c.at, from, to, code, fmt.Sprintf(format, args...), hint)
	return nil
}

// span gives the runes that a part of the expression covers, brackets that it
// opens or closes included.
func (c *compiler) span(n ast.Node) (int, int) {
	runes := []rune(c.source)
	from, to := rawSpan(n)
	from, to = max(from, 0), min(to, len(runes))
	depth, least := 0, 0
	for i := from; i < to; i++ {
		i = skipWord(runes, i)
		depth += bracket(runes, i)
		least = min(least, depth)
	}
	for open := depth - least; open > 0 && to < len(runes); to++ {
		open += bracket(runes, to)
	}
	for ; least < 0 && from > 0; from-- {
		least += bracket(runes, from-1)
	}
	return from, min(to, len(runes))
}

// bracket is +1 for an opening, -1 for a closing bracket, else 0.
func bracket(runes []rune, i int) int {
	switch {
	case i >= len(runes):
	case runes[i] == '(' || runes[i] == '[':
		return 1
	case runes[i] == ')' || runes[i] == ']':
		return -1
	}
	return 0
}

// skipWord steps over a quoted word to its closing quote.
func skipWord(runes []rune, i int) int {
	quote := runes[i]
	if quote != '"' && quote != '\'' {
		return i
	}
	for j := i + 1; j < len(runes); j++ {
		switch runes[j] {
		case '\\':
			j++
		case quote:
			return j
		}
	}
	return i
}

// rawSpan is the span without brackets, which the syntax tree does not keep.
func rawSpan(n ast.Node) (int, int) {
	from, to := n.Location().From, n.Location().To
	if _, ok := n.(*ast.ConditionalNode); ok { // its own location is where it ends
		from, to = 1<<30, 0
	}
	for _, child := range children(n) {
		f, t := rawSpan(child)
		from, to = min(from, f), max(to, t)
	}
	return from, to
}

func children(n ast.Node) []ast.Node {
	switch n := n.(type) {
	case *ast.UnaryNode:
		return []ast.Node{n.Node}
	case *ast.BinaryNode:
		return []ast.Node{n.Left, n.Right}
	case *ast.ConditionalNode:
		return []ast.Node{n.Cond, n.Exp1, n.Exp2}
	case *ast.CallNode:
		return n.Arguments
	case *ast.BuiltinNode:
		return n.Arguments
	case *ast.ArrayNode:
		return n.Nodes
	case *ast.MemberNode:
		return []ast.Node{n.Node, n.Property}
	}
	return nil
}

// compile gives the operand of a node, or nil when it was reported.
func (c *compiler) compile(n ast.Node) *operand {
	switch n := n.(type) {
	case *ast.BoolNode:
		v := truth(n.Value)
		return &operand{kind: Bool, constant: true, truth: func(*Frame) Truth { return v }}
	case *ast.IntegerNode:
		return constantNumber(float64(n.Value), unit{free: true})
	case *ast.FloatNode:
		return constantNumber(n.Value, unit{free: true})
	case *ast.StringNode:
		return constantText(n.Value)
	case *ast.IdentifierNode, *ast.MemberNode:
		return c.name(n)
	case *ast.UnaryNode:
		return c.unary(n)
	case *ast.BinaryNode:
		return c.binary(n)
	case *ast.ConditionalNode:
		return c.ternary(n)
	case *ast.CallNode:
		return c.call(n)
	case *ast.BuiltinNode:
		return c.builtin(n)
	}
	return c.fail(n, CodeSyntax, "conditions use and, or, not, comparisons, + - * /, in [list], ?: and abs, min, max, round", "this can't be used in a condition")
}

func constantNumber(v float64, u unit) *operand {
	return &operand{kind: Number, unit: u, constant: true, number: func(*Frame) (float64, bool) { return v, true }}
}

func constantText(v string) *operand {
	return &operand{kind: Choice, of: []string{v}, constant: true, literal: true, text: func(*Frame) (string, bool) { return v, true }}
}

// nameOf gives a plain or dotted name.
func nameOf(n ast.Node) (string, bool) {
	switch n := n.(type) {
	case *ast.IdentifierNode:
		return n.Value, true
	case *ast.MemberNode:
		left, ok := nameOf(n.Node)
		right, text := n.Property.(*ast.StringNode)
		if ok && text && !n.Optional {
			return left + "." + right.Value, true
		}
	}
	return "", false
}

func (c *compiler) name(n ast.Node) *operand {
	name, ok := nameOf(n)
	if !ok {
		return c.fail(n, CodeSyntax, "", "this can't be used in a condition")
	}
	s, ok := c.scope.names[name]
	if !ok {
		hint := didYouMean(name, c.scope.list())
		if hint == "" {
			hint = fmt.Sprintf("declare it under facts, or write \"%s\" if it is a word to compare with", name)
		}
		return c.fail(n, CodeName, hint, "%q is not a known name here", name)
	}
	c.scope.used[name] = true
	if s.constant != nil {
		c.params = append(c.params, name)
		return constantNumber(*s.constant, s.unit)
	}
	c.read(s)
	return load(s, c.slot(s))
}

func (c *compiler) read(s *symbol) {
	if !slices.Contains(c.reads, s) {
		c.reads = append(c.reads, s)
	}
}

// load reads a fact's state from its column of the frame.
func load(s *symbol, i int) *operand {
	o := &operand{kind: s.kind, unit: s.unit, of: s.of}
	switch s.kind {
	case Bool:
		o.truth = func(f *Frame) Truth {
			if v := f.Numbers[i]; v == v {
				return truth(v != 0)
			}
			return Unknown
		}
	case Number:
		o.number = func(f *Frame) (float64, bool) { v := f.Numbers[i]; return v, v == v }
	default:
		o.kind = Choice
		o.text = func(f *Frame) (string, bool) { w := &f.Words[i]; return w.Text, w.Known }
	}
	return o
}

// fold evaluates an operand whose parts are all constant, once.
func (o *operand) fold(parts ...*operand) *operand {
	for _, p := range parts {
		if !p.constant {
			return o
		}
	}
	o.constant = true
	switch o.kind {
	case Bool:
		v := o.truth(&Frame{})
		o.truth = func(*Frame) Truth { return v }
	case Number:
		v, known := o.number(&Frame{})
		o.number = func(*Frame) (float64, bool) { return v, known }
	default:
		v, known := o.text(&Frame{})
		o.text = func(*Frame) (string, bool) { return v, known }
	}
	return o
}

// describe names an operand's type in a message.
func (o *operand) describe() string {
	switch o.kind {
	case Bool:
		return "true or false"
	case Number:
		if o.unit == (unit{}) || o.unit.free {
			return "a number"
		}
		return "a number of " + o.unit.String()
	}
	if o.literal {
		return fmt.Sprintf("the word %q", o.of[0])
	}
	return "a word"
}
