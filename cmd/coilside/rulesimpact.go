package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"

	"coilside/session"
	"coilside/session/rulecase"

	"github.com/rs/zerolog"
)

func (c *rulesCommand) impactOptions() {
	c.flags.Var(number{&c.jobs, 1, 1 << 20}, "jobs", "replay this many of the newest closed jobs (`number`; default: all)")
	c.flags.Var(list{&c.before, ""}, "before", "`folder` of rules as they were, laid over the shipped ones, for the cases; may be given again (default: none)")
}

// impact replays closed jobs and the cases on edited rules and lists what changes.
func (c *rulesCommand) impact(ctx context.Context, folders []string) int {
	before := setup{folders: c.before}
	was, err := before.loadBook()
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	var cases []rulecase.Case
	for _, folder := range append(caseFolders(nil), caseFolders(folders)...) {
		if folder.name == "relay" && len(cases) > 0 {
			continue // no folder was named: it is the same one
		}
		more, err := rulecase.Read(folder.fs)
		if err != nil {
			return c.fail(exitWrong, "%s: %v", folder.name, err)
		}
		cases = append(cases, more...)
	}
	service, done, err := c.closedJobs()
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	defer done()
	out, err := service.Try(ctx, session.Trial{Book: c.book, Before: was, Jobs: c.jobs, Cases: cases, Progress: progressOn(c.stderr, time.Now)})
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	fmt.Fprintln(c.stdout, out.Text)
	return exitDone
}

// closedJobs reads the data folder; where there is none, there are no jobs.
func (c *rulesCommand) closedJobs() (*session.Service, func(), error) {
	jobs, err := c.with.readJobs()
	if errors.Is(err, fs.ErrNotExist) {
		folder, err := c.with.folder()
		if err != nil {
			return nil, nil, err
		}
		fmt.Fprintf(c.stderr, "There are no jobs in %s; name the folder with --data.\n", folder)
		service, err := session.New(session.Options{Book: c.book, Log: zerolog.Nop()})
		return service, func() {}, err
	}
	if err != nil {
		return nil, nil, err
	}
	service, err := session.New(session.Options{Book: c.book, Journal: jobs, Log: zerolog.Nop()})
	if err != nil {
		_ = jobs.Close() // nothing was written
		return nil, nil, err
	}
	return service, func() { _ = jobs.Close() }, nil
}

// progressOn tells how far it is once it takes over half a second, and then every two seconds.
func progressOn(w io.Writer, clock func() time.Time) func(what string, done, most int) {
	tell := progressOf(w, clock)
	return func(what string, done, most int) { tell(what+" replayed", done, most) }
}

// progressOf does the same for what is not replayed.
func progressOf(w io.Writer, clock func() time.Time) func(what string, done, most int) {
	next := clock().Add(500 * time.Millisecond)
	return func(what string, done, most int) {
		if now := clock(); now.After(next) && done < most {
			next = now.Add(2 * time.Second)
			fmt.Fprintf(w, "%d of %d %s\n", done, most, what)
		}
	}
}
