package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"coilside/rules"
	"coilside/session"
	"coilside/session/journal"
	"coilside/session/rulekeep"

	"github.com/rs/zerolog"
)

const jobsUsage = `Usage: coilside jobs export|import|verify|report [OPTIONS] [FILE]

  export [--job ID]... [FILE]  write jobs and the rules they were made with to FILE, or to the
                               output; also while the service runs
  import FILE                  take over what an export holds, all of it or nothing; "-" is the
                               input. Stop the service first; on a --store it may run
  verify [--replay]            read everything back and report what is not as it was written
  report [--job ID] [FILE]     write the record of a job, the newest if none is named, as --format
                               markdown or html, for the shop's --for file or the customer

An export is text, one JSON object a line, in this order:

  {"coilside":"jobs","version":1}
  {"rules":"HASH","layer":0,"name":"relay","file":"coil.yaml","content":"BASE64"}
  {"job":"ID","n":1,"sum":"SUM","data":{"entries":[...]}}
  {"end":{"jobs":1,"records":1,"rule_files":1}}

The second is there for every file of the rulebooks that jobs were opened with, by HASH, the
rulebook's content hash. The third is there for every record: what one call wrote; those of a job
stand together. SUM is the SHA-256,
in hex, of the sum before it, a space, n, a space and data as it stands in the line; the sum before
that of record 1 is the job's ID. The last line shows that nothing is missing.
`

// jobsCommand is what the verbs of coilside jobs work with.
type jobsCommand struct {
	with           setup
	folder         string
	flags          *flag.FlagSet
	only           []string
	format, whom   string
	replay         bool
	stdin          io.Reader
	stdout, stderr io.Writer
}

// jobs moves the jobs of a data folder and checks them.
func jobs(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	verbs := map[string]func(*jobsCommand, context.Context) int{"export": (*jobsCommand).export, "import": (*jobsCommand).load, "verify": (*jobsCommand).verify, "report": (*jobsCommand).report}
	if len(args) > 0 && (args[0] == "help" || args[0] == "-h" || args[0] == "--help") {
		fmt.Fprint(stdout, jobsUsage)
		return exitDone
	}
	if len(args) == 0 || verbs[args[0]] == nil {
		if len(args) > 0 {
			fmt.Fprintf(stderr, "coilside jobs: there is no %q here", args[0])
			if near := rules.Nearest(args[0], slices.Sorted(maps.Keys(verbs))); near != "" {
				fmt.Fprintf(stderr, "; did you mean %q?", near)
			}
			fmt.Fprintln(stderr)
		}
		fmt.Fprint(stderr, jobsUsage)
		return exitUsage
	}
	c := &jobsCommand{stdin: stdin, stdout: stdout, stderr: stderr, flags: flag.NewFlagSet("jobs "+args[0], flag.ContinueOnError)}
	if code, done := c.parse(args[0], args[1:]); done {
		return code
	}
	return verbs[args[0]](c, ctx)
}

func (c *jobsCommand) parse(verb string, args []string) (code int, done bool) {
	c.flags.SetOutput(c.stderr)
	c.flags.Usage = func() {
		fmt.Fprint(c.stderr, jobsUsage+"\nOptions:\n")
		c.flags.PrintDefaults()
	}
	c.flags.StringVar(&c.with.data, "data", "", "`folder` that holds the jobs (default: a folder of your own, "+stateFolderWords()+")")
	c.with.addStoreFlag(c.flags)
	switch verb {
	case "export":
		c.flags.Func("job", "`ID` of a job; may be given again (default: all)", func(id string) error { c.only = append(c.only, id); return nil })
	case "report":
		c.flags.Func("job", "`ID` of the job (default: the newest)", func(id string) error { c.only = []string{id}; return nil })
		c.flags.StringVar(&c.format, "format", "markdown", "markdown or html")
		c.flags.StringVar(&c.whom, "for", "file", "whom it is for: file (the shop's) or customer")
		c.flags.Var(list{&c.with.folders, string(os.PathListSeparator)}, "rules", "`folder` of rules, for a job whose own are gone; may be given again")
	case "verify":
		c.flags.BoolVar(&c.replay, "replay", false, "also compute every job anew and compare with what was shown")
	}
	switch err := c.flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		return exitDone, true
	case err != nil:
		return exitUsage, true
	}
	most := map[string]int{"export": 1, "import": 1, "verify": 0, "report": 1}[verb]
	switch {
	case c.flags.NArg() > most:
		fmt.Fprintf(c.stderr, "coilside jobs %s: %q is too much\n", verb, c.flags.Arg(most))
		return exitUsage, true
	case verb == "report" && c.format != "markdown" && c.format != "html":
		fmt.Fprintf(c.stderr, "coilside jobs report: --format takes markdown or html, not %q\n", c.format)
		return exitUsage, true
	case verb == "import" && c.flags.NArg() == 0:
		fmt.Fprintln(c.stderr, `coilside jobs import: say which file, or "-" for the input`)
		return exitUsage, true
	}
	var err error
	if c.folder, err = c.with.folder(); err != nil {
		return c.fail(err), true
	}
	return exitDone, false
}

func (c *jobsCommand) fail(err error) int {
	fmt.Fprintf(c.stderr, "coilside %s: %v\n", c.flags.Name(), err)
	return exitWrong
}

// read opens the jobs for reading only.
func (c *jobsCommand) read() (*journal.Store, error) {
	d, err := c.with.readJobs()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there are no jobs in %s: %w", c.folder, err)
	}
	return d, err
}

func (c *jobsCommand) export(context.Context) int {
	d, err := c.read()
	if err != nil {
		return c.fail(err)
	}
	defer d.Close()
	problems, err := c.exportTo(c.flags.Arg(0), d)
	for _, p := range problems {
		fmt.Fprintf(c.stderr, "coilside jobs export: left out: %v\n", p)
	}
	if err != nil {
		return c.fail(err)
	}
	if len(problems) > 0 {
		return exitWrong
	}
	return exitDone
}

// exportTo writes to a new file that appears under its name when it is whole.
func (c *jobsCommand) exportTo(path string, d *journal.Store) ([]error, error) {
	tell := progressOf(c.stderr, time.Now)
	d.Progress = func(done, most int) { tell("jobs exported", done, most) }
	if path == "" || path == "-" {
		return d.Export(c.stdout, c.only...)
	}
	if _, err := os.Lstat(path); err == nil {
		return nil, fmt.Errorf("%s is there already; name a new file", path)
	}
	out, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*")
	if err != nil {
		return nil, err
	}
	problems, err := d.Export(out, c.only...)
	if err == nil {
		err = out.Sync()
	}
	if err = errors.Join(err, out.Close()); err == nil {
		err = os.Rename(out.Name(), path)
	}
	if err != nil {
		return problems, errors.Join(fmt.Errorf("nothing was exported: %w", err), os.Remove(out.Name()))
	}
	return problems, nil
}

func (c *jobsCommand) load(context.Context) int {
	in, done, err := c.input()
	if err != nil {
		return c.fail(err)
	}
	defer done()
	err = journal.CheckExport(in, func(hash string, files []journal.RuleFile) error {
		_, err := rulekeep.Read(hash, files)
		return err
	})
	if err != nil {
		return c.fail(fmt.Errorf("%s %w; nothing was imported", c.flags.Arg(0), err))
	}
	d, err := c.with.openJobs()
	if err != nil {
		return c.fail(err)
	}
	tell := progressOf(c.stderr, time.Now)
	d.Progress = func(done, most int) { tell("MB imported", done>>20, most>>20) }
	took, err := d.Import(in)
	if err != nil {
		err = fmt.Errorf("%w; nothing was imported", err)
	}
	if err = errors.Join(err, d.Close()); err != nil {
		return c.fail(err)
	}
	fmt.Fprintf(c.stdout, "imported: %d jobs, %d records; here already: %d jobs\n", took.Jobs, took.Records, took.Same)
	return exitDone
}

// input is the export to be imported, which may be read more than once: what comes by a pipe
// goes into a file first. Done lets it go.
func (c *jobsCommand) input() (in io.ReadSeeker, done func(), err error) {
	from := c.stdin
	if name := c.flags.Arg(0); name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, nil, err
		}
		if _, err := file.Seek(0, io.SeekCurrent); err == nil {
			return file, func() { _ = file.Close() }, nil
		}
		defer file.Close()
		from = file
	}
	spool, err := os.CreateTemp("", "coilside-import-*")
	if err != nil {
		return nil, nil, err
	}
	done = func() { _ = errors.Join(spool.Close(), os.Remove(spool.Name())) }
	if _, err = io.Copy(spool, from); err == nil {
		_, err = spool.Seek(0, io.SeekStart)
	}
	if err != nil {
		done()
		return nil, nil, fmt.Errorf("the export cannot be read: %w", err)
	}
	return spool, done, nil
}

func (c *jobsCommand) verify(ctx context.Context) int {
	d, err := c.read()
	if err != nil {
		return c.fail(err)
	}
	defer d.Close()
	report, err := d.Verify(ctx)
	if err != nil {
		return c.fail(err)
	}
	problems, err := verifyRules(d)
	if err != nil {
		return c.fail(err)
	}
	problems = append(report.Problems, problems...)
	if c.replay {
		more, err := c.replayAll(ctx, d)
		if err != nil {
			return c.fail(err)
		}
		problems = append(problems, more...)
	}
	for _, p := range problems {
		fmt.Fprintln(c.stderr, p)
	}
	fmt.Fprintf(c.stdout, "sound: %d jobs, %d records, %d rulebooks; problems: %d\n", report.Jobs, report.Records, report.Rules, len(problems))
	if len(problems) > 0 {
		return exitWrong
	}
	return exitDone
}

func verifyRules(d *journal.Store) (problems []error, err error) {
	hashes, err := d.RuleHashes()
	if err != nil {
		return nil, err
	}
	for _, hash := range hashes {
		if _, err := rulekeep.Load(d, hash); err != nil {
			problems = append(problems, err)
		}
	}
	return problems, nil
}

// replayAll computes every sound job anew.
func (c *jobsCommand) replayAll(ctx context.Context, d *journal.Store) (problems []error, err error) {
	book, err := c.with.loadBook()
	if err != nil {
		return nil, err
	}
	service, err := session.New(session.Options{Book: book, Journal: d, Log: zerolog.Nop(), MostResident: 1})
	if err != nil {
		return nil, err
	}
	heads, err := d.Heads()
	if err != nil {
		return nil, err
	}
	tell := progressOn(c.stderr, time.Now)
	for i, h := range heads {
		tell("jobs", i, len(heads))
		if _, _, err := d.Open(h.Name); err != nil {
			continue // reported already
		}
		r, err := service.Replay(ctx, h.Name)
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case err != nil:
			problems = append(problems, err)
		case !r.Same():
			problems = append(problems, fmt.Errorf("job %s: the ranking replayed differs from the one shown (engine %s then, %s now): %v then, %v now; %v",
				h.Name, r.Engine, session.Version, r.Was, r.Now, r.Notes))
		}
	}
	return problems, nil
}
