package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"coilside/session"
	"coilside/session/rulewhy"

	"github.com/rs/zerolog"
)

func (c *rulesCommand) whyOptions() {
	c.flags.StringVar(&c.job, "job", "", "`ID` of a job, open or closed, in the data folder")
	c.flags.StringVar(&c.caseID, "case", "", "`FILE/ID` of a case beside the rules, as coilside rules test names it")
}

// why tells why a rule fires, or why it does not, in a job or in a case.
func (c *rulesCommand) why(ctx context.Context, args []string) int {
	if len(args) == 0 || (c.job == "") == (c.caseID == "") {
		return c.fail(exitUsage, "say which rule, and where: coilside rules why --job ID RULE, or --case FILE/ID RULE [DIR...]")
	}
	c.with.folders = append(c.with.folders, args[1:]...)
	tell := c.whyInCase
	if c.job != "" {
		tell = c.whyInJob
	}
	w, err := tell(ctx, args[0])
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	fmt.Fprintln(c.stdout, w.Text)
	return exitDone
}

func (c *rulesCommand) whyInCase(_ context.Context, rule string) (rulewhy.WhyRule, error) {
	book, err := c.with.loadBook()
	if err != nil {
		return rulewhy.WhyRule{}, err
	}
	cases, err := c.with.readCases()
	if err != nil {
		return rulewhy.WhyRule{}, err
	}
	return session.WhyInCase(book, cases, c.caseID, rule)
}

// whyInJob asks the service that runs on the data folder, or else reads the folder.
func (c *rulesCommand) whyInJob(ctx context.Context, rule string) (out rulewhy.WhyRule, err error) {
	request := session.WhyRequest{Rule: rule, Job: c.job}
	if service := c.with.running(ctx); service != nil {
		return out, service.call(ctx, "rules.why", request, &out)
	}
	service, done, err := c.readJobs()
	if err != nil {
		return out, err
	}
	defer done()
	return service.RulesWhy(ctx, request)
}

// readJobs opens the jobs for reading only.
func (c *rulesCommand) readJobs() (*session.Service, func(), error) {
	book, err := c.with.loadBook()
	if err != nil {
		return nil, nil, err
	}
	jobs, err := c.with.readJobs()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("there are no jobs (%w); name their folder with --data", err)
	}
	if err != nil {
		return nil, nil, err
	}
	service, err := session.New(session.Options{Book: book, Cases: c.with.readCases, Journal: jobs, Log: zerolog.Nop()})
	if err != nil {
		_ = jobs.Close() // nothing was written
		return nil, nil, err
	}
	return service, func() { _ = jobs.Close() }, nil
}
