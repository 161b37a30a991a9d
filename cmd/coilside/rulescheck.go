package main

import (
	"context"
	"fmt"

	"coilside/engine/diagnosis"
	"coilside/engine/survey"
	"coilside/session"
)

func (c *rulesCommand) checkOptions() {
	c.flags.BoolVar(&c.quick, "quick", false, "leave out what takes the circuit being worked through: suspects no test can tell apart, tests that tell nothing")
}

// check reports what a rulebook that loads says that its author can hardly mean.
func (c *rulesCommand) check(context.Context, []string) int {
	b, w := c.book, c.stdout
	options := session.ReviewOptions()
	if !c.quick {
		k, err := diagnosis.Compile(b)
		if err != nil {
			return c.fail(exitWrong, "%v", err)
		}
		told, err := survey.Of(b, k.Model())
		if err != nil {
			return c.fail(exitWrong, "%v", err)
		}
		options.Also = told.Findings(b)
	}
	options.Also = append(options.Also, b.Stale()...)
	review := b.Review(options)
	c.overrides()
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
