package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"slices"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/session"
)

const rulesUsage = `Usage: coilside rules VERB [OPTIONS] [--rules DIR]... [DIR...]

  check   read the rules and report everything wrong with them
  test    run the cases in the folder "cases" of each DIR, or of the shipped rules,
          and say how much of the rules they cover
  why     tell why a rule fires or does not: --job ID RULE, or --case FILE/ID RULE [DIR...]
  impact  replay closed jobs and cases on the edited rules of DIR and list what changes
  experience
          count the proven repairs of closed jobs and show what they add to the priors
  doc     write the whole rulebook as one page to be read: --out FILE.html
  fmt     lay out rule files in one way, comments kept: FOLDER or FILE...; --check lists only
  schema  print the JSON Schema of rule files, or with  cases  of case files, for a YAML editor
  list    what the rules hold

coilside rules VERB --help lists the options of one.
`

// rulesCommand is what the verbs of coilside rules work with.
type rulesCommand struct {
	with           setup
	book           *rules.Book // nil for a verb that reads the rules itself
	flags          *flag.FlagSet
	stdout, stderr io.Writer

	cover       int      // least coverage, percent; 0 = none asked for
	quick       bool     // check without the circuit
	dry         bool     // fmt changes nothing
	out         string   // file that doc writes
	job, caseID string   // what why looks at
	jobs        int      // most closed jobs that impact replays; 0 = all
	before      []string // rule folders as they were
	worth       int      // how many jobs the shipped priors weigh as much as
	export      string   // file that experience writes
}

// rulesVerb is one verb: the options it takes beside those of all, whether it reads
// the rules itself, and what it does with its arguments.
type rulesVerb struct {
	options   func(*rulesCommand)
	readsSelf bool
	run       func(*rulesCommand, context.Context, []string) int
}

var rulesVerbs = map[string]rulesVerb{
	"check":      {run: (*rulesCommand).check, options: (*rulesCommand).checkOptions},
	"test":       {run: (*rulesCommand).test, options: (*rulesCommand).testOptions},
	"why":        {run: (*rulesCommand).why, options: (*rulesCommand).whyOptions, readsSelf: true},
	"impact":     {run: (*rulesCommand).impact, options: (*rulesCommand).impactOptions},
	"experience": {run: (*rulesCommand).experience, options: (*rulesCommand).experienceOptions},
	"doc":        {run: (*rulesCommand).doc, options: (*rulesCommand).docOptions},
	"fmt":        {run: (*rulesCommand).format, options: (*rulesCommand).formatOptions, readsSelf: true},
	"schema":     {run: (*rulesCommand).schema, readsSelf: true},
	"list":       {run: (*rulesCommand).list},
}

// rulebooks works on the shipped rules with the folders given laid over them.
func rulebooks(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	if len(args) > 0 && (args[0] == "help" || args[0] == "-h" || args[0] == "--help") {
		fmt.Fprint(stdout, rulesUsage)
		return exitDone
	}
	verb, known := rulesVerb{}, false
	if len(args) > 0 {
		verb, known = rulesVerbs[args[0]]
	}
	if !known {
		return unknownRulesVerb(args, stderr)
	}
	c := &rulesCommand{flags: flag.NewFlagSet("rules "+args[0], flag.ContinueOnError), stdout: stdout, stderr: stderr}
	c.flags.SetOutput(stderr)
	c.with.addFlags(c.flags)
	if verb.options != nil {
		verb.options(c)
	}
	switch err := c.flags.Parse(args[1:]); {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		return exitUsage
	}
	if verb.readsSelf {
		return verb.run(c, ctx, c.flags.Args())
	}
	c.with.folders = append(c.with.folders, c.flags.Args()...)
	if code := c.load(); code != exitDone {
		return code
	}
	return verb.run(c, ctx, c.with.folders)
}

func unknownRulesVerb(args []string, stderr io.Writer) int {
	if len(args) > 0 {
		fmt.Fprintf(stderr, "coilside rules: there is no %q here", args[0])
		if near := rules.Nearest(args[0], slices.Sorted(maps.Keys(rulesVerbs))); near != "" {
			fmt.Fprintf(stderr, "; did you mean %q?", near)
		}
		fmt.Fprintln(stderr)
	}
	fmt.Fprint(stderr, rulesUsage)
	return exitUsage
}

// load reads the rules, and tells everything that is wrong with them.
func (c *rulesCommand) load() int {
	book, err := c.with.loadBook()
	if err == nil {
		_, err = diagnosis.Compile(book)
	}
	if err == nil {
		err = session.CheckTables(book)
	}
	if err == nil {
		err = session.CheckWords(book)
	}
	if err != nil {
		fmt.Fprintln(c.stderr, err)
		if list, ok := errors.AsType[rules.Errors](err); ok {
			fmt.Fprintf(c.stderr, "%d wrong\n", len(list))
		}
		return exitWrong
	}
	c.book = book
	return exitDone
}

func (c *rulesCommand) fail(code int, format string, args ...any) int {
	fmt.Fprintf(c.stderr, "coilside %s: %s\n", c.flags.Name(), fmt.Sprintf(format, args...))
	return code
}

func (c *rulesCommand) list(context.Context, []string) int {
	b, w := c.book, c.stdout
	fmt.Fprintf(w, "%s %s\n", b.Name, b.Hash)
	for _, c := range b.Complaints {
		fmt.Fprintf(w, "complaint  %-28s %s\n", c.ID, c.Words)
	}
	for _, s := range b.Suspects {
		fmt.Fprintf(w, "suspect    %-28s %s\n", s.ID, s.Words)
	}
	for _, t := range b.Tests {
		fmt.Fprintf(w, "test       %-28s %s\n", t.ID, t.Words)
	}
	for _, r := range b.Rules {
		fmt.Fprintf(w, "rule       %-28s %s\n", r.ID, r.Because)
	}
	return exitDone
}
