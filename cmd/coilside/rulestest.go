package main

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path"
	"runtime"
	"strings"
	"sync"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session/rulecase"
)

func (c *rulesCommand) testOptions() {
	c.flags.Var(number{&c.cover, 1, 100}, "cover", "fail the run if less than this `percent` of the rules, suspects or tests is covered")
}

// ruleFolder is one folder of cases: the shipped ruleset's, or a shop's.
type ruleFolder struct {
	name string
	fs   fs.FS
}

// caseFolders are the folders whose cases are run: those named, or the shipped one.
func caseFolders(named []string) []ruleFolder {
	if len(named) == 0 {
		return []ruleFolder{{"relay", rulesets.Relay()}}
	}
	var out []ruleFolder
	for _, name := range named {
		out = append(out, ruleFolder{name, os.DirFS(name)})
	}
	return out
}

// test runs the cases beside the rules of each folder on all the rules together.
func (c *rulesCommand) test(_ context.Context, folders []string) int {
	var all []rulecase.Outcome
	passed, failed, errs := 0, 0, 0
	for _, folder := range caseFolders(folders) {
		cases, err := rulecase.Read(folder.fs)
		if err != nil {
			fmt.Fprintf(c.stdout, "ERROR %s: %v\n", folder.name, err)
			errs++
		}
		for _, o := range playAll(c.book, cases) {
			all = append(all, o)
			name := fmt.Sprintf("%s: %s", folder.name, o.Case.ID)
			switch {
			case o.Passed():
				passed++
				fmt.Fprintf(c.stdout, "PASS  %s\n", name)
				continue
			case o.Err != nil:
				errs++
				fmt.Fprintf(c.stdout, "ERROR %s\n      %v\n", name, o.Err)
			default:
				failed++
				fmt.Fprintf(c.stdout, "FAIL  %s\n      %s\n", name, strings.Join(o.Misses, "\n      "))
			}
			fmt.Fprintf(c.stdout, "      at %s:%d\n", path.Join(folder.name, o.Case.File), o.Case.Line)
		}
	}
	covered := c.covered(all, folders)
	fmt.Fprintf(c.stdout, "%d passed, %d failed, %d could not be run\n", passed, failed, errs)
	if failed+errs > 0 || !covered {
		return exitWrong
	}
	return exitDone
}

// covered says how much of the folders' own items the cases cover, and reports
// whether that is as much as was asked for.
func (c *rulesCommand) covered(all []rulecase.Outcome, folders []string) bool {
	roots := folders
	if len(roots) == 0 {
		roots = []string{"relay"}
	}
	cover := rulecase.Cover(c.book, all, func(file string) bool {
		for _, root := range roots {
			if strings.HasPrefix(file, path.Clean(root)+"/") {
				return true
			}
		}
		return false
	})
	enough := true
	for _, kind := range []struct {
		words string
		share rulecase.Share
	}{{"rules", cover.Rules}, {"suspects", cover.Suspects}, {"tests", cover.Tests}} {
		s := kind.share
		fmt.Fprintf(c.stdout, "covered: %d of %d %s (%d %%)", s.All-len(s.Missing), s.All, kind.words, s.Percent())
		if s.Percent() < c.cover {
			enough = false
			fmt.Fprintf(c.stdout, ", less than %d %%", c.cover)
		}
		if len(s.Missing) > 0 {
			fmt.Fprintf(c.stdout, "; not: %s", strings.Join(s.Missing, ", "))
		}
		fmt.Fprintln(c.stdout)
	}
	return enough
}

// playAll plays cases on all processors and gives what came of them, in order.
func playAll(book *rules.Book, cases []rulecase.Case) []rulecase.Outcome {
	out := make([]rulecase.Outcome, len(cases))
	p := rulecase.NewPlayer(book)
	work := make(chan int)
	var group sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range work {
				out[i] = p.Play(cases[i])
			}
		})
	}
	for i := range cases {
		work <- i
	}
	close(work)
	group.Wait()
	return out
}
