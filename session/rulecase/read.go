// Package rulecase runs the cases of a ruleset: situations with what the rules
// are to make of them, kept as YAML beside the rules. They tell whoever edits
// the rules whether they still do what they are for.
package rulecase

import (
	"bytes"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Case is one situation and what the rules make of it. Fields of Expect that
// are left out are not compared; those that are given are the whole of it, but
// for the some_ fields, of which there may be more.
//
// A case with readings, or that expects suspects, a test or a conclusion, is a whole
// job: Facts open it, the readings are taken in order, and the ranking answers
// what is suspected and concluded. The others look at the rules alone.
type Case struct {
	ID        string             `yaml:"id"`
	Facts     map[string]*string `yaml:"facts"` // over the file's given; null takes one away
	Suspected []string           `yaml:"suspected"`
	Concluded []string           `yaml:"concluded"`
	Readings  []Reading          `yaml:"readings"`
	Quiet     []string           `yaml:"quiet"` // rules that must not fire
	Expect    expectation        `yaml:"expect"`

	File string `yaml:"-"` // below the ruleset's folder
	Line int    `yaml:"-"` // from 1
}

// Reading is one thing done in a whole job: {TEST: ANSWER}, {skip: TEST} or
// {repair: SUSPECT, result: gone}.
type Reading map[string]yaml.Node

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

	Conclusion *[]string `yaml:"conclusion"` // suspects that are proved; [] = none yet
	Suspects   []string  `yaml:"suspects"`   // the likeliest, in order
	Among      []string  `yaml:"among"`      // suspects that the conclusion names, or, while there is none, that are among the five likeliest
	Next       *string   `yaml:"next"`       // test proposed; "" = none
	Rises      []string  `yaml:"rises"`      // suspects that the last reading makes likelier
	Falls      []string  `yaml:"falls"`      // and less likely
}

type caseFile struct {
	Given map[string]*string `yaml:"given"`
	Cases []yaml.Node        `yaml:"cases"`
}

// Read reads the cases under a ruleset's folder: the *.yaml files of its folder
// "cases". The error names the file and what is wrong in it.
func Read(ruleset fs.FS) ([]Case, error) {
	names, err := fs.Glob(ruleset, "cases/*.yaml")
	if err != nil {
		return nil, err
	}
	var out []Case
	seen := map[string]bool{}
	for _, name := range names {
		cases, err := readFile(ruleset, name)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		for _, c := range cases {
			c.ID = strings.TrimSuffix(path.Base(name), ".yaml") + "/" + c.ID
			if seen[c.ID] {
				return nil, fmt.Errorf("%s: the case %s is there twice", name, c.ID)
			}
			seen[c.ID] = true
			out = append(out, c)
		}
	}
	return out, nil
}

func readFile(ruleset fs.FS, name string) ([]Case, error) {
	data, err := fs.ReadFile(ruleset, name)
	if err != nil {
		return nil, err
	}
	var file caseFile
	if err := strict(data, &file); err != nil {
		return nil, err
	}
	var out []Case
	for i := range file.Cases {
		cases, err := expandCase(&file.Cases[i])
		if err != nil {
			return nil, err
		}
		for _, c := range cases {
			facts := map[string]*string{}
			maps.Copy(facts, file.Given)
			maps.Copy(facts, c.Facts)
			c.Facts = facts
			c.File, c.Line = name, file.Cases[i].Line
			out = append(out, c)
		}
	}
	return out, nil
}

func strict(data []byte, into any) error {
	d := yaml.NewDecoder(bytes.NewReader(data))
	d.KnownFields(true)
	return d.Decode(into)
}

// expandCase writes out a case that `for` declares for several values of one name.
func expandCase(n *yaml.Node) ([]Case, error) {
	var over struct {
		For map[string][]string `yaml:"for"`
	}
	if err := n.Decode(&over); err != nil {
		return nil, err
	}
	if len(over.For) > 1 {
		return nil, fmt.Errorf("line %d: a `for` takes one name", n.Line)
	}
	plain := *n
	plain.Content = slices.Clone(n.Content)
	if at := slices.IndexFunc(plain.Content, func(c *yaml.Node) bool { return c.Value == "for" }); at >= 0 {
		plain.Content = slices.Delete(plain.Content, at, at+2)
	}
	text, err := yaml.Marshal(&plain)
	if err != nil {
		return nil, err
	}
	texts := []string{string(text)}
	for name, values := range over.For {
		texts = nil
		for _, v := range values {
			texts = append(texts, strings.ReplaceAll(string(text), "{"+name+"}", v))
		}
	}
	out := make([]Case, len(texts))
	for i, text := range texts {
		if err := strict([]byte(text), &out[i]); err != nil {
			return nil, fmt.Errorf("the case at line %d: %w", n.Line, err)
		}
	}
	return out, nil
}
