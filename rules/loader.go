package rules

import (
	"crypto/sha256"

	"go.yaml.in/yaml/v3"
)

// Loader loads rulebooks and keeps what it read, so that loading again after a few files
// changed costs little more than those files. The zero Loader is ready. Books share nothing that
// changes. Not safe for concurrent use.
type Loader struct {
	files          map[fileKey]readFile // of the last load
	were           map[fileKey]readFile // of the load before, while one is under way
	facts          *scope               // that conditions were compiled in
	compiles       map[conditionKey]*Condition
	compiledBefore map[conditionKey]*Condition // of the load before
}

type fileKey struct {
	name string
	sum  [sha256.Size]byte
}

// readFile is a file as YAML, with what `for` stands for written out.
type readFile struct {
	src *source
	doc *yaml.Node
}

type conditionKey struct {
	want   Kind
	source string
}

// Load is like the function Load.
func (kept *Loader) Load(layers ...Layer) (*Book, error) {
	kept.were, kept.files = kept.files, map[fileKey]readFile{}
	kept.compiledBefore, kept.compiles = kept.compiles, nil
	book, err := kept.load(layers...)
	if err != nil { // what was read well before may be again
		for key, f := range kept.were {
			kept.files[key] = f
		}
	}
	kept.were, kept.compiledBefore = nil, nil
	return book, err
}

func (kept *Loader) read(key fileKey) (readFile, bool) {
	f, ok := kept.were[key]
	if ok {
		kept.files[key] = f
	}
	return f, ok
}

// conditionsIn makes ready for the conditions of so many rules, and drops those compiled before
// when names have changed since.
func (kept *Loader) conditionsIn(facts *scope, rules int) {
	kept.compiles = make(map[conditionKey]*Condition, rules)
	if kept.facts == nil || !kept.facts.same(facts) {
		kept.compiledBefore = nil
	}
	kept.facts = facts
}

// compiled gives a condition of the same text that compiled before, or nil.
func (kept *Loader) compiled(want Kind, source string) *Condition {
	key := conditionKey{want, source}
	if c, ok := kept.compiles[key]; ok {
		return c
	}
	c, ok := kept.compiledBefore[key]
	if ok {
		kept.compiles[key] = c
	}
	return c
}

func (kept *Loader) keepCondition(want Kind, c *Condition) {
	kept.compiles[conditionKey{want, c.source}] = c
}
