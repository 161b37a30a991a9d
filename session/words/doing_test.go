package words

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// The forms of English verbs, by their common spelling.
func TestFormsOfAVerb(t *testing.T) {
	for verb, forms := range map[string][2]string{
		"clear": {"clears", "clearing"}, "wipe": {"wipes", "wiping"}, "spin": {"spins", "spinning"}, "wash": {"washes", "washing"},
		"warm up": {"warms up", "warming up"}, "get hot": {"gets hot", "getting hot"}, "blow": {"blows", "blowing"}, "lower": {"lowers", "lowering"},
		"dry": {"dries", "drying"}, "spray": {"sprays", "spraying"}, "beep": {"beeps", "beeping"}, "tip": {"tips", "tipping"}, "vibrate": {"vibrates", "vibrating"},
	} {
		require.Equal(t, forms[0], inflect(verb, sForm), verb)
		require.Equal(t, forms[1], inflect(verb, ingForm), verb)
	}
}

// A verb of a load brings its sayings with it, and takes no other's place.
func TestAVerbOfALoadBringsItsSayings(t *testing.T) {
	r, err := New([]*rules.Synonym{{Means: loadVerb, Said: []string{"waft"}}, {Means: "load", Said: []string{"fan"}}, {Means: "runs", Said: []string{"keeps wafting"}}})
	require.NoError(t, err)
	for said, want := range map[string]string{
		"the fan doesn't waft": "complaint dead", "it won't waft": "complaint dead", "fan stopped wafting": "complaint dead",
		"fan barely wafts": "complaint weak", "it doesn't waft properly": "complaint weak", "fan won't stop wafting": "complaint stays_on",
	} {
		require.Equal(t, want, summary(r.Read(said, Context{Opening: true})), said)
	}
	require.Equal(t, "runs", r.meaningOf("keeps wafting"))
}
