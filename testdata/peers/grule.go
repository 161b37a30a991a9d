package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/hyperjumptech/grule-rule-engine/ast"
	"github.com/hyperjumptech/grule-rule-engine/builder"
	"github.com/hyperjumptech/grule-rule-engine/engine"
	"github.com/hyperjumptech/grule-rule-engine/pkg"
)

func writeGRL(s ruleSet) string {
	number := func(i int) string { return fmt.Sprintf("F.Numbers[%d]", i) }
	flag := func(i int) string { return fmt.Sprintf("F.Flags[%d]", i) }
	var b strings.Builder
	for i, r := range s.rules {
		fmt.Fprintf(&b, "rule R%d salience %d { when %s then F.Flags[%d] = true; }\n",
			i, links-r.level, r.condition(" && ", " || ", flag, number), r.sets)
	}
	return b.String()
}

func compileGrule(s ruleSet) (func() (book, error), error) {
	text := []byte(writeGRL(s))
	return func() (book, error) {
		library := ast.NewKnowledgeLibrary()
		if err := builder.NewRuleBuilder(library).BuildRuleFromResource("peers", "1", pkg.NewBytesResource(text)); err != nil {
			return nil, err
		}
		return gruleBook{library, len(s.rules)}, nil
	}, nil
}

type gruleBook struct {
	library *ast.KnowledgeLibrary
	rules   int
}

func (b gruleBook) inputs(given []float64) any { return given }

func (b gruleBook) open() memory {
	knowledge, err := b.library.NewKnowledgeBaseInstance("peers", "1")
	if err != nil {
		panic(err)
	}
	m := &gruleMemory{engine: engine.NewGruleEngine(), knowledge: knowledge, data: ast.NewDataContext(),
		facts: &gruleFacts{Numbers: make([]float64, numbers+1), Flags: make([]bool, b.rules)}}
	if err := m.data.Add("F", m.facts); err != nil {
		panic(err)
	}
	return m
}

// gruleFacts is what the rules see as F.
type gruleFacts struct {
	Numbers []float64
	Flags   []bool
}

type gruleMemory struct {
	engine    *engine.GruleEngine
	knowledge *ast.KnowledgeBase
	data      ast.IDataContext
	facts     *gruleFacts
}

func (m *gruleMemory) load(inputs any) {
	copy(m.facts.Numbers, inputs.([]float64))
	m.fire()
}

// fire derives everything anew, as the engine keeps no account of what stands on what. It
// runs all rules that match, level by level, until a round sets nothing: its own loop
// fires one rule a round and would take thousands of rounds.
func (m *gruleMemory) fire() {
	clear(m.facts.Flags)
	for more := true; more; {
		matching, err := m.engine.FetchMatchingRules(m.data, m.knowledge)
		if err != nil {
			panic(err)
		}
		before := slices.Clone(m.facts.Flags)
		for _, r := range matching {
			if err := r.Execute(context.Background(), m.data, m.knowledge.WorkingMemory); err != nil {
				panic(err)
			}
		}
		more = !slices.Equal(before, m.facts.Flags)
	}
}

func (m *gruleMemory) change(number int, value float64) {
	m.facts.Numbers[number] = value
	m.fire()
}

func (m *gruleMemory) takeBack(number int) { m.change(number, 0) }

func (m *gruleMemory) flags() state { return slices.Clone(m.facts.Flags) }
