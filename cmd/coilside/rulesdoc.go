package main

import (
	"bytes"
	"context"
	"fmt"
	"os"

	"coilside/rules"
	"coilside/session"
	"coilside/session/handbook"
)

func (c *rulesCommand) docOptions() {
	c.flags.StringVar(&c.out, "out", "", "`file` to write the page to (default: print it)")
}

// doc writes the rulebook as one page to be read in a browser or printed.
func (c *rulesCommand) doc(ctx context.Context, _ []string) int {
	pictures, err := typicalCircuits(ctx, c.book)
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	var page bytes.Buffer
	if err := handbook.Write(&page, c.book, pictures); err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	if c.out == "" {
		if _, err := c.stdout.Write(page.Bytes()); err != nil {
			return c.fail(exitWrong, "%v", err)
		}
		return exitDone
	}
	if err := os.WriteFile(c.out, page.Bytes(), 0o644); err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	fmt.Fprintf(c.stdout, "%s: %d KB; open it in a browser\n", c.out, page.Len()/1024)
	return exitDone
}

// wired are the wirings that the page shows, as jobs would be opened with them.
var wired = []struct {
	title   string
	circuit session.CircuitSpec
}{
	{"The usual: the control grounds the coil", session.CircuitSpec{Contact: "make", ControlSide: "ground", PowerEnters: "30", LoadSide: "ground", CoilPositive: "86", CoilSupply: "ignition", FeedFuseAt: "before_relay"}},
	{"The control feeds the coil", session.CircuitSpec{Contact: "make", ControlSide: "positive", PowerEnters: "30", LoadSide: "ground", CoilPositive: "86", CoilSupply: "ignition", FeedFuseAt: "before_relay"}},
	{"A changeover relay that runs its load at rest, on 87a", session.CircuitSpec{Contact: "changeover", ControlSide: "ground", PowerEnters: "30", LoadOn: "87a", LoadSide: "ground", CoilPositive: "86", CoilSupply: "ignition", FeedFuseAt: "before_relay"}},
	{"The relay switches the load's ground", session.CircuitSpec{Contact: "make", ControlSide: "ground", PowerEnters: "30", LoadSide: "supply", CoilPositive: "86", CoilSupply: "ignition", FeedFuseAt: "before_relay"}},
}

// typicalCircuits draws the circuit in its commonest wirings; none for a book without one,
// and without those that a shop's circuit cannot have.
func typicalCircuits(ctx context.Context, book *rules.Book) ([]handbook.Picture, error) {
	if len(book.Circuits) == 0 || len(book.Complaints) == 0 {
		return nil, nil
	}
	var out []handbook.Picture
	for i, w := range wired {
		d, err := session.DrawWiring(ctx, book, w.circuit, fmt.Sprintf("wiring-%d", i+1), w.title)
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case err != nil:
			continue // a shop's own circuit cannot be wired so
		}
		out = append(out, handbook.Picture{Title: w.title, SVG: d.SVG})
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("the circuit of these rules could not be drawn in any of its usual wirings")
	}
	return out, nil
}
