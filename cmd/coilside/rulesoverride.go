package main

import "fmt"

// overrides lists what the shop's rules do to the shipped ones, and what to write so that
// a change underneath is noticed.
func (c *rulesCommand) overrides() {
	for _, o := range c.book.Overrides() {
		fmt.Fprintf(c.stdout, "%s: %s", o.Pos, o)
		if o.Said == "" {
			fmt.Fprintf(c.stdout, "; write  was: %s  beside it, and the check tells when that changes", o.Was)
		}
		fmt.Fprintln(c.stdout)
	}
}
