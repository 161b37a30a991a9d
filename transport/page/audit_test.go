package page_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// axeVersion is pinned so that a new one cannot break the build.
const axeVersion = "axe-core@4.10.3"

var axe struct {
	sync.Once
	script string
	err    error
}

// axeScript is the audit, from the npm registry; empty where there is no npm.
func axeScript(t *testing.T) string {
	t.Helper()
	if os.Getenv("COILSIDE_CI") == "" {
		if _, err := exec.LookPath("npm"); err != nil {
			return ""
		}
	}
	axe.Do(func() {
		var folder string
		if folder, axe.err = os.MkdirTemp("", "axe"); axe.err != nil {
			return
		}
		defer os.RemoveAll(folder)
		install := exec.Command("npm", "install", "--no-audit", "--no-fund", "--ignore-scripts", "--silent", axeVersion)
		install.Dir = folder
		if axe.err = install.Run(); axe.err != nil {
			return
		}
		var script []byte
		script, axe.err = os.ReadFile(filepath.Join(folder, "node_modules", "axe-core", "axe.min.js"))
		axe.script = string(script)
	})
	require.NoError(t, axe.err)
	return axe.script
}

// audit holds the page as it stands to WCAG 2.2, levels A and AA, and to axe-core's
// best practices.
func (w *window) audit(t *testing.T, state string) {
	t.Helper()
	script := axeScript(t)
	if script == "" {
		return
	}
	if !js[bool](t, w, "Boolean(window.axe)") {
		js[bool](t, w, script+"; true")
	}
	found := js[[]string](t, w, `axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r =>
		r.violations.flatMap(v => v.nodes.map(n => v.id + ": " + n.html.slice(0, 160) + " – " + n.failureSummary)))`)
	assert.Empty(t, found, "violations at %s, %s", w.size.name, state)
}
