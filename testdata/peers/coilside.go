package main

import (
	"fmt"
	"strings"
	"testing/fstest"

	"coilside/engine"
	"coilside/rules"
)

// writeYAML writes a rule set as a shop would.
func writeYAML(s ruleSet) string {
	var b strings.Builder
	b.WriteString("facts:\n")
	for i := range numbers + 1 {
		fmt.Fprintf(&b, "  - {id: %s, kind: number}\n", numberName(i))
	}
	for i := range s.rules {
		fmt.Fprintf(&b, "  - {id: %s, kind: bool}\n", flagName(i))
	}
	b.WriteString("rules:\n")
	for i, r := range s.rules {
		fmt.Fprintf(&b, "  - {id: r%d, when: %s, then: [{do: set, fact: %s, to: 'true'}], because: so}\n",
			i, r.condition(" and ", " or ", flagName, numberName), flagName(r.sets))
	}
	return b.String()
}

func compileCoilside(s ruleSet) (func() (book, error), error) {
	files := fstest.MapFS{"rules.yaml": {Data: []byte(writeYAML(s))}}
	return func() (book, error) {
		b, err := rules.Load(rules.Layer{Name: "generated", FS: files})
		if err != nil {
			return nil, err
		}
		return coilsideBook{engine.Compile(b), len(s.rules)}, nil
	}, nil
}

type coilsideBook struct {
	program *engine.Program
	rules   int
}

func (b coilsideBook) open() memory { return coilsideMemory{b.program.Memory(), b.rules} }

func (b coilsideBook) inputs(given []float64) any {
	var out []engine.Given
	for i, v := range given {
		out = append(out, engine.Given{Entry: i, Fact: names[i], Value: rules.NumberValue(v)})
	}
	return out
}

// coilsideMemory gives every number under a log entry of its own.
type coilsideMemory struct {
	*engine.Memory
	rules int
}

func (m coilsideMemory) load(inputs any) {
	if err := m.GiveAll(inputs.([]engine.Given)); err != nil {
		panic(err)
	}
}

func (m coilsideMemory) change(number int, value float64) {
	if err := m.Give(number, names[number], rules.NumberValue(value)); err != nil {
		panic(err)
	}
}

func (m coilsideMemory) takeBack(number int) { m.TakeBack(number) }

func (m coilsideMemory) flags() state {
	out := make(state, m.rules)
	for i := range out {
		v, known := m.Value(flagName(i))
		out[i] = known && v.Bool
	}
	return out
}

// names are those of the numbers, made once: writing them is no part of any engine's work.
var names = func() []string {
	out := make([]string, numbers+1)
	for i := range out {
		out[i] = numberName(i)
	}
	return out
}()
