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

// A case passes, or fails by name with what came out otherwise.
func TestRulesTestRunsCases(t *testing.T) {
	shop := t.TempDir()
	write := func(name, text string) {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(shop, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(shop, name), []byte(text), 0o644))
	}
	write("shop.yaml", `rules:
  - {id: our_fuses, when: complaint == "dead", then: [{do: weigh, suspects: [feed_fuse.open], by: 3}], because: Ours blow., source: practice}
`)
	write("cases/fuses.yaml", `cases:
  - {id: dead, facts: {complaint: dead}, expect: {weights: {feed_fuse.open: 3}}}
  - {id: not_weak, facts: {complaint: weak}, quiet: [our_fuses]}
`)
	test := func(args ...string) (int, string) {
		var out, errs bytes.Buffer
		code := run(t.Context(), append([]string{"rules", "test"}, args...), strings.NewReader(""), &out, &errs)
		return code, out.String() + errs.String()
	}
	code, out := test(shop)
	require.Equal(t, 0, code, out)
	require.Contains(t, out, "PASS  "+shop+": fuses/dead\n")
	require.Contains(t, out, "2 passed, 0 failed")
	require.Contains(t, out, "covered: 1 of 1 rules (100 %)\ncovered: 0 of 0 suspects")

	write("cases/wrong.yaml", `cases:
  - {id: dead, facts: {complaint: dead}, expect: {weights: {feed_fuse.open: 4}}}
  - {id: no_rule, facts: {complaint: dead}, quiet: [our_fuzes]}
  - {id: no_fact, facts: {complain: dead}}
`)
	code, out = test("--rules", shop)
	require.Equal(t, 1, code, out)
	require.Contains(t, out, "FAIL  "+shop+": wrong/dead\n      weights: feed_fuse.open should be 4, but is 3\n      at "+shop+"/cases/wrong.yaml:2\n")
	require.Contains(t, out, `did you mean "our_fuses"?`)
	require.Contains(t, out, `no fact "complain"`)
	require.Contains(t, out, "2 passed, 1 failed, 2 could not be run")

	write("cases/wrong.yaml", "cases:\n  - {id: dead, expct: {}}\n")
	code, out = test(shop)
	require.Equal(t, 1, code, out)
	require.Contains(t, out, "cases/wrong.yaml")
}

// A table that a calculation cannot use is found by the check, with its place.
func TestRulesCheckFindsTablesThatCannotBeUsed(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "a.yaml"), []byte("tables: [{id: ampacity, rows: [{awg: twelve, c80: 30, source: our shop}]}]\n"), 0o600))
	var out, errs bytes.Buffer
	code := run(t.Context(), []string{"rules", "check", dir}, strings.NewReader(""), &out, &errs)
	require.Equal(t, 1, code)
	require.Contains(t, errs.String(), "a.yaml:1:")
	require.Contains(t, errs.String(), `"twelve" is no AWG size`)
}
