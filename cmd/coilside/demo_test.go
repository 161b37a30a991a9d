package main

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func demoed(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(t.Context(), append([]string{"demo"}, args...), strings.NewReader(""), &out, &errs)
	require.Zero(t, code, "%v: %s\n%s", args, errs.String(), out.String())
	require.Empty(t, errs.String())
	return out.String()
}

// Every scenario is played to its end and says that it is invented; a second time it
// comes out the same, word for word.
func TestDemo(t *testing.T) {
	all, err := scenarios()
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(all), 2)
	for i, s := range all {
		out := demoed(t, "--scenario", s.ID, "--seed", "3")
		require.Contains(t, out, "invented")
		require.Contains(t, out, "> done\n")
		require.Regexp(t, regexp.MustCompile(`closed: fixed`), out)
		require.Contains(t, out, "The fault that was hidden: ")
		if i == 0 {
			require.Equal(t, out, demoed(t, "--scenario", s.ID, "--seed", "3"))
		}
	}
}

// The hidden fault is among what the assistant names, and mended, over many
// vehicles.
func TestDemoFindsWhatIsHidden(t *testing.T) {
	found, played := 0, 0
	for seed := 1; seed <= 6; seed++ {
		out := demoed(t, "--seed", fmt.Sprint(seed))
		_, hidden, ok := strings.Cut(out, "The fault that was hidden: ")
		require.True(t, ok)
		played++
		name := strings.TrimSuffix(strings.TrimSpace(hidden), ".")
		for line := range strings.SplitSeq(out, "\n") {
			if (strings.HasPrefix(line, "Found") || strings.HasPrefix(line, "No test at hand")) && strings.Contains(line, name) {
				found++
				break
			}
		}
	}
	t.Logf("%d of %d named", found, played)
	require.GreaterOrEqual(t, found, played-1)
}

func TestDemoUsage(t *testing.T) {
	var out, errs bytes.Buffer
	require.Equal(t, 2, run(t.Context(), []string{"demo", "--scenario", "van_fann"}, strings.NewReader(""), &out, &errs))
	require.Contains(t, errs.String(), `did you mean "van_fan"?`)
	require.Contains(t, demoed(t, "--list"), "plough_lights")
}

func TestNumbersInWords(t *testing.T) {
	for v, want := range map[float64]string{12.4: "twelve point four", 0: "zero", -0.31: "minus zero point three one", 84: "eighty four", 20: "twenty", 100.5: "100.5", -0.0001: "zero"} {
		require.Equal(t, want, inWords(v))
	}
}
