package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

// The recipe of DEVELOPERS.md, followed to the letter in an empty folder.
func TestRecipe(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the recipe is followed by a POSIX shell")
	}
	bin := t.TempDir()
	build := exec.CommandContext(t.Context(), "go", "build", "-o", filepath.Join(bin, "coilside"), ".")
	out, err := build.CombinedOutput()
	require.NoError(t, err, "%s", out)
	script := exec.CommandContext(t.Context(), "sh", filepath.Join("..", "..", ".ci", "recipe"))
	script.Env = append(os.Environ(), "PATH="+bin+string(os.PathListSeparator)+os.Getenv("PATH"))
	out, err = script.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), "2 passed, 0 failed, 0 could not be run")
	require.Contains(t, string(out), "sealed_relay_stays_clean does not fire")
}
