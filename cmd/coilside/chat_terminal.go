package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"coilside/session"
)

// shownJobs bounds the open jobs that are offered to go on with.
const shownJobs = 9

// pickJob offers the open jobs at a terminal; "" is a new one.
func (c *conversation) pickJob(ctx context.Context) string {
	list, err := c.with.List(ctx, session.JobsRequest{State: "open", Limit: shownJobs})
	if err != nil || len(list.Jobs) == 0 {
		return ""
	}
	fmt.Fprintln(c.out, "Jobs still open:")
	for i, j := range list.Jobs {
		fmt.Fprintln(c.out, strings.TrimRight(fmt.Sprintf("  %d  %s  %s  %s", i+1, j.Job, strings.ReplaceAll(j.Complaint, "_", " "), j.Label), " "))
	}
	for {
		line, err := c.lines.next(ctx, "Number to go on with, or Enter for a new job: ")
		line = strings.TrimSpace(line)
		if err != nil || line == "" {
			return ""
		}
		if n, err := strconv.Atoi(line); err == nil && n >= 1 && n <= len(list.Jobs) {
			return list.Jobs[n-1].Job
		}
		if i := slices.IndexFunc(list.Jobs, func(j session.JobSummary) bool { return j.Job == line }); i >= 0 {
			return line
		}
		fmt.Fprintf(c.out, "%q is none of these: say 1 to %d, or press Enter.\n", cut(line, 40), len(list.Jobs))
	}
}

// lastOpen is the newest open job.
func (c *conversation) lastOpen(ctx context.Context) (string, error) {
	list, err := c.with.List(ctx, session.JobsRequest{State: "open", Limit: 1})
	if err != nil {
		return "", err
	}
	if len(list.Jobs) == 0 {
		return "", errors.New("no job is open; start one without --job")
	}
	return list.Jobs[0].Job, nil
}

// offer has Tab complete what may be answered now.
func (c *conversation) offer(r session.Reply) {
	if c.edit == nil {
		return
	}
	c.edit.offers = []string{"unsure", "skip", "why", "what else", "where are we", "undo", "help", "draw the socket", "quit"}
	if r.Question != nil {
		c.edit.offers = append(slices.Clone(r.Question.Choices), c.edit.offers...)
	} else if r.Next != nil {
		for _, choice := range slices.Backward(r.Next.Answers.Of) {
			c.edit.offers = slices.Insert(c.edit.offers, 0, strings.ReplaceAll(choice, "_", " "))
		}
	}
}

// drawing reports a wish to see the socket.
func drawing(line string) bool {
	switch strings.Trim(strings.ToLower(line), " .!?") {
	case "draw", "draw it", "draw the socket", "draw socket", "show the socket", "show me the socket", "picture", "socket":
		return true
	}
	return false
}

// draw shows the face of the socket in characters, or in words to a screen reader.
func (c *conversation) draw(ctx context.Context, job string) {
	p, err := c.with.Picture(ctx, session.PictureRequest{Job: job, Kind: "socket"})
	switch {
	case err != nil:
		c.say(err.Error())
	case c.plain || p.Text == "":
		c.say(p.Description)
	default:
		c.say(p.Text)
	}
}

// drawOnce shows the socket the first time a test goes there, at a terminal.
func (c *conversation) drawOnce(ctx context.Context, job string, r session.Reply) {
	if c.edit == nil || c.drawn || r.Next == nil || r.Question != nil || !strings.HasPrefix(r.Next.Measure.Red+r.Next.Measure.From, "socket.") {
		return
	}
	c.drawn = true
	c.draw(ctx, job)
}
