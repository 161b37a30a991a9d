package rulesets_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/engine"
	"coilside/rules"
	"coilside/rulesets"
)

// ruleCase is one situation and what the rules make of it. Fields of Expect that
// are left out are not compared; those that are given are the whole of it, but
// for the some_ fields, of which there may be more.
type ruleCase struct {
	ID        string             `yaml:"id"`
	Facts     map[string]*string `yaml:"facts"` // over the file's given; null takes one away
	Suspected []string           `yaml:"suspected"`
	Concluded []string           `yaml:"concluded"`
	Quiet     []string           `yaml:"quiet"` // rules that must not fire
	Expect    expectation        `yaml:"expect"`
}

type expectation struct {
	Facts         map[string]string  `yaml:"facts"` // derived by rules
	Weights       map[string]float64 `yaml:"weights"`
	Preferred     map[string]float64 `yaml:"preferred"`
	Required      *[]string          `yaml:"required"`
	Forbidden     *[]string          `yaml:"forbidden"`
	Cautions      *[]string          `yaml:"cautions"` // rules that say one
	Advice        *[]string          `yaml:"advice"`   // rules that give it
	SomeCautions  []string           `yaml:"some_cautions"`
	SomeAdvice    []string           `yaml:"some_advice"`
	SomeForbidden []string           `yaml:"some_forbidden"`
}

type caseFile struct {
	Given map[string]*string `yaml:"given"`
	Cases []yaml.Node        `yaml:"cases"`
}

func readCases(t *testing.T) []ruleCase {
	t.Helper()
	names, err := fs.Glob(rulesets.Relay(), "cases/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	var out []ruleCase
	seen := map[string]string{}
	for _, name := range names {
		data, err := fs.ReadFile(rulesets.Relay(), name)
		require.NoError(t, err)
		var file caseFile
		require.NoError(t, strict(data, &file), name)
		for i := range file.Cases {
			for _, c := range expandCase(t, &file.Cases[i]) {
				require.Empty(t, seen[c.ID], "case %s of %s", c.ID, name)
				seen[c.ID] = name
				facts := maps.Clone(file.Given)
				maps.Copy(facts, c.Facts)
				c.Facts = facts
				c.ID = strings.TrimSuffix(path.Base(name), ".yaml") + "/" + c.ID
				out = append(out, c)
			}
		}
	}
	return out
}

func strict(data []byte, into any) error {
	d := yaml.NewDecoder(bytes.NewReader(data))
	d.KnownFields(true)
	return d.Decode(into)
}

// expandCase writes out a case that `for` declares for several values of one name.
func expandCase(t *testing.T, n *yaml.Node) []ruleCase {
	t.Helper()
	var over struct {
		For map[string][]string `yaml:"for"`
	}
	require.NoError(t, n.Decode(&over))
	n.Content = slices.Clone(n.Content)
	if at := slices.IndexFunc(n.Content, func(c *yaml.Node) bool { return c.Value == "for" }); at >= 0 {
		n.Content = slices.Delete(n.Content, at, at+2)
	}
	text, err := yaml.Marshal(n)
	require.NoError(t, err)
	texts := []string{string(text)}
	for name, values := range over.For {
		require.Len(t, over.For, 1, "one name in a for")
		texts = nil
		for _, v := range values {
			texts = append(texts, strings.ReplaceAll(string(text), "{"+name+"}", v))
		}
	}
	out := make([]ruleCase, len(texts))
	for i, text := range texts {
		require.NoError(t, strict([]byte(text), &out[i]), text)
	}
	return out
}

// result is what the rules made of a case, in the words of an expectation.
type result struct {
	fired               map[string]bool
	facts               map[string]string
	weights, preferred  map[string]float64
	required, forbidden []string
	cautions, advice    []string
}

func play(book *rules.Book, c ruleCase) (*result, error) {
	m := engine.New(book)
	entry := 0
	for _, id := range slices.Sorted(maps.Keys(c.Facts)) {
		word := c.Facts[id]
		if word == nil {
			continue
		}
		fact, ok := book.Fact(id)
		if !ok {
			return nil, fmt.Errorf("no fact %q", id)
		}
		value, err := fact.Parse(*word)
		if err != nil {
			return nil, err
		}
		entry++
		if err := m.Give(entry, id, value); err != nil {
			return nil, err
		}
	}
	late := m.Late(in(c.Suspected), in(c.Concluded))
	r := &result{fired: map[string]bool{}, facts: map[string]string{}, weights: map[string]float64{}, preferred: map[string]float64{}}
	for _, f := range append(m.Firings(), late...) {
		r.fired[f.Rule.ID] = true
	}
	for _, fact := range book.Facts {
		if v, known := m.Value(fact.ID); known && c.Facts[fact.ID] == nil {
			r.facts[fact.ID] = v.String()
		}
	}
	r.add(m.Effects())
	r.add(engine.EffectsOf(late))
	return r, nil
}

func in(list []string) func(string) bool {
	return func(id string) bool { return slices.Contains(list, id) }
}

func (r *result) add(e engine.Effects) {
	for id, w := range e.Weights {
		r.weights[id] = w.Factor
	}
	for id, w := range e.Preferred {
		r.preferred[id] = max(r.preferred[id], 1) * w.Factor
	}
	r.required = append(r.required, slices.Sorted(maps.Keys(e.Required))...)
	r.forbidden = append(r.forbidden, slices.Sorted(maps.Keys(e.Forbidden))...)
	for _, n := range e.Cautions {
		r.cautions = append(r.cautions, n.Rule.ID)
	}
	for _, n := range e.Advice {
		r.advice = append(r.advice, n.Rule.ID)
	}
}

// misses lists in what the result differs from the expectation.
func (c ruleCase) misses(book *rules.Book, r *result) []string {
	var out []string
	miss := func(what string, ok bool, want, got any) {
		if !ok {
			out = append(out, fmt.Sprintf("%s: want %v, got %v", what, want, got))
		}
	}
	x := c.Expect
	if x.Facts != nil {
		miss("facts", maps.Equal(x.Facts, r.facts), x.Facts, r.facts)
	}
	if x.Weights != nil {
		want := spell(x.Weights, book.MatchSuspects)
		miss("weights", sameFactors(want, r.weights), want, r.weights)
	}
	if x.Preferred != nil {
		want := spell(x.Preferred, book.MatchTests)
		miss("preferred", sameFactors(want, r.preferred), want, r.preferred)
	}
	for _, list := range []struct {
		what string
		want *[]string
		got  []string
	}{
		{"required", x.Required, r.required}, {"forbidden", x.Forbidden, r.forbidden},
		{"cautions", x.Cautions, r.cautions}, {"advice", x.Advice, r.advice},
	} {
		if list.want != nil {
			miss(list.what, sameSet(*list.want, list.got), *list.want, list.got)
		}
	}
	miss("cautions", within(x.SomeCautions, r.cautions), x.SomeCautions, r.cautions)
	miss("advice", within(x.SomeAdvice, r.advice), x.SomeAdvice, r.advice)
	miss("forbidden", within(x.SomeForbidden, r.forbidden), x.SomeForbidden, r.forbidden)
	for _, rule := range c.Quiet {
		miss("quiet", !r.fired[rule], rule+" silent", "it fired")
	}
	return out
}

// spell writes a table of patterns out by id.
func spell(patterns map[string]float64, match func(string) []string) map[string]float64 {
	out := map[string]float64{}
	for pattern, factor := range patterns {
		for _, id := range match(pattern) {
			out[id] = factor
		}
	}
	return out
}

func sameFactors(a, b map[string]float64) bool {
	return maps.EqualFunc(a, b, func(x, y float64) bool { return math.Abs(x-y) < 1e-9 })
}

func sameSet(a, b []string) bool { return within(a, b) && within(b, a) }

func within(a, b []string) bool {
	return !slices.ContainsFunc(a, func(s string) bool { return !slices.Contains(b, s) })
}

func TestCases(t *testing.T) {
	book := relayBook(t)
	for _, c := range readCases(t) {
		t.Run(c.ID, func(t *testing.T) {
			for _, rule := range append(c.Quiet, namedRules(c.Expect)...) {
				_, ok := book.Rule(rule)
				assert.True(t, ok, "no rule is called %s", rule)
			}
			r, err := play(book, c)
			require.NoError(t, err)
			assert.Empty(t, c.misses(book, r))
		})
	}
}

func namedRules(x expectation) []string {
	out := append(slices.Clone(x.SomeCautions), x.SomeAdvice...)
	for _, list := range []*[]string{x.Cautions, x.Advice} {
		if list != nil {
			out = append(out, *list...)
		}
	}
	return out
}

// Every rule changes a result: robbed of its actions, at least one case fails. It
// stays in its place, as other rules refer to places.
func TestNoRuleIsPadding(t *testing.T) {
	book := relayBook(t)
	cases := readCases(t)
	for i, rule := range book.Rules {
		less := *book
		idle := *rule
		idle.Then = nil
		less.Rules = slices.Clone(book.Rules)
		less.Rules[i] = &idle
		missed := slices.ContainsFunc(cases, func(c ruleCase) bool {
			r, err := play(&less, c)
			return err == nil && len(c.misses(book, r)) > 0
		})
		assert.True(t, missed, "no case needs the rule %s", rule.ID)
	}
}
