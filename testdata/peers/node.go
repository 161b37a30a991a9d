package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
)

// nodeFolder holds the script and its package, relative to this module.
const nodeFolder = "node"

// runNode plays a plan with json-rules-engine; the package comes from the npm registry once.
func runNode(p plan) (outcome, error) {
	for _, program := range []string{"node", "npm"} {
		if _, err := exec.LookPath(program); err != nil {
			return outcome{}, fmt.Errorf("%s is %w", program, errMissing)
		}
	}
	if _, err := os.Stat(filepath.Join(nodeFolder, "node_modules", "json-rules-engine")); err != nil {
		install := exec.Command("npm", "install", "--no-audit", "--no-fund", "--no-package-lock", "--silent")
		install.Dir = nodeFolder
		if printed, err := install.CombinedOutput(); err != nil {
			return outcome{}, fmt.Errorf("%w: npm install: %s", errMissing, printed)
		}
	}
	file, err := os.CreateTemp("", "plan*.json")
	if err != nil {
		return outcome{}, err
	}
	defer os.Remove(file.Name())
	if err := json.NewEncoder(file).Encode(nodePlan(p)); err != nil {
		return outcome{}, err
	}
	if err := file.Close(); err != nil {
		return outcome{}, err
	}
	printed, err := exec.CommandContext(p.context, "node", "--expose-gc", filepath.Join(nodeFolder, "run.mjs"), file.Name()).CombinedOutput()
	if err != nil {
		return outcome{}, fmt.Errorf("%w: %s", err, printed)
	}
	return readOutcome(printed, len(p.set.rules))
}

func nodePlan(p plan) map[string]any {
	given := map[string]float64{}
	for i, v := range p.given {
		given[numberName(i)] = v
	}
	var changes [][2]any
	for _, c := range p.changes {
		changes = append(changes, [2]any{numberName(c.number), c.value})
	}
	var rules []any
	for _, r := range p.set.rules {
		rules = append(rules, nodeRule(r))
	}
	return map[string]any{"rules": rules, "given": given, "changes": changes, "shown": p.shown,
		"start": numberName(start), "seconds": p.pause.Seconds(), "weigh": len(p.set.rules) == memoryRules}
}

func nodeRule(r rule) any {
	var parts []any
	for _, c := range r.comparisons {
		var right any = c.constant
		if c.other >= 0 {
			right = map[string]any{"fact": numberName(c.other)}
		}
		operator := map[string]string{">": "greaterThan", "<": "lessThan"}[c.op]
		parts = append(parts, map[string]any{"fact": numberName(c.number), "operator": operator, "value": right})
	}
	if r.any {
		parts = []any{map[string]any{"any": parts}}
	}
	if r.after >= 0 {
		parts = append([]any{map[string]any{"fact": flagName(r.after), "operator": "equal", "value": true}}, parts...)
	}
	return map[string]any{
		"conditions": map[string]any{"all": parts},
		"event":      map[string]any{"type": flagName(r.sets)},
		"priority":   links - r.level + 1,
	}
}
