package main

import (
	"context"
	"encoding/json"

	"coilside/rules"
	"coilside/session/rulecase"
)

// schema prints the JSON Schema of a kind of file, for YAML editors.
func (c *rulesCommand) schema(_ context.Context, args []string) int {
	kinds := map[string]func() map[string]any{"rules": rules.Schema, "cases": rulecase.Schema}
	kind := "rules"
	if len(args) > 0 {
		kind = args[0]
	}
	of := kinds[kind]
	if of == nil || len(args) > 1 {
		return c.fail(exitUsage, "say  rules  for rule files or  cases  for the files in folders called cases")
	}
	out := json.NewEncoder(c.stdout)
	out.SetIndent("", "  ")
	out.SetEscapeHTML(false)
	if err := out.Encode(of()); err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	return exitDone
}
