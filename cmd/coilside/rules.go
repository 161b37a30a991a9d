package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/rulesets"
	"coilside/session/rulecase"
)

const rulesUsage = `Usage: coilside rules check|test|list [--rules DIR]... [DIR...]

  check   read the rules and report everything wrong with them
  test    run the cases in the folder "cases" of each DIR, or of the shipped rules
  list    what the rules hold
`

// rulebooks works on the shipped rules with the folders given laid over them.
func rulebooks(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	verbs := map[string]func(*rules.Book, []string, io.Writer) int{"check": checked, "test": tested, "list": listed}
	if len(args) > 0 && (args[0] == "help" || args[0] == "-h" || args[0] == "--help") {
		fmt.Fprint(stdout, rulesUsage)
		return exitDone
	}
	if len(args) == 0 || verbs[args[0]] == nil {
		if len(args) > 0 {
			fmt.Fprintf(stderr, "coilside rules: there is no %q here", args[0])
			if near := rules.Nearest(args[0], []string{"check", "test", "list"}); near != "" {
				fmt.Fprintf(stderr, "; did you mean %q?", near)
			}
			fmt.Fprintln(stderr)
		}
		fmt.Fprint(stderr, rulesUsage)
		return exitUsage
	}
	var with setup
	flags := flag.NewFlagSet("rules "+args[0], flag.ContinueOnError)
	flags.SetOutput(stderr)
	with.addFlags(flags)
	switch err := flags.Parse(args[1:]); {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		return exitUsage
	}
	with.folders = append(with.folders, flags.Args()...)
	book, err := with.loadBook()
	if err == nil {
		_, err = diagnosis.Compile(book)
	}
	if err != nil {
		fmt.Fprintln(stderr, err)
		var list rules.Errors
		if errors.As(err, &list) {
			fmt.Fprintf(stderr, "%d wrong\n", len(list))
		}
		return exitWrong
	}
	return verbs[args[0]](book, with.folders, stdout)
}

func checked(b *rules.Book, _ []string, w io.Writer) int {
	fmt.Fprintf(w, "sound: %d facts, %d suspects, %d tests, %d rules (%s)\n", len(b.Facts), len(b.Suspects), len(b.Tests), len(b.Rules), b.Hash[:12])
	return exitDone
}

// tested runs the cases beside the rules of each folder on all the rules together.
func tested(b *rules.Book, folders []string, w io.Writer) int {
	of := map[string]fs.FS{}
	if len(folders) == 0 {
		folders = []string{"relay"}
		of["relay"] = rulesets.Relay()
	}
	passed, failed := 0, 0
	for _, folder := range folders {
		if of[folder] == nil {
			of[folder] = os.DirFS(folder)
		}
		cases, err := rulecase.Read(of[folder])
		if err != nil {
			fmt.Fprintf(w, "FAIL  %s: %v\n", folder, err)
			failed++
		}
		for _, c := range cases {
			misses, err := c.Run(b)
			if err != nil {
				misses = []string{err.Error()}
			}
			if len(misses) == 0 {
				fmt.Fprintf(w, "PASS  %s: %s\n", folder, c.ID)
				passed++
				continue
			}
			failed++
			fmt.Fprintf(w, "FAIL  %s: %s\n      %s\n", folder, c.ID, strings.Join(misses, "\n      "))
		}
	}
	fmt.Fprintf(w, "%d passed, %d failed\n", passed, failed)
	if failed > 0 {
		return exitWrong
	}
	return exitDone
}

func listed(b *rules.Book, _ []string, w io.Writer) int {
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
