package asking

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func v(f float64) *float64 { return &f }

func TestQuestionsAreTold(t *testing.T) {
	for text, want := range map[string]Question{
		"is 107 ohms all right?":                       {Kind: Fits, Reading: "107 ohms"},
		"Is 0.3 V across the contact too much?":        {Kind: Fits, Reading: "0.3 v across the contact"},
		"is that bad":                                  {Kind: Fits},
		"Is that ok?":                                  {Kind: Fits},
		"is it a bit low":                              {Kind: Fits},
		"was that reading all right?":                  {Kind: Fits},
		"does that look right to you":                  {Kind: Fits},
		"is that good or bad":                          {Kind: Fits},
		"should it be that low?":                       {Kind: Fits},
		"107 ohms, is that ok?":                        {Kind: Fits, Reading: "107 ohms"},
		"107 ohms between 85 and 86 ok?":               {Kind: Fits, Reading: "107 ohms between 85 and 86"},
		"what should 87 read now?":                     {Kind: Expect, Place: "87"},
		"what should I see at 87, relay out?":          {Kind: Expect, Place: "87, relay out"},
		"What’s normal at 86":                          {Kind: Expect, Place: "86"},
		"how many volts should there be at 30?":        {Kind: Expect, Place: "30"},
		"what should it be":                            {Kind: Expect},
		"what am I looking for?":                       {Kind: Expect},
		"what reading should I get?":                   {Kind: Expect},
		"what wire for 15 amps over 6 metres?":         {Kind: Wire, Amps: v(15), Metres: v(6)},
		"which cable for twenty-five amps over ten m?": {Kind: Wire, Amps: v(25), Metres: v(10)},
		"what gauge for 15A, 20 ft, 24 V":              {Kind: Wire, Amps: v(15), Metres: v(20 * 0.3048), Volts: v(24)},
		"what wire do I need?":                         {Kind: Wire},
		"what does 87a do?":                            {Kind: Terminal, Place: "87a"},
		"what is A2 for":                               {Kind: Terminal, Place: "a2"},
		"what's 87a?":                                  {Kind: Terminal, Place: "87a"},
	} {
		q, ok := Parse(text)
		assert.True(t, ok, text)
		assert.Equal(t, want, q, text)
	}
}

// What was found, said or asked of the job itself is no question in passing: it must reach the job.
func TestFindingsAreNoQuestions(t *testing.T) {
	for _, text := range []string{"12.4 at 86, relay out", "107 ohms", "85 to 86 is eighty-four", "107, bit high maybe", "why", "why the coil?", "what else?",
		"where are we?", "it runs", "no click", "12.4 at 30 ok", "0.3 volts across it, that's high", "good power both sides of the fuse",
		"I got 107 ohms, is that ok?", "done", "skip", "is it the relay?", "what now?", "which wire is that?", "replaced the fuse, works now", ""} {
		q, ok := Parse(text)
		assert.False(t, ok, "%s: %+v", text, q)
	}
}
