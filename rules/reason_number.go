package rules

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"
)

// domain is where a number can lie: an interval, or single points of it. The meter's OL
// is +Inf.
type domain struct {
	low, high         float64
	openLow, openHigh bool
	points            []float64 // nil = all of the interval
}

var anyNumber = domain{low: math.Inf(-1), high: math.Inf(1)}

func point(v float64) domain { return domain{low: v, high: v} }

// meet gives what two intervals have in common.
func (d domain) meet(e domain) domain {
	if e.low > d.low || e.low == d.low && e.openLow {
		d.low, d.openLow = e.low, e.openLow
	}
	if e.high < d.high || e.high == d.high && e.openHigh {
		d.high, d.openHigh = e.high, e.openHigh
	}
	if d.points == nil {
		d.points = e.points
	}
	return d
}

func (d domain) empty() bool {
	if d.low > d.high || d.low == d.high && (d.openLow || d.openHigh) {
		return true
	}
	return d.points != nil && !slices.ContainsFunc(d.points, d.has)
}

func (d domain) has(v float64) bool {
	return (v > d.low || v == d.low && !d.openLow) && (v < d.high || v == d.high && !d.openHigh)
}

// clearlyEmpty is empty by more than rounding may have done.
func (d domain) clearlyEmpty() bool {
	slack := 1e-9 * (math.Abs(d.low) + math.Abs(d.high))
	return d.low > d.high+slack || d.low == d.high && (d.openLow || d.openHigh) || d.points != nil && !slices.ContainsFunc(d.points, domain{low: d.low - slack, high: d.high + slack}.has)
}

// hull is the least interval around both.
func (d domain) hull(e domain) domain {
	return domain{low: math.Min(d.low, e.low), high: math.Max(d.high, e.high)}
}

func (d domain) scale(by float64) domain {
	a, b := product(d.low, by), product(d.high, by)
	out := domain{low: a, high: b, openLow: d.openLow, openHigh: d.openHigh}
	if by < 0 {
		out = domain{low: b, high: a, openLow: d.openHigh, openHigh: d.openLow}
	}
	return out
}

// product counts 0 times infinity as 0: a bound, not a value.
func product(a, b float64) float64 {
	if a == 0 || b == 0 {
		return 0
	}
	return a * b
}

func (d domain) plus(e domain) domain {
	return domain{low: d.low + e.low, high: d.high + e.high, openLow: d.openLow || e.openLow, openHigh: d.openHigh || e.openHigh}
}

func (d domain) times(e domain) domain {
	ends := []float64{product(d.low, e.low), product(d.low, e.high), product(d.high, e.low), product(d.high, e.high)}
	return domain{low: slices.Min(ends), high: slices.Max(ends)}
}

// over divides; by something whose sign is not known, anything may come out.
func (d domain) over(e domain) domain {
	if e.low < 0 && e.high > 0 || e.low == 0 && e.high == 0 {
		return anyNumber
	}
	inverse := func(v float64, side float64) float64 {
		if v == 0 {
			return math.Inf(int(side))
		}
		return 1 / v
	}
	if e.low >= 0 {
		return d.times(domain{low: inverse(e.high, 1), high: inverse(e.low, 1)})
	}
	return d.times(domain{low: inverse(e.high, -1), high: inverse(e.low, -1)})
}

// term is one number in a sum: a fact, or an expression taken as a whole.
type term struct {
	id   int // index into reasoner.domains
	coef float64
}

// linear is a comparison: the sum of the terms lies in the interval.
type linear struct {
	key   string // of the terms, scaled
	terms []term
	in    domain
}

// sum is a number as a sum of terms.
type sum struct {
	coefs     map[int]float64
	constant  float64
	need      []int // facts that must be known for it to be known
	may       []int // facts that, unknown, may make it unknown
	undefined bool  // may have no value although all is known
}

func (r *reasoner) sum(n ast.Node) sum {
	switch n := n.(type) {
	case *ast.IntegerNode:
		return sum{constant: float64(n.Value)}
	case *ast.FloatNode:
		return sum{constant: n.Value}
	case *ast.IdentifierNode, *ast.MemberNode:
		name, _ := nameOf(n)
		if p, ok := r.book.Parameter(name); ok {
			return sum{constant: p.Value}
		}
		if i, ok := r.book.FactIndex(name); ok {
			return sum{coefs: map[int]float64{i: 1}, need: []int{i}, may: []int{i}}
		}
	case *ast.UnaryNode:
		return r.sum(n.Node).scale(map[string]float64{"-": -1, "+": 1}[n.Operator])
	case *ast.BinaryNode:
		return r.arithmetic(n)
	}
	return r.opaque(n)
}

func (r *reasoner) arithmetic(n *ast.BinaryNode) sum {
	x, y := r.sum(n.Left), r.sum(n.Right)
	switch {
	case n.Operator == "+":
		return x.add(y, 1)
	case n.Operator == "-":
		return x.add(y, -1)
	case n.Operator == "*" && len(y.coefs) == 0:
		return x.scale(y.constant).and(y)
	case n.Operator == "*" && len(x.coefs) == 0:
		return y.scale(x.constant).and(x)
	case n.Operator == "/" && len(y.coefs) == 0 && y.constant != 0:
		return x.scale(1 / y.constant).and(y)
	}
	return r.opaque(n)
}

func (s sum) scale(by float64) sum {
	out := s
	out.constant *= by
	out.coefs = make(map[int]float64, len(s.coefs))
	for id, c := range s.coefs {
		out.coefs[id] = c * by
	}
	return out
}

// and takes over what another sum needs to be known.
func (s sum) and(t sum) sum {
	s.need, s.may = slices.Concat(s.need, t.need), slices.Concat(s.may, t.may)
	s.undefined = s.undefined || t.undefined
	return s
}

func (s sum) add(t sum, by float64) sum {
	out := s.scale(1).and(t)
	out.constant += by * t.constant
	for id, c := range t.coefs {
		if out.coefs[id] += by * c; out.coefs[id] == 0 {
			delete(out.coefs, id)
			out.undefined = true // OL less OL has no value
		}
	}
	return out
}

// opaque takes an expression as one number of its own, somewhere in the interval
// that its parts allow.
func (r *reasoner) opaque(n ast.Node) sum {
	key := n.String()
	id, ok := r.opaques[key]
	if !ok {
		id = len(r.domains)
		r.opaques[key] = id
		r.domains = append(r.domains, r.interval(n))
	}
	out := sum{coefs: map[int]float64{id: 1}, undefined: true}
	_, conditional := n.(*ast.ConditionalNode)
	for _, child := range children(n) {
		if truthy(r.book, child) {
			out.may = append(out.may, r.factsIn(child)...)
			continue
		}
		part := r.sum(child)
		out.may = append(out.may, part.may...)
		if !conditional {
			out.need = append(out.need, part.need...)
		}
	}
	return out
}

func (r *reasoner) factsIn(n ast.Node) []int {
	if name, ok := nameOf(n); ok {
		if i, ok := r.book.FactIndex(name); ok {
			return []int{i}
		}
	}
	var out []int
	for _, child := range children(n) {
		out = append(out, r.factsIn(child)...)
	}
	return out
}

// interval bounds an expression by its parts: signs and ranges.
func (r *reasoner) interval(n ast.Node) domain {
	switch n := n.(type) {
	case *ast.BinaryNode:
		x, y := r.interval(n.Left), r.interval(n.Right)
		switch n.Operator {
		case "+":
			return x.plus(y)
		case "-":
			return x.plus(y.scale(-1))
		case "*":
			if n.Left.String() == n.Right.String() {
				return r.square(x)
			}
			return x.times(y)
		case "/":
			return x.over(y)
		}
		return anyNumber
	case *ast.ConditionalNode:
		return r.interval(n.Exp1).hull(r.interval(n.Exp2))
	case *ast.BuiltinNode:
		return r.builtin(n)
	case *ast.UnaryNode:
		if n.Operator == "-" {
			return r.interval(n.Node).scale(-1)
		}
		return r.interval(n.Node)
	}
	s := r.sum(n)
	out := point(s.constant)
	for id, c := range s.coefs {
		out = out.plus(r.domains[id].scale(c))
	}
	return out
}

func (r *reasoner) square(x domain) domain {
	out := x.times(x)
	out.low = max(out.low, 0)
	if x.low > 0 || x.high < 0 {
		out.low = math.Min(product(x.low, x.low), product(x.high, x.high))
	}
	return out
}

func (r *reasoner) builtin(n *ast.BuiltinNode) domain {
	out := r.interval(n.Arguments[0])
	switch n.Name {
	case "abs":
		if out.low >= 0 {
			return out
		}
		low := math.Max(0, -out.high)
		return domain{low: low, high: math.Max(-out.low, out.high)}
	case "round":
		return domain{low: math.Round(out.low), high: math.Round(out.high)}
	}
	for _, arg := range n.Arguments[1:] {
		d := r.interval(arg)
		if n.Name == "min" {
			out = domain{low: math.Min(out.low, d.low), high: math.Min(out.high, d.high)}
		} else {
			out = domain{low: math.Max(out.low, d.low), high: math.Max(out.high, d.high)}
		}
	}
	return out
}

func (r *reasoner) ordering(n *ast.BinaryNode, w want) claim {
	return r.compare(n.Left, n.Right, n.Operator, w)
}

// compare follows x op y, op one of < <= > >= ==.
func (r *reasoner) compare(x, y ast.Node, op string, w want) claim {
	d := r.sum(x).add(r.sum(y), -1)
	yes := w == isTrue || w == notFalse
	var ways []claim
	for _, in := range regions(op, yes) {
		ways = append(ways, r.inside(d, in))
	}
	c := oneOf(ways...)
	if w == isTrue || w == isFalse {
		for _, i := range d.need {
			c = both(c, knownFact(i))
		}
		return c
	}
	ways = []claim{c}
	for _, i := range d.may {
		ways = append(ways, unknownFact(i))
	}
	if d.undefined {
		ways = append(ways, always)
	}
	return oneOf(ways...)
}

// regions are where the difference of both sides lies.
func regions(op string, yes bool) []domain {
	below, above := domain{low: math.Inf(-1), openHigh: true}, domain{high: math.Inf(1), openLow: true}
	upTo, from := domain{low: math.Inf(-1)}, domain{high: math.Inf(1)}
	of := map[string][2][]domain{
		"<": {{below}, {from}}, "<=": {{upTo}, {above}}, ">": {{above}, {upTo}}, ">=": {{from}, {below}},
		"==": {{point(0)}, {below, above}},
	}[op]
	if yes {
		return of[0]
	}
	return of[1]
}

// inside claims that the sum lies in the interval.
func (r *reasoner) inside(s sum, in domain) claim {
	in = in.plus(point(-s.constant))
	if len(s.coefs) == 0 {
		if in.has(0) {
			return always
		}
		return impossible
	}
	l := &linear{in: in}
	for id, c := range s.coefs {
		l.terms = append(l.terms, term{id, c})
	}
	slices.SortFunc(l.terms, func(a, b term) int { return a.id - b.id })
	first := l.terms[0].coef
	var key strings.Builder
	for i := range l.terms {
		l.terms[i].coef /= first
		key.WriteString(strconv.Itoa(l.terms[i].id) + "*" + strconv.FormatFloat(l.terms[i].coef, 'g', 12, 64) + " ")
	}
	l.in, l.key = l.in.scale(1/first), key.String()
	return one(literal{fact: -1, linear: l})
}
