package rules

import (
	"fmt"
	"slices"
	"strings"
)

// graph orders the rules so that every rule comes after all rules that set a
// fact it reads. known(f) reads f like any other use does.
type graph struct {
	k       *checker
	setters [][]int // by fact: places of rules
	state   []visit // by rule
	path    []*Rule
}

type visit uint8

const (
	untouched visit = iota
	open
	done
)

// order gives every rule its level and reports loops.
func (k *checker) order() {
	g := &graph{k: k, setters: make([][]int, len(k.book.Facts)), state: make([]visit, len(k.book.Rules))}
	for i, r := range k.book.Rules {
		for _, fact := range r.sets {
			g.setters[fact] = append(g.setters[fact], i)
		}
	}
	for i, state := range g.state {
		if state == untouched {
			g.visit(i)
		}
	}
}

// visit walks depth first; recursion is as deep as the longest chain of rules.
func (g *graph) visit(i int) {
	r := g.k.book.Rules[i]
	g.state[i] = open
	g.path = append(g.path, r)
	for _, fact := range r.reads {
		for _, before := range g.setters[fact] {
			switch g.state[before] {
			case open:
				g.loop(g.k.book.Rules[before])
				continue
			case untouched:
				g.visit(before)
			}
			r.level = max(r.level, g.k.book.Rules[before].level+1)
		}
	}
	g.path = g.path[:len(g.path)-1]
	g.state[i] = done
}

// loop reports the rules from first to the end of the path, which feed each other.
func (g *graph) loop(first *Rule) {
	rules := g.path[slices.Index(g.path, first):]
	// The path runs from reader to setter; told the other way it reads as cause
	// and effect. Start at the first by id, so that one loop has one message.
	loop := slices.Clone(rules)
	slices.Reverse(loop)
	start := 0
	for i, r := range loop {
		if r.ID < loop[start].ID {
			start = i
		}
	}
	loop = append(loop[start:], loop[:start]...)
	var steps []string
	for i, r := range loop {
		next := loop[(i+1)%len(loop)]
		for _, fact := range r.sets {
			if slices.Contains(next.reads, fact) {
				steps = append(steps, fmt.Sprintf("%q sets %q, which %q reads", r.ID, g.k.book.Facts[fact].ID, next.ID))
				break
			}
		}
	}
	message := "these rules feed each other in a loop: " + strings.Join(steps, "; ")
	if len(loop) == 1 {
		message = fmt.Sprintf("rule %q reads what it sets: %q", loop[0].ID, g.k.book.Facts[loop[0].sets[0]].ID)
	}
	g.k.add(loop[0].at.of("id"), CodeLoop, message, "let one of them set a fact of its own")
}

// links fills in what a rule reads and sets, as sorted fact indexes.
func (k *checker) links(r *Rule) {
	if r.When != nil {
		r.reads = append(r.reads, r.When.reads...)
	}
	for _, a := range r.Then {
		if a.To != nil {
			r.reads = append(r.reads, a.To.reads...)
		}
		if i, ok := k.book.FactIndex(a.Fact); ok && a.Do == Set {
			r.sets = append(r.sets, i)
		}
	}
	slices.Sort(r.reads)
	r.reads = slices.Compact(r.reads)
	sets := slices.Clone(r.sets)
	slices.Sort(sets)
	if unique := slices.Compact(sets); len(unique) < len(r.sets) {
		k.add(r.at.of("then"), CodeDuplicate, fmt.Sprintf("rule %q sets one fact twice", r.ID), "make two rules of it")
		r.sets = unique
		return
	}
	r.sets = sets
}

// Reads gives what the rule reads, as sorted indexes into Book.Facts. Do not
// change it.
func (r *Rule) Reads() []int { return r.reads }

// Sets gives what the rule sets, as sorted indexes into Book.Facts. Do not
// change it.
func (r *Rule) Sets() []int { return r.sets }

// Level is 0 for a rule that reads no fact set by a rule, else one more than the
// highest level of the rules that set what it reads.
func (r *Rule) Level() int { return r.level }

// stages checks what each stage may do.
func (k *checker) stages(r *Rule) {
	for _, a := range r.Then {
		if a.To != nil && a.To.late {
			k.add(a.To.at, CodeType, "a fact can't be set from suspected() or concluded()", "facts are settled before suspects are ranked")
		}
		if r.Late && !slices.Contains([]Do{Advise, Caution, Prefer}, a.Do) {
			k.add(a.at.of("do"), CodeType, fmt.Sprintf("a rule that asks suspected() or concluded() can't %s", a.Do.words()), "it may advise, caution and prefer tests")
		}
	}
}

func (d Do) words() string {
	return map[Do]string{
		Set: "set facts", Weigh: "weigh suspects", RuleOut: "rule out suspects", Require: "require tests", Forbid: "forbid tests",
	}[d]
}

// precedence resolves `over` and reports loops in it.
func (k *checker) precedence() {
	for _, r := range k.book.Rules {
		for i, id := range r.Over {
			at := r.at.item("over", i)
			other, ok := k.book.Rule(id)
			switch {
			case !ok:
				k.add(at, CodeName, fmt.Sprintf("no rule is called %q", id), didYouMean(id, k.ruleIDs()))
				continue
			case !shares(r.sets, other.sets):
				k.add(at, CodeValue, fmt.Sprintf("%q and %q set no fact in common, so neither goes over the other", r.ID, id), k.overHint(r))
			case other.Safety && !r.Safety:
				k.add(at, CodeSafety, fmt.Sprintf("%q is a safety rule; nothing goes over it", id), "")
			}
		}
	}
	for i, r := range k.book.Rules {
		r.over = k.overClosure(r)
		if slices.Contains(r.over, i) {
			k.add(r.at.of("over"), CodeLoop, fmt.Sprintf("rule %q goes over itself, through %s", r.ID, strings.Join(r.Over, ", ")), "")
		}
	}
}

// overHint names rules that a rule could go over: those that set what it sets.
func (k *checker) overHint(r *Rule) string {
	var ids []string
	for _, other := range k.book.Rules {
		if other != r && shares(r.sets, other.sets) {
			ids = append(ids, other.ID)
		}
	}
	if len(ids) == 0 {
		return "leave  over  out: no other rule sets what this one sets"
	}
	return "it could go over " + strings.Join(ids[:min(len(ids), 4)], ", ")
}

// overClosure gives the rules that r goes over, directly or through others.
func (k *checker) overClosure(r *Rule) []int {
	var out []int
	todo := slices.Clone(r.Over)
	for len(todo) > 0 {
		i, ok := k.book.RuleIndex(todo[0])
		todo = todo[1:]
		if ok && !slices.Contains(out, i) {
			out = append(out, i)
			todo = append(todo, k.book.Rules[i].Over...)
		}
	}
	slices.Sort(out)
	return out
}

// GoesOver gives the rules whose value for a shared fact this one replaces,
// directly or through others, as sorted indexes into Book.Rules. Do not change it.
func (r *Rule) GoesOver() []int { return r.over }

func shares(a, b []int) bool {
	return slices.ContainsFunc(a, func(x int) bool { return slices.Contains(b, x) })
}

func (k *checker) ruleIDs() []string {
	out := make([]string, len(k.book.Rules))
	for i, r := range k.book.Rules {
		out[i] = r.ID
	}
	return out
}
