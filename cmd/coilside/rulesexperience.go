package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"coilside/session/experience"
)

func (c *rulesCommand) experienceOptions() {
	c.worth = experience.DefaultWorth
	c.flags.Var(number{&c.worth, 1, 10_000}, "worth", "how many jobs the shipped priors weigh as much as (`number`)")
	c.flags.StringVar(&c.export, "export", "", "new `file` to write what was counted to, as a ruleset to be reviewed")
}

// experience shows what the proven repairs of closed jobs add to the shipped priors.
func (c *rulesCommand) experience(ctx context.Context, _ []string) int {
	service, done, err := c.closedJobs()
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	defer done()
	counted, err := service.Experience(ctx, c.book, c.worth, progressOn(c.stderr, time.Now))
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	fmt.Fprint(c.stdout, counted.Text)
	for _, n := range counted.NotCounted {
		fmt.Fprintf(c.stdout, "not counted: job %s: %s\n", n.Job, n.Why)
	}
	if c.export == "" {
		return exitDone
	}
	file, err := os.OpenFile(c.export, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return c.fail(exitWrong, "%s is there already; name a new file", c.export)
	}
	if err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	_, err = file.WriteString(counted.File)
	if err = errors.Join(err, file.Close()); err != nil {
		return c.fail(exitWrong, "%v", err)
	}
	fmt.Fprintf(c.stdout, "written to %s; read it through, then lay its folder over the shipped rules with --rules\n", c.export)
	return exitDone
}
