package rules_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

func TestFormat(t *testing.T) {
	messy := "\uFEFF# the shop\r\nrules:\r\n- id:   slip   \r\n  # why\r\n  because: |\r\n    Two\r\n      lines.\r\n\r\n\r\n  when: sealed   # I mean it: asked for\r\n  then:\r\n  -   {do: advise,\r\n       say: Look.}\r\n  # last\r\n-   id: next\r\n    source: practice\r\n    when: wet\r\n    then: [{do: advise, say: Dry it.}]\r\n    because: Wet.\r\n"
	want := `# the shop
rules:
  - id:   slip
    when: sealed   # I mean it: asked for
    then:
      - {do: advise,
           say: Look.}
    # why
    because: |
      Two
        lines.

  # last
  - id: next
    when: wet
    then: [{do: advise, say: Dry it.}]
    because: Wet.
    source: practice
`
	got, err := rules.Format("shop.yaml", []byte(messy))
	require.NoError(t, err)
	assert.Equal(t, want, string(got))
}

// Every rule file of the tree keeps its meaning and its comments (Format itself refuses else), and
// is done after one pass. The shipped files are laid out so already.
func TestFormatSettlesAtOnce(t *testing.T) {
	files := 0
	for _, pattern := range []string{"../rulesets/relay/*.yaml", "../rulesets/relay/*/*.yaml", "../testdata/published/*.yaml", "../testdata/findings/base/*.yaml"} {
		names, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, name := range names {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			once, err := rules.Format(name, data)
			require.NoError(t, err)
			twice, err := rules.Format(name, once)
			require.NoError(t, err)
			assert.Equal(t, string(once), string(twice), name)
			if filepath.Dir(name) == "../rulesets/relay" {
				assert.Equal(t, string(data), string(once), name)
			}
			files++
		}
	}
	require.Greater(t, files, 20)
}
