package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file tells that the reading kept last may be none, for what became of the meter or its
// leads, and asks whether to take it back.

var (
	instruments = set(`lead leads probe probes clip clips croc crocodile meter multimeter tester`)
	amiss       = set(`fell fallen fall off loose slipped slid disconnected wrong dead flat missed touching slack unclipped`)
)

// astray asks whether the last reading should be taken back: "hold on, my lead fell off".
func (c *call) astray(items []item) bool {
	last := c.lastReading()
	if last < 0 || c.expects(rules.Look) || slices.ContainsFunc(items, func(it item) bool { return it.kind == kNum || it.kind == kPlace || concepts[it.concept] == gPlace }) {
		return false
	}
	said := strings.FieldsFunc(strings.ToLower(c.text), func(r rune) bool { return strings.ContainsRune(" ,.;:!?'", r) })
	if !anyWord(said, instruments) || !anyWord(said, amiss) {
		return false
	}
	c.ask("Should the last reading be taken back: "+c.say(c.ctx.Last[last])+"?", []Choice{{Words: "yes", Commands: []Command{{Kind: CmdUndo}}}})
	return true
}
