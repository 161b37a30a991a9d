package main

import (
	"context"
	"fmt"

	"coilside/session"
)

// check reports what a rulebook that loads says that its author can hardly mean.
func (c *rulesCommand) check(context.Context, []string) int {
	b, w := c.book, c.stdout
	c.overrides()
	options := session.ReviewOptions()
	options.Also = append(options.Also, b.Stale()...)
	review := b.Review(options)
	for _, m := range review.Meant {
		fmt.Fprintf(w, "%s: meant: %s (%s)\n", m.Finding.Pos, m.Reason, m.Finding.Message)
	}
	if len(review.Findings) > 0 {
		fmt.Fprintln(w, review.Findings)
		fmt.Fprintf(w, "%d to look at; where one is right as it stands, write  # I mean it: and why  behind the line\n", len(review.Findings))
		return exitWrong
	}
	fmt.Fprintf(w, "sound: %d facts, %d suspects, %d tests, %d rules (%s)\n", len(b.Facts), len(b.Suspects), len(b.Tests), len(b.Rules), b.Hash[:12])
	return exitDone
}
