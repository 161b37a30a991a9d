package transport

import (
	"encoding/json"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// layers from the bottom up; a package may import its own layer and those below.
var layers = []string{"rules", "engine", "session", "transport", "cmd"}

// rulesets is data: these layers may read it. Tests of any layer may too.
var readsRulesets = []string{"session", "cmd"}

// knowsNothingOf lists packages that stay apart from others of the project,
// beyond what the layers ask for.
var knowsNothingOf = map[string][]string{
	"coilside/transport/jsonrpc":   {"coilside/session", "coilside/engine", "coilside/transport"},
	"coilside/transport/websocket": {"coilside"},
	"coilside/transport/page":      {"coilside"},
	"coilside/session/journal":     {"coilside"},
	"coilside/session/practice":    {"coilside/session/journal", "coilside/session/trial", "coilside/session/ngspice"},
	"coilside/session/picture":     {"coilside"},
	"coilside/rulesets":            {"coilside"},
}

// impure is what packages of the engine and the rule language stay clear of:
// clock, disk, network, log and chance without a seed.
var impure = []string{"time", "os", "net", "net/http", "log", "log/slog", "math/rand", "crypto/rand", "github.com/rs/zerolog"}

type listed struct {
	ImportPath string
	Imports    []string
}

func listPackages(t *testing.T) []listed {
	t.Helper()
	list := exec.Command("go", "list", "-json=ImportPath,Imports", "coilside/...")
	var problems strings.Builder
	list.Stderr = &problems
	out, err := list.Output()
	require.NoError(t, err, problems.String())
	var all []listed
	dec := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p listed
		if err := dec.Decode(&p); err == io.EOF {
			return all
		} else {
			require.NoError(t, err)
		}
		all = append(all, p)
	}
}

func layerOf(path string) string {
	parts := strings.Split(path, "/")
	if parts[0] != "coilside" || len(parts) < 2 {
		return ""
	}
	return parts[1]
}

// badArrows lists the imports that a package must not have.
func badArrows(p listed) []string {
	var bad []string
	from := layerOf(p.ImportPath)
	for _, path := range p.Imports {
		to := layerOf(path)
		switch {
		case slices.ContainsFunc(knowsNothingOf[p.ImportPath], func(apart string) bool { return path == apart || strings.HasPrefix(path, apart+"/") }):
			bad = append(bad, path)
		case to == "rulesets" && !slices.Contains(readsRulesets, from):
			bad = append(bad, path)
		case to != "" && to != "rulesets" && slices.Index(layers, to) > slices.Index(layers, from):
			bad = append(bad, path)
		case (from == "engine" || from == "rules") && slices.Contains(impure, path):
			bad = append(bad, path)
		}
	}
	return bad
}

func TestImportsPointDown(t *testing.T) {
	seen := map[string]bool{}
	for _, p := range listPackages(t) {
		layer := layerOf(p.ImportPath)
		seen[layer] = true
		assert.True(t, layer == "rulesets" || slices.Contains(layers, layer), "%s is in no layer", p.ImportPath)
		assert.Empty(t, badArrows(p), "%s must not import these", p.ImportPath)
	}
	for _, layer := range append(layers, "rulesets") {
		assert.True(t, seen[layer], "go list did not show %s", layer)
	}
}

func TestArrowsThatPointUpAreFound(t *testing.T) {
	for _, c := range []struct {
		from, to string
		fine     bool
	}{
		{"coilside/rules", "coilside/engine/circuit", false},
		{"coilside/engine/rank", "coilside/session", false},
		{"coilside/engine/rank", "coilside/engine/circuit", true},
		{"coilside/engine/rank", "time", false},
		{"coilside/engine", "coilside/rulesets", false},
		{"coilside/session", "coilside/transport", false},
		{"coilside/session", "coilside/rulesets", true},
		{"coilside/session/journal", "coilside/rules", false},
		{"coilside/transport", "coilside/session", true},
		{"coilside/transport/jsonrpc", "coilside/session", false},
		{"coilside/transport/jsonrpc", "coilside/rules", true},
		{"coilside/transport/websocket", "coilside/transport/jsonrpc", false},
		{"coilside/transport", "coilside/cmd/coilside", false},
		{"coilside/cmd/coilside", "coilside/transport", true},
	} {
		assert.Equal(t, c.fine, len(badArrows(listed{c.from, []string{c.to}})) == 0, "%s imports %s", c.from, c.to)
	}
}
