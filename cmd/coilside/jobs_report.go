package main

import (
	"context"
	"fmt"
	"os"

	"coilside/session"

	"github.com/rs/zerolog"
)

// report writes the record of one job, the newest if none is named, to the output or a file.
func (c *jobsCommand) report(ctx context.Context) int {
	d, err := c.read()
	if err != nil {
		return c.fail(err)
	}
	defer d.Close()
	book, err := c.with.loadBook()
	if err != nil {
		return c.fail(err)
	}
	service, err := session.New(session.Options{Book: book, Journal: d, Log: zerolog.Nop(), MostResident: 1})
	if err != nil {
		return c.fail(err)
	}
	job := ""
	if len(c.only) > 0 {
		job = c.only[0]
	} else {
		list, err := service.List(ctx, session.JobsRequest{Limit: 1})
		if err != nil {
			return c.fail(err)
		}
		if len(list.Jobs) == 0 {
			return c.fail(fmt.Errorf("there are no jobs in %s", c.folder))
		}
		job = list.Jobs[0].Job
	}
	r, err := service.Report(ctx, session.ReportRequest{Job: job, Format: c.format, For: c.whom})
	if err != nil {
		return c.fail(err)
	}
	if file := c.flags.Arg(0); file != "" {
		if err := os.WriteFile(file, []byte(r.Text), 0o600); err != nil {
			return c.fail(err)
		}
		return exitDone
	}
	fmt.Fprint(c.stdout, r.Text)
	return exitDone
}
