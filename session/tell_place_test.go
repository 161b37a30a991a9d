package session

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// moduleJob is an invented circuit whose relay a module commands.
func moduleJob() OpenRequest {
	o := plough()
	o.Circuit.Driver = "module"
	return o
}

// The module's data, told before it is asked for, answers the question about it and bears on suspects; told
// again, the later answer is taken.
func TestToldModuleDataAnswersItsQuestion(t *testing.T) {
	for _, line := range []string{"scan tool says request refused, low voltage", "module data says refused", "the module refuses, low volts"} {
		c, first := talking(t, moduleJob())
		require.NotEqual(t, "ask_module_data", first.Next.ID)
		r := c.say(line)
		require.Len(t, r.Understood, 1, r.Text)
		require.Equal(t, "ask_module_data", r.Understood[0].Test, line)
		require.Equal(t, "refused", r.Understood[0].Answer.Choice, line)
		require.Equal(t, "control.not_commanded", r.Suspects[0].Suspect, line)
		require.NotContains(t, r.Text, "understand", line)
		r = c.say("module data says refused")
		require.Empty(t, r.Entries, "said again, it tells no more")
		r = c.say("scan tool shows output driven")
		require.Equal(t, "driven", r.Understood[0].Answer.Choice)
		require.Equal(t, "ask_module_data", r.Understood[0].Test)
	}
	c, _ := talking(t, plough())
	r := c.say("module data says refused")
	for _, u := range r.Understood {
		require.NotEqual(t, "ask_module_data", u.Test, "a switch has no data")
	}
}

// A place that cannot be got at is no reason to skip a test elsewhere: it is asked which tests are skipped.
func TestASkipThatNamesAnotherPlace(t *testing.T) {
	c, _ := talking(t, plough())
	r := c.say("can't get at the earth without dropping the tank")
	require.Empty(t, r.Entries, r.Text)
	require.NotNil(t, r.Question)
	require.Equal(t, []string{"the test asked for", "the tests at the load's ground"}, r.Question.Choices)
	r = c.say("the tests at the load's ground")
	require.NotEmpty(t, r.Understood, r.Text)
	for _, e := range c.log()[1:] {
		require.Equal(t, kindSkipped, e.Kind)
		test, ok := c.s.inForce().book.Test(e.Skipped.Test)
		require.True(t, ok)
		require.True(t, isAt(test.Measure, []string{"load_ground", "load_ground_point", "load.out"}), e.Skipped.Test)
	}
}

// A number that a question is about is not filed at the next test when it is said again.
func TestANumberUnderQuestionStaysWithIt(t *testing.T) {
	c, _ := talking(t, plough())
	c.say("24.1 at the lamp plug, running")
	r := c.say("that was 24.1 volts yeah")
	require.Empty(t, r.Entries, r.Text)
	require.NotNil(t, r.Question)
	r = c.say("3.8 on the other side of the plug, running")
	require.Empty(t, r.Entries, r.Text)
	r = c.say("supply side")
	require.Len(t, r.Entries, 2, r.Text)
	require.Equal(t, "load.in", r.Understood[0].Measure.Red)
	require.Equal(t, "load.out", r.Understood[1].Measure.Red)
	require.Equal(t, 3.8, *r.Understood[1].Answer.Number)
}
