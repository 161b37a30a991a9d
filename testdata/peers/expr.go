package main

import (
	"fmt"
	"maps"

	"github.com/expr-lang/expr/checker"
	"github.com/expr-lang/expr/compiler"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/optimizer"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"
	"go.yaml.in/yaml/v3"
)

// exprBook holds a program for each rule, over a map of all facts.
type exprBook struct {
	programs []*vm.Program
	touched  map[string][]int // rules by the fact they read
	sets     []string         // flag, by rule
	empty    map[string]any
	naive    bool
}

// ruleFile is as much of the rules as the loops need. They read the same YAML as Coilside.
type ruleFile struct {
	Rules []struct {
		When string
		Then []struct{ Fact string }
	}
}

func compileBare(s ruleSet) (func() (book, error), error)  { return compileExpr(s, false) }
func compileNaive(s ruleSet) (func() (book, error), error) { return compileExpr(s, true) }

func compileExpr(s ruleSet, naive bool) (func() (book, error), error) {
	text := []byte(writeYAML(s))
	empty := map[string]any{}
	for _, name := range names {
		empty[name] = 0.0 // a name that is not there would be an error when the program runs
	}
	for i := range s.rules {
		empty[flagName(i)] = false
	}
	return func() (book, error) {
		var file ruleFile
		if err := yaml.Unmarshal(text, &file); err != nil {
			return nil, err
		}
		// One configuration for all: making one for each rule, as expr.Compile does, takes
		// a hundred times as long with so many names.
		config := conf.New(empty)
		b := &exprBook{empty: empty, naive: naive, touched: map[string][]int{}}
		for i, r := range file.Rules {
			program, err := compileOne(r.When, config)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", r.When, err)
			}
			b.programs = append(b.programs, program)
			b.sets = append(b.sets, r.Then[0].Fact)
			for _, name := range s.rules[i].reads() {
				b.touched[name] = append(b.touched[name], i)
			}
		}
		return b, nil
	}, nil
}

func compileOne(source string, config *conf.Config) (*vm.Program, error) {
	tree, err := parser.ParseWithConfig(source, config)
	if err != nil {
		return nil, err
	}
	if _, err := checker.Check(tree, config); err != nil {
		return nil, err
	}
	if err := optimizer.Optimize(&tree.Node, config); err != nil {
		return nil, err
	}
	return compiler.Compile(tree, config)
}

// reads gives the names in a rule's condition, each once.
func (r rule) reads() []string {
	var out []string
	seen := map[string]bool{}
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			out = append(out, name)
		}
	}
	if r.after >= 0 {
		add(flagName(r.after))
	}
	for _, c := range r.comparisons {
		add(numberName(c.number))
		if c.other >= 0 {
			add(numberName(c.other))
		}
	}
	return out
}

func (b *exprBook) inputs(given []float64) any {
	out := map[string]any{}
	for i, v := range given {
		out[names[i]] = v
	}
	return out
}

func (b *exprBook) open() memory { return &exprMemory{exprBook: b, env: maps.Clone(b.empty)} }

type exprMemory struct {
	*exprBook
	env     map[string]any
	machine vm.VM
}

func (m *exprMemory) load(inputs any) {
	maps.Copy(m.env, inputs.(map[string]any))
	m.all()
}

// all runs every program, in the order of the chains.
func (m *exprMemory) all() {
	for i := range m.programs {
		m.env[m.sets[i]] = m.holds(i)
	}
}

func (m *exprMemory) holds(i int) bool {
	out, err := m.machine.Run(m.programs[i], m.env)
	if err != nil {
		panic(err)
	}
	return out.(bool)
}

func (m *exprMemory) change(number int, value float64) {
	m.env[names[number]] = value
	if m.naive {
		m.all()
	} else {
		m.touch(names[number])
	}
}

// touch runs the programs that read a fact, and so on from the flags that changed. It knows
// nothing of why a flag is set.
func (m *exprMemory) touch(name string) {
	for _, i := range m.touched[name] {
		holds := m.holds(i)
		if flag := m.sets[i]; m.env[flag].(bool) != holds {
			m.env[flag] = holds
			m.touch(flag)
		}
	}
}

func (m *exprMemory) takeBack(number int) { m.change(number, 0) }

func (m *exprMemory) flags() state {
	out := make(state, len(m.sets))
	for i, flag := range m.sets {
		out[i] = m.env[flag].(bool)
	}
	return out
}
