package rules

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"
)

// Formula is a compiled expression over named values: wiring variables,
// quantities, facts. Parameters are bound as constants. It is safe for
// concurrent use.
type Formula struct {
	source string
	at     spot
	op     *operand
	names  []string
}

// formula reads a scalar as an expression; it is compiled once all names are known.
func (r *reader) formula(n *yaml.Node) *Formula {
	if n == nil {
		return nil
	}
	return &Formula{source: r.text(n, "an expression"), at: r.spot(n)}
}

// Source gives the text of the formula.
func (f *Formula) Source() string { return f.source }

// Names gives the names the formula reads, sorted; parameters are not among them.
func (f *Formula) Names() []string {
	names := slices.Clone(f.names)
	slices.Sort(names)
	return names
}

// Names gives the names that the spread depends on, sorted, each once; none for a
// nil spread.
func (s *Spread) Names() []string {
	if s == nil {
		return nil
	}
	var names []string
	for _, f := range slices.Concat([]*Formula{s.Exactly, s.About, s.Spread, s.PlusMinus}, s.Between, s.Even) {
		if f != nil {
			names = append(names, f.names...)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// Constant says whether the spread is the same whatever is known.
func (s *Spread) Constant() bool {
	for _, f := range [...]*Formula{s.Exactly, s.About, s.Spread, s.PlusMinus} {
		if f != nil && len(f.names) > 0 {
			return false
		}
	}
	return constants(s.Between) && constants(s.Even)
}

func constants(of []*Formula) bool {
	for _, f := range of {
		if len(f.names) > 0 {
			return false
		}
	}
	return true
}

// Constant says whether the formula reads no names.
func (f *Formula) Constant() bool { return f.op != nil && f.op.constant }

// frames saves an allocation at every evaluation.
var frames = sync.Pool{New: func() any { return new(Frame) }}

// frame fills both columns from env, a place for each name. Values are float64 or int for
// numbers, string for words, bool, or a Value; what is absent is unknown.
func (f *Formula) frame(env map[string]any) *Frame {
	frame := frames.Get().(*Frame)
	frame.clear()
	for _, name := range f.names {
		frame.add(CellOf(env[name]))
	}
	return frame
}

func (f *Frame) clear() { f.Numbers, f.Words = f.Numbers[:0], f.Words[:0] }

// add appends a cell to both columns, for a name whose kind is not looked at.
func (f *Frame) add(c Cell) {
	f.Numbers, f.Words = append(f.Numbers, c.number()), append(f.Words, c.word())
}

// known says whether an added cell is known.
func (f *Frame) known(i int) bool { return f.Words[i].Known }

// CellOf is a value as formulas see it: float64 or int for numbers, string for words, bool, or
// a Value; anything else is unknown.
func CellOf(v any) Cell {
	switch v := v.(type) {
	case float64:
		return Cell{Number: v, Known: true}
	case string:
		return Cell{Text: v, Known: true}
	case bool:
		return BoolValue(v).Cell()
	case int:
		return Cell{Number: float64(v), Known: true}
	case Value:
		return v.Cell()
	}
	return Cell{}
}

// Number evaluates to a number. It fails when a name it needs is not in env, or
// when the formula gives no number.
func (f *Formula) Number(env map[string]any) (float64, error) {
	if f.op == nil || f.op.number == nil {
		return 0, f.wrongKind("a number")
	}
	if f.op.constant {
		v, known := f.op.number(nil)
		return v, f.unless(known, nil)
	}
	frame := f.frame(env)
	v, known := f.op.number(frame)
	err := f.unless(known, frame)
	frames.Put(frame)
	return v, err
}

// Truth evaluates to true or false. It fails when that depends on a name that
// is not in env.
func (f *Formula) Truth(env map[string]any) (bool, error) {
	if f.op == nil || f.op.truth == nil {
		return false, f.wrongKind("true or false")
	}
	frame := f.frame(env)
	v := f.op.truth(frame)
	err := f.unless(v != Unknown, frame)
	frames.Put(frame)
	return v == True, err
}

// Decide evaluates to a three-valued truth: Unknown when the names in env do not
// settle it.
func (f *Formula) Decide(env map[string]any) Truth {
	if f.op == nil || f.op.truth == nil {
		return Unknown
	}
	frame := f.frame(env)
	v := f.op.truth(frame)
	frames.Put(frame)
	return v
}

// TextValue evaluates to a word. It fails when a name it needs is not in env.
func (f *Formula) TextValue(env map[string]any) (string, error) {
	if f.op == nil || f.op.text == nil {
		return "", f.wrongKind("a word")
	}
	frame := f.frame(env)
	v, known := f.op.text(frame)
	err := f.unless(known, frame)
	frames.Put(frame)
	return v, err
}

// Bound is a formula whose names have been found in a fixed list of names, for those who
// evaluate it often.
type Bound struct {
	formula *Formula
	from    []int // by name of the formula: its place in the list
}

// Bind finds the formula's names in a list; names that are not in it stay unknown.
func (f *Formula) Bind(names []string) *Bound {
	b := &Bound{formula: f, from: make([]int, len(f.names))}
	for i, name := range f.names {
		b.from[i] = slices.Index(names, name)
	}
	return b
}

// Number evaluates to a number over the values of the listed names, in their order. The
// frame is scratch, whose columns are overwritten. It fails as Formula.Number does.
func (b *Bound) Number(frame *Frame, values []Cell) (float64, error) {
	f := b.formula
	if f.op == nil || f.op.number == nil {
		return 0, f.wrongKind("a number")
	}
	frame.clear()
	for _, at := range b.from {
		cell := Cell{}
		if at >= 0 {
			cell = values[at]
		}
		frame.add(cell)
	}
	v, known := f.op.number(frame)
	return v, f.unless(known, frame)
}

func (f *Formula) wrongKind(want string) error {
	return fmt.Errorf("%s: %q does not give %s", f.at.pos(), f.source, want)
}

// unless is the error of a formula that has no value, over the frame of its names.
func (f *Formula) unless(known bool, frame *Frame) error {
	if known {
		return nil
	}
	var missing []string
	for i, name := range f.names {
		if !frame.known(i) {
			missing = append(missing, name)
		}
	}
	if len(missing) == 0 {
		return fmt.Errorf("%s: %q has no value here", f.at.pos(), f.source)
	}
	return fmt.Errorf("%s: %q needs %s, not known here", f.at.pos(), f.source, strings.Join(missing, ", "))
}

// compileFormula binds the names of a formula and checks its type. A nil
// formula is nothing to check; want "" takes any type.
func (k *checker) formula(f *Formula, in *scope, want Kind, u unit) {
	if f == nil || f.source == "" {
		return
	}
	slots := map[string]int{}
	c := &compiler{problems: k.problems, at: f.at, scope: in, source: f.source}
	c.slot = func(s *symbol) int {
		i, ok := slots[s.name]
		if !ok {
			i = len(slots)
			slots[s.name] = i
			f.names = append(f.names, s.name)
		}
		return i
	}
	node := c.parse()
	if node == nil {
		return
	}
	op := c.compile(node)
	if op == nil {
		return
	}
	if want != "" && op.kind != want {
		k.add(f.at, CodeType, fmt.Sprintf("this should give %s, but it gives %s", kindWords(want), op.describe()), "")
		return
	}
	if want == Number && !op.unit.same(u) {
		k.add(f.at, CodeUnit, fmt.Sprintf("this should be in %s, but it is in %s", u, op.unit), "")
		return
	}
	f.op = op
}

func kindWords(k Kind) string {
	switch k {
	case Bool:
		return "true or false"
	case Number:
		return "a number"
	}
	return "a word"
}
