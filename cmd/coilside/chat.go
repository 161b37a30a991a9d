package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strconv"
	"strings"

	"coilside/session"

	"github.com/rs/zerolog"
)

// assistant is the part of a session that a conversation needs: the service in
// this program, or one that runs on the same data folder.
type assistant interface {
	Open(context.Context, session.OpenRequest) (session.Opened, error)
	Tell(context.Context, session.TellRequest) (session.Reply, error)
	Show(context.Context, session.JobRequest) (session.JobView, error)
	List(context.Context, session.JobsRequest) (session.JobList, error)
	Picture(context.Context, session.PictureRequest) (session.Picture, error)
}

// conversation is a chat in a terminal or over a pipe.
type conversation struct {
	with  assistant
	start func() (*session.Interview, error) // asks what a job needs
	lines lines
	out   io.Writer
	meta  io.Writer // about the conversation, not of it
	seed  *uint64   // fixes the draws; nil = as for any job
	plain bool      // no prompt, no echo, no drawing and no colour: for programs and screen readers
	echo  bool      // input is no terminal: show what was read
	paint bool      // the output is a terminal that wants colour
	edit  *editor   // the terminal, where there is one
	drawn bool      // the socket was drawn once, unasked
}

// chat is the assistant in a terminal.
func chat(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	var with setup
	flags := flag.NewFlagSet("chat", flag.ContinueOnError)
	job := flags.String("job", "", "`ID` of a job to go on with, or last for the newest that is open")
	plain := flags.Bool("plain", false, "print replies only: no prompts, no colour, no drawing, for pipes and screen readers")
	var seed *uint64
	flags.Func("seed", "`number` that fixes the draws, so that a conversation can be had again word for word", func(text string) error {
		n, err := strconv.ParseUint(text, 10, 64)
		seed = &n
		return err
	})
	with.addFlags(flags)
	if code, done := parse(flags, args, stderr); done {
		return code
	}
	a, err := with.assistant(ctx)
	if err == nil {
		var start func() (*session.Interview, error)
		if start, err = with.interviews(a); err == nil {
			c := &conversation{with: a, start: start, out: stdout, meta: stderr, seed: seed, plain: *plain, echo: !*plain && !isTerminal(stdin), paint: !*plain && wantsColour(stdout)}
			c.listen(stdin, stdout, with.historyFile())
			err = errors.Join(c.run(ctx, *job), c.lines.close())
		}
	}
	err = errors.Join(err, with.closeJobs())
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, context.Canceled) {
		fmt.Fprintf(stderr, "coilside chat: %v\n", err)
		return exitWrong
	}
	return exitDone
}

// assistant is the service that runs on the data folder, or else one in this program.
func (s *setup) assistant(ctx context.Context) (assistant, error) {
	if remote := s.running(ctx); remote != nil {
		return remote, nil
	}
	return s.openService(zerolog.Nop())
}

// interviews are those of a service in this program, or else held on the rules as read here.
func (s *setup) interviews(with assistant) (func() (*session.Interview, error), error) {
	if own, ok := with.(*session.Service); ok {
		return own.NewInterview, nil
	}
	book, err := s.loadBook()
	return func() (*session.Interview, error) { return session.NewInterview(book) }, err
}

// listen picks where lines come from: a terminal on both sides is edited in, unless plain
// was asked for.
func (c *conversation) listen(stdin io.Reader, stdout io.Writer, history string) {
	if !c.plain && isTerminal(stdin) && isTerminal(stdout) {
		if c.edit = newEditor(history); c.edit != nil {
			c.lines = c.edit
			return
		}
	}
	c.lines = newLineReader(stdin)
}

// run opens or resumes a job and talks about it until the input ends or the job
// is closed.
func (c *conversation) run(ctx context.Context, job string) error {
	if job == "" && c.edit != nil {
		job = c.pickJob(ctx)
	}
	if job == "last" {
		var err error
		if job, err = c.lastOpen(ctx); err != nil {
			return err
		}
	}
	if job != "" {
		v, err := c.with.Show(ctx, session.JobRequest{Job: job})
		if err != nil {
			return err
		}
		c.say("Job " + v.Job + ": " + v.Label)
		c.say(v.Reply.Text)
		if v.State == "closed" {
			return nil
		}
		c.offer(v.Reply)
		return c.talk(ctx, v.Job)
	}
	c.greet(ctx)
	opened, err := c.open(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.meta, "Job %s. Say help for what you can say. Ctrl-D leaves; the job is kept.\n", opened.Job)
	c.say(opened.Reply.Text)
	c.offer(opened.Reply)
	return c.talk(ctx, opened.Job)
}

func (c *conversation) greet(ctx context.Context) {
	if c.plain || c.edit != nil { // a terminal was asked already
		return
	}
	fmt.Fprintln(c.meta, "No fault to find? Say: which terminal is which · test a relay · choose a relay · wire 15 amps over 6 metres.")
	list, err := c.with.List(ctx, session.JobsRequest{State: "open", Limit: 3})
	if err != nil || len(list.Jobs) == 0 {
		return
	}
	fmt.Fprintln(c.meta, "Jobs still open; go on with one by --job ID:")
	for _, j := range list.Jobs {
		fmt.Fprintln(c.meta, strings.TrimRight(fmt.Sprintf("  %s  %s  %s", j.Job, strings.ReplaceAll(j.Complaint+j.Purpose, "_", " "), j.Label), " "))
	}
}

// open asks what a job needs and opens it. What the service refuses is said and
// asked again from the start.
func (c *conversation) open(ctx context.Context) (session.Opened, error) {
	for {
		interview, err := c.start()
		if err != nil {
			return session.Opened{}, err
		}
		for q := interview.Question(); q != nil; q = interview.Question() {
			c.say(q.Text + choicesWords(q.Choices, interview.MayLeaveOpen()))
			line, err := c.hear(ctx)
			if err != nil {
				return session.Opened{}, err
			}
			if said := interview.Answer(line); said != "" {
				c.say(said)
			}
		}
		request := interview.Request()
		request.Seed = c.seed
		opened, err := c.with.Open(ctx, request)
		if err == nil {
			if taken := interview.Taken(); len(taken) > 0 {
				c.say("Taken: " + strings.Join(taken, "; ") + ".")
			}
			if said := interview.Said(); said != "" {
				opened.Reply, err = c.with.Tell(ctx, session.TellRequest{Write: session.Write{Job: opened.Job}, Text: said})
			}
			return opened, err
		}
		if e, ok := errors.AsType[*session.Error](err); !ok || e.Kind == session.Unsafe || e.Kind == session.Internal {
			return session.Opened{}, err
		}
		c.say(err.Error())
	}
}

// choicesWords lists the answers that will be taken.
func choicesWords(of []string, orNone bool) string {
	if len(of) == 0 {
		return ""
	}
	words := "\n  " + strings.Join(of, " · ")
	if orNone {
		words += " · don't know"
	}
	return words
}

// talk passes lines to the assistant and prints its replies.
func (c *conversation) talk(ctx context.Context, job string) error {
	for {
		line, err := c.hear(ctx)
		if err != nil {
			return err
		}
		if strings.TrimSpace(line) == "" {
			continue
		}
		if word := strings.ToLower(strings.TrimSpace(line)); word == "quit" || word == "exit" {
			return nil
		}
		if drawing(line) {
			c.draw(ctx, job)
			continue
		}
		reply, err := c.with.Tell(ctx, session.TellRequest{Write: session.Write{Job: job}, Text: line})
		if e, refused := errors.AsType[*session.Error](err); refused && e.Kind != session.Internal && e.Kind != session.NotFound {
			c.say(e.Message)
			continue
		}
		if err != nil {
			return err
		}
		c.say(reply.Text)
		c.offer(reply)
		c.drawOnce(ctx, job, reply)
		if reply.Next == nil && reply.Question == nil && reply.Conclusion == nil && closed(reply) {
			return nil
		}
	}
}

// closed reports whether the reply is the last of its job.
func closed(r session.Reply) bool {
	for _, u := range r.Understood {
		if strings.HasPrefix(u.Words, "the job is closed") {
			return true
		}
	}
	return false
}

func (c *conversation) say(text string) {
	text = strings.TrimRight(text, "\n")
	if c.paint {
		text = painted(text)
	}
	fmt.Fprintln(c.out, text)
	if !c.plain {
		fmt.Fprintln(c.out)
	}
}

// hear reads one line; io.EOF when there are no more.
func (c *conversation) hear(ctx context.Context) (string, error) {
	if !c.plain && c.edit == nil {
		fmt.Fprint(c.out, "> ")
	}
	line, err := c.lines.next(ctx, "> ")
	switch {
	case err != nil && !c.plain:
		fmt.Fprintln(c.out)
	case c.echo:
		fmt.Fprintln(c.out, cut(line, 200))
	}
	return line, err
}

func cut(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "…"
	}
	return text
}

// mostLine bounds one line of input, in bytes; what is beyond it is dropped, and
// what is left is still too long for the assistant, which says so.
const mostLine = 1 << 16

// lineReader reads lines so that waiting for one can be given up.
type lineReader struct{ lines chan string }

func newLineReader(r io.Reader) *lineReader {
	l := &lineReader{lines: make(chan string)}
	go func() {
		defer close(l.lines)
		in := bufio.NewReader(r)
		for {
			line, err := readLine(in)
			if err != nil && line == "" {
				return
			}
			l.lines <- line
		}
	}()
	return l
}

func readLine(in *bufio.Reader) (string, error) {
	var b strings.Builder
	for {
		part, more, err := in.ReadLine()
		if b.Len() < mostLine {
			b.Write(part)
		}
		if err != nil || !more {
			return b.String(), err
		}
	}
}

func (l *lineReader) close() error { return nil }

func (l *lineReader) next(ctx context.Context, _ string) (string, error) {
	select {
	case line, ok := <-l.lines:
		if !ok {
			return "", io.EOF
		}
		return line, nil
	case <-ctx.Done():
		return "", ctx.Err()
	}
}
