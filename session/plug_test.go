package session

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestALoadStaysUnpluggedUntilItIsPluggedIn: what is read meanwhile is kept as read so, also after
// something else of the setup was said, and no longer once the load is plugged in again.
func TestALoadStaysUnpluggedUntilItIsPluggedIn(t *testing.T) {
	c, _ := talking(t, van())
	unplugged := func(said string) []string {
		t.Helper()
		c.say(said)
		e := c.log()[len(c.log())-1]
		require.NotNil(t, e.Reading, said)
		return e.Reading.Setup.Unplugged
	}
	c.say("unplugged the fan")
	require.Equal(t, []string{"load"}, unplugged("relay in, switched on, 87 is 12.1"))
	require.Contains(t, c.say("key on").Text, "load unplugged")
	require.Equal(t, []string{"load"}, unplugged("relay in, switched on, 30 is 12.4"))
	r := c.say("plugged the fan back in")
	require.Contains(t, r.Text, "load plugged in")
	require.NotContains(t, r.Text, "did not understand")
	require.Empty(t, unplugged("relay in, switched on, 87 is 11.8"))
}

// TestIDoNotKnowIsOfWhatWasAsked: "I don't know" after a question about a reading drops that
// reading; the proposed test stays open. Said again, it is of the test.
func TestIDoNotKnowIsOfWhatWasAsked(t *testing.T) {
	c, first := talking(t, plough())
	require.NotNil(t, c.say("77 ohms").Question)
	before := len(c.log())
	r := c.say("I don't know")
	require.Nil(t, r.Question, r.Text)
	require.Len(t, c.log(), before, "nothing is stored")
	require.Contains(t, r.Text, "Not kept: “77 ohms”")
	require.Equal(t, first.Next.ID, r.Next.ID)
	require.Len(t, c.say("I don't know").Entries, 1)
	require.True(t, c.log()[len(c.log())-1].Reading.Answer.Unsure)
}
