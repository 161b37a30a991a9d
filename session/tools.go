package session

import (
	"maps"
	"slices"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// toolFacts turns the tools of an opening into facts. The error names a tool that no
// test of the rulebook needs, with the nearest one that some do.
func toolFacts(book *rules.Book, tools map[string]bool) ([]given, error) {
	var out []given
	for _, tool := range slices.Sorted(maps.Keys(tools)) {
		fact := diagnosis.ToolFact + tool
		if _, ok := book.Fact(fact); !ok {
			return nil, notOneOf("tools", tool, knownTools(book))
		}
		out = append(out, given{"tools." + tool, fact, rules.Value{Kind: rules.Bool, Bool: tools[tool]}})
	}
	return out, nil
}

func knownTools(book *rules.Book) []string {
	var known []string
	for _, f := range book.Facts {
		if tool, ok := strings.CutPrefix(f.ID, diagnosis.ToolFact); ok {
			known = append(known, tool)
		}
	}
	return known
}
