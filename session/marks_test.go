package session

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The marks are those of ISO 7588 (numbers) and EN 50005, as printed in a parts
// catalogue and the standard; 86 = 1 = A1, 85 = 2 = A2, 30 = 3 = 11, 87a = 4 = 12,
// 87 = 5 = 14.
func TestMarksStandBesideTheRoles(t *testing.T) {
	for _, c := range []struct{ labels, text, want string }{
		{"din", "Read volts at 86.", "Read volts at 86."},
		{"unknown", "Read volts at 86.", "Read volts at 86."},
		{"numbers", "Read volts from socket cavity 86 to battery negative.", "Read volts from socket cavity 86 (marked 1) to battery negative."},
		{"numbers", "Read ohms between blades 85 and 86.", "Read ohms between blades 85 (marked 2) and 86 (marked 1)."},
		{"numbers", "30, 87a, 87", "30 (marked 3), 87a (marked 4), 87 (marked 5)"},
		{"en", "blades 85 and 86, 30–87a and 87", "blades 85 (marked A2) and 86 (marked A1), 30 (marked 11)–87a (marked 12) and 87 (marked 14)"},
		{"numbers", "A 30 A fuse, 30 V, 86 % and 85 ohms", "A 30 A fuse, 30 V, 86 % and 85 ohms"},
		{"numbers", "12.30 and 30.5 and 0,85", "12.30 and 30.5 and 0,85"},
		{"numbers", "terminal_86", "terminal_86"},
		{"numbers", "86 (marked 1)", "86 (marked 1)"},
		{"numbers", "at 30: nothing", "at 30 (marked 3): nothing"},
		{"numbers", "186 or 860 or 86b", "186 or 860 or 86b"},
		{"numbers", "a coil of 85 ohms", "a coil of 85 ohms"},
		{"numbers", "a coil of 85", "a coil of 85"},
		{"numbers", "about 85 is usual, 30 to 87 ohms is not", "about 85 is usual, 30 to 87 ohms is not"},
		{"numbers", "ohms from 85 to 86", "ohms from 85 (marked 2) to 86 (marked 1)"},
		{"numbers", "whether supply reaches 30", "whether supply reaches 30 (marked 3)"},
		{"en", "", ""},
	} {
		require.Equal(t, c.want, withMarks(c.text, c.labels), "%s under %s", c.text, c.labels)
	}
}
