package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A rule file that fails its check ends with 1, a command line that cannot be
// meant with 2.
func TestRulesExitCodes(t *testing.T) {
	broken := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(broken, "shop.yaml"), []byte("rulez: []\n"), 0o600))
	for _, c := range []struct {
		args []string
		code int
	}{
		{[]string{"check"}, 0}, {[]string{"list"}, 0}, {[]string{"--help"}, 0}, {[]string{"check", "--help"}, 0},
		{[]string{"check", broken}, 1}, {[]string{"list", "--rules", broken}, 1}, {[]string{"check", t.TempDir()}, 1},
		{nil, 2}, {[]string{"cehck"}, 2}, {[]string{"check", "--bogus"}, 2},
	} {
		var out, errs bytes.Buffer
		code := run(t.Context(), append([]string{"rules"}, c.args...), strings.NewReader(""), &out, &errs)
		require.Equal(t, c.code, code, "%v: %s", c.args, errs.String())
	}
}
