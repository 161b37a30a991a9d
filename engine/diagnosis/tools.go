package diagnosis

// ToolFact starts the name of the fact that says whether a tool is at hand.
const ToolFact = "has_"

// lacks reports whether a tool is known not to be at hand: tests that need it are
// not offered. One that nobody spoke of counts as at hand.
func (c *Case) lacks(tool string) bool {
	v, known := c.facts[ToolFact+tool]
	return known && !v.Bool
}
