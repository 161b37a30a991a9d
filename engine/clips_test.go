package engine

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// clipsBooks is how many generated rulebooks are lived through by CLIPS as well.
const clipsBooks = 320

// TestSameFactsAsCLIPS lives random lives (give, replace, take back) with Memory and
// with CLIPS, an independent forward-chaining engine, and holds facts and firings together
// after every step. CLIPS does all of it by its own means: patterns, its agenda, and the logical
// support of facts, which withdraws what no longer stands.
func TestSameFactsAsCLIPS(t *testing.T) {
	if _, err := exec.LookPath("clips"); err != nil {
		if os.Getenv("COILSIDE_CI") != "" {
			t.Fatal("clips is not installed")
		}
		t.Skip("clips is not installed (Debian package clips); .ci/run installs it")
	}
	books, steps, derived, conflicts := 0, 0, 0, 0
	for seed := uint64(10_000); books < clipsBooks; seed++ {
		g := newGenerator(seed)
		made := g.book(4 + g.IntN(14))
		if made.loops() {
			continue
		}
		book, err := loadText(made.text)
		require.NoError(t, err, "seed %d", seed)
		books++
		live := newLife(book, made)
		script, want := newClips(book), []string{}
		for range 12 {
			live.step(t, g)
			script.step(live.naive.given)
			want = append(want, clipsState(live.memory))
			derived += len(live.memory.Firings())
			conflicts += len(live.memory.Conflicts())
			steps++
		}
		got := script.run(t)
		require.Len(t, got, len(want), "seed %d", seed)
		for i := range want {
			require.Equal(t, want[i], got[i], "seed %d step %d\n%s\n%s", seed, i, made.text, script.text.String())
		}
	}
	t.Logf("%d rulebooks, %d steps, %d firings and %d conflicts the same", books, steps, derived, conflicts)
	require.Positive(t, conflicts)
}

// clipsState is what is known and what fires, as the CLIPS program prints it.
func clipsState(m *Memory) string {
	var lines []string
	for _, f := range m.book.Facts {
		if v, known := m.Value(f.ID); known {
			lines = append(lines, "val "+f.ID+" "+clipsWord(v))
		}
	}
	for _, f := range m.Firings() {
		lines = append(lines, "fires "+f.Rule.ID)
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

func clipsWord(v rules.Value) string {
	switch v.Kind {
	case rules.Bool:
		return strings.ToUpper(strconv.FormatBool(v.Bool))
	case rules.Number:
		return clipsNumber(v.Number)
	}
	return v.Text
}

func clipsNumber(v float64) string {
	out := strconv.FormatFloat(v+0, 'f', -1, 64)
	if !strings.Contains(out, ".") {
		out += ".0"
	}
	return out
}

// clipsScript is one CLIPS program: a rulebook and a life.
type clipsScript struct {
	text  strings.Builder
	given map[string]map[int]rules.Value
}

// step has CLIPS take back what is no longer given, give what is new, run and print.
func (c *clipsScript) step(given map[string]map[int]rules.Value) {
	for fact, by := range c.given {
		for entry, v := range by {
			if now, ok := given[fact][entry]; !ok || now != v {
				fmt.Fprintf(&c.text, "(do-for-all-facts ((?g given)) (and (= ?g:e %d) (eq ?g:f %s)) (retract ?g))\n", entry, fact)
			}
		}
	}
	for fact, by := range given {
		for entry, v := range by {
			if was, ok := c.given[fact][entry]; !ok || was != v {
				fmt.Fprintf(&c.text, "(assert (given (e %d) (f %s) (v %s)))\n", entry, fact, clipsWord(v))
			}
		}
	}
	c.given = map[string]map[int]rules.Value{}
	for fact, by := range given {
		c.given[fact] = map[int]rules.Value{}
		for entry, v := range by {
			c.given[fact][entry] = v
		}
	}
	c.text.WriteString("(run)\n(show)\n")
}

// run gives what CLIPS printed, by step.
func (c *clipsScript) run(t *testing.T) []string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "life.clp")
	require.NoError(t, os.WriteFile(file, []byte(c.text.String()+"(exit)\n"), 0o600))
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, "clips", "-f2", file)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	require.NoError(t, cmd.Run(), "%s", out.String())
	require.NotContains(t, out.String(), "[", "CLIPS complains:\n%s\n%s", out.String(), c.text.String())
	var steps []string
	var lines []string
	for line := range strings.Lines(out.String()) {
		line = strings.TrimSpace(line)
		switch {
		case line == "step":
			slices.Sort(lines)
			steps = append(steps, strings.Join(lines, "\n"))
			lines = nil
		case strings.HasPrefix(line, "val ") || strings.HasPrefix(line, "fires "):
			lines = append(lines, normalNumber(line))
		}
	}
	return steps
}

// normalNumber writes a number at the end of a line the way clipsNumber does.
func normalNumber(line string) string {
	at := strings.LastIndex(line, " ") + 1
	if v, err := strconv.ParseFloat(line[at:], 64); err == nil && !math.IsInf(v, 0) {
		return line[:at] + clipsNumber(v)
	}
	return line
}

// clipsProlog is three-valued logic and what a fact's value is. Whether a claim stands,
// whether claims agree and what is unknown follow from patterns; everything asserted is
// logically supported, so it goes with what it stood on.
const clipsProlog = `(deftemplate given (slot e) (slot f) (slot v))
(deftemplate claim (slot f) (slot r) (slot v))
(deftemplate beaten (slot f) (slot r))
(deftemplate standing (slot f) (slot r) (slot v))
(deftemplate val (slot f) (slot v))
(deftemplate fires (slot r))
(deftemplate over (slot a) (slot b))
(deftemplate fact (slot f))
(deffunction k-not (?a) (if (eq ?a unknown) then unknown else (not ?a)))
(deffunction k-and (?a ?b) (if (or (eq ?a FALSE) (eq ?b FALSE)) then FALSE else (if (or (eq ?a unknown) (eq ?b unknown)) then unknown else TRUE)))
(deffunction k-or (?a ?b) (if (or (eq ?a TRUE) (eq ?b TRUE)) then TRUE else (if (or (eq ?a unknown) (eq ?b unknown)) then unknown else FALSE)))
(deffunction k-same (?a ?b) (if (or (eq ?a unknown) (eq ?b unknown)) then unknown else (if (and (numberp ?a) (numberp ?b)) then (= ?a ?b) else (eq ?a ?b))))
(deffunction k-if (?c ?a ?b) (if (eq ?c TRUE) then ?a else (if (eq ?c FALSE) then ?b else (if (eq (k-same ?a ?b) TRUE) then ?a else unknown))))
(deffunction k-num (?op ?a ?b) (if (or (eq ?a unknown) (eq ?b unknown)) then unknown else (funcall ?op ?a ?b)))
(deffunction k-abs (?a) (if (eq ?a unknown) then unknown else (abs ?a)))
(deffunction k-round (?a) (if (eq ?a unknown) then unknown else (if (< ?a 0.0) then (- 0.0 (float (integer (+ 0.5 (- 0.0 ?a))))) else (float (integer (+ 0.5 ?a))))))
(defrule given-latest (logical (given (e ?e) (f ?f) (v ?v)) (not (given (f ?f) (e ?e2&:(> ?e2 ?e))))) => (assert (val (f ?f) (v ?v))))
(defrule nothing-said (logical (fact (f ?f)) (not (given (f ?f))) (not (claim (f ?f)))) => (assert (val (f ?f) (v unknown))))
(defrule beaten (logical (claim (f ?f) (r ?r)) (over (a ?o) (b ?r)) (claim (f ?f) (r ?o))) => (assert (beaten (f ?f) (r ?r))))
(defrule standing (logical (claim (f ?f) (r ?r) (v ?v)) (not (beaten (f ?f) (r ?r)))) => (assert (standing (f ?f) (r ?r) (v ?v))))
(defrule agreed (logical (fact (f ?f)) (not (given (f ?f))) (standing (f ?f) (v ?v)) (not (standing (f ?f) (v ~?v))))
  => (assert (val (f ?f) (v ?v))))
(defrule torn (logical (fact (f ?f)) (not (given (f ?f))) (standing (f ?f) (v ?v)) (standing (f ?f) (v ~?v)))
  => (assert (val (f ?f) (v unknown))))
(deffunction show () (do-for-all-facts ((?x val)) (neq ?x:v unknown) (printout t "val " ?x:f " " ?x:v crlf))
  (do-for-all-facts ((?x fires)) TRUE (printout t "fires " ?x:r crlf)) (printout t "step" crlf))
`

func newClips(book *rules.Book) *clipsScript {
	c := &clipsScript{}
	c.text.WriteString(clipsProlog)
	for _, r := range book.Rules {
		c.rule(book, r)
	}
	c.text.WriteString("(reset)\n")
	for _, f := range book.Facts {
		fmt.Fprintf(&c.text, "(assert (fact (f %s)))\n", f.ID)
	}
	for _, r := range book.Rules {
		for _, i := range r.GoesOver() {
			fmt.Fprintf(&c.text, "(assert (over (a %s) (b %s)))\n", r.ID, book.Rules[i].ID)
		}
	}
	return c
}

// rule writes a rule as patterns for what it reads, a test and its claims.
func (c *clipsScript) rule(book *rules.Book, r *rules.Rule) {
	c.defrule(book, r.ID, r.When.Reads(), clipsExpression(book, r.When.Source()), fmt.Sprintf("(assert (fires (r %s)))", r.ID))
	for i, a := range r.Then {
		if a.Do != rules.Set {
			continue
		}
		f, _ := book.Fact(a.Fact)
		reads := slices.Concat(r.When.Reads(), a.To.Reads())
		slices.Sort(reads)
		fit := "(neq ?out unknown)"
		if f.Range != [2]float64{} {
			fit = fmt.Sprintf("(and (neq ?out unknown) (>= ?out %s) (<= ?out %s))", clipsNumber(f.Range[0]), clipsNumber(f.Range[1]))
		}
		c.defrule(book, fmt.Sprintf("%s-%d", r.ID, i), slices.Compact(reads), clipsExpression(book, r.When.Source()),
			fmt.Sprintf("(bind ?out %s) (if %s then (assert (claim (f %s) (r %s) (v ?out))))", clipsValue(book, a), fit, f.ID, r.ID))
	}
}

func (c *clipsScript) defrule(book *rules.Book, name string, reads []int, test, then string) {
	fmt.Fprintf(&c.text, "(defrule %s (logical (fact (f %s))", name, book.Facts[0].ID)
	for _, i := range reads {
		fmt.Fprintf(&c.text, " (val (f %s) (v ?%s))", book.Facts[i].ID, book.Facts[i].ID)
	}
	fmt.Fprintf(&c.text, " (test (eq TRUE %s))) => %s)\n", test, then)
}

// clipsValue is the value of a set action; a bare word stands for itself.
func clipsValue(book *rules.Book, a rules.Action) string {
	if f, _ := book.Fact(a.Fact); slices.Contains(f.Of, a.To.Source()) {
		return a.To.Source()
	}
	return clipsExpression(book, a.To.Source())
}

func clipsExpression(book *rules.Book, source string) string {
	tree, err := parser.Parse(source)
	if err != nil {
		panic(err)
	}
	return clipsNode(book, tree.Node)
}

func clipsNode(book *rules.Book, node ast.Node) string {
	at := func(n ast.Node) string { return clipsNode(book, n) }
	switch x := node.(type) {
	case *ast.BoolNode:
		return strings.ToUpper(strconv.FormatBool(x.Value))
	case *ast.IntegerNode:
		return clipsNumber(float64(x.Value))
	case *ast.FloatNode:
		return clipsNumber(x.Value)
	case *ast.StringNode:
		return x.Value
	case *ast.IdentifierNode:
		if p, ok := book.Parameter(x.Value); ok {
			return clipsNumber(p.Value)
		}
		return "?" + x.Value
	case *ast.UnaryNode:
		switch x.Operator {
		case "-":
			return fmt.Sprintf("(k-num - 0.0 %s)", at(x.Node))
		case "+":
			return at(x.Node)
		}
		return fmt.Sprintf("(k-not %s)", at(x.Node))
	case *ast.BinaryNode:
		return clipsBinary(book, x)
	case *ast.ConditionalNode:
		return fmt.Sprintf("(k-if %s %s %s)", at(x.Cond), at(x.Exp1), at(x.Exp2))
	case *ast.CallNode:
		return fmt.Sprintf("(neq %s unknown)", at(x.Arguments[0]))
	case *ast.BuiltinNode:
		if len(x.Arguments) == 1 {
			return fmt.Sprintf("(k-%s %s)", x.Name, at(x.Arguments[0]))
		}
		return fmt.Sprintf("(k-num %s %s %s)", x.Name, at(x.Arguments[0]), at(x.Arguments[1]))
	}
	panic(node)
}

func clipsBinary(book *rules.Book, x *ast.BinaryNode) string {
	left := clipsNode(book, x.Left)
	if x.Operator == "in" {
		out := "FALSE"
		for _, item := range x.Right.(*ast.ArrayNode).Nodes {
			out = fmt.Sprintf("(k-or %s (k-same %s %s))", out, left, clipsNode(book, item))
		}
		return out
	}
	right := clipsNode(book, x.Right)
	switch x.Operator {
	case "and", "&&":
		return fmt.Sprintf("(k-and %s %s)", left, right)
	case "or", "||":
		return fmt.Sprintf("(k-or %s %s)", left, right)
	case "==":
		return fmt.Sprintf("(k-same %s %s)", left, right)
	case "!=":
		return fmt.Sprintf("(k-not (k-same %s %s))", left, right)
	}
	return fmt.Sprintf("(k-num %s %s %s)", x.Operator, left, right)
}
