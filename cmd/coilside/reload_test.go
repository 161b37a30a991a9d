package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/session"
)

// A service takes up its rule folder as it changes on disk: a good file comes into
// force by itself, a bad one leaves the last good rules and is told to whoever asks.
func TestServeFollowsItsRuleFolder(t *testing.T) {
	shop, data := t.TempDir(), t.TempDir()
	file := filepath.Join(shop, "ours.yaml")
	const rule = "rules:\n  - {id: our_fan, when: complaint == \"dead\", then: [{do: advise, say: Ask the driver first.}], because: They know., source: practice}\n"
	require.NoError(t, os.WriteFile(file, []byte(rule), 0o600))
	ctx, stop := context.WithCancel(t.Context())
	var stdout, stderr strings.Builder
	ended := make(chan int)
	go func() {
		ended <- run(ctx, []string{"serve", "--listen", "127.0.0.1:0", "--data", data, "--rules", shop}, strings.NewReader(""), &stdout, &stderr)
	}()
	defer func() { stop(); require.Zero(t, <-ended, "%s", stderr.String()) }()
	with := setup{data: data}
	var service *remote
	require.Eventually(t, func() bool { service = with.running(t.Context()); return service != nil }, 20*time.Second, 50*time.Millisecond)
	list := func() (out session.RulesList) {
		require.NoError(t, service.call(t.Context(), "rules.list", struct{}{}, &out))
		return out
	}
	first := list()
	require.NoError(t, os.WriteFile(file, []byte(rule+strings.ReplaceAll(strings.TrimPrefix(rule, "rules:\n"), "our_fan", "our_van")), 0o600))
	require.Eventually(t, func() bool { return list().Rulesets[0].Rules == first.Rulesets[0].Rules+1 }, 20*time.Second, 50*time.Millisecond)
	good := list()
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(rule, "complaint", "complain", 1)), 0o600))
	require.Eventually(t, func() bool { return list().Refused != nil }, 20*time.Second, 50*time.Millisecond)
	require.Equal(t, good.Rulesets, list().Rulesets)
	require.Contains(t, list().Refused.Problems[0].Hint, "complaint")
}
