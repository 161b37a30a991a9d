package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"coilside/rules"
)

func (c *rulesCommand) formatOptions() {
	c.flags.BoolVar(&c.dry, "check", false, "change nothing; list the files that would change, and fail if there are any")
}

// format lays out the rule files of the folders and files given, in place.
func (c *rulesCommand) format(_ context.Context, args []string) int {
	if len(args) == 0 {
		return c.fail(exitUsage, "say which folder or files to lay out")
	}
	code := exitDone
	for _, root := range args {
		err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || filepath.Ext(name) != ".yaml" && filepath.Ext(name) != ".yml" {
				return err
			}
			changed, err := c.formatFile(name)
			if err != nil {
				fmt.Fprintln(c.stderr, err)
				code = exitWrong
				return nil
			}
			if changed {
				fmt.Fprintln(c.stdout, name)
				if c.dry {
					code = exitWrong
				}
			}
			return nil
		})
		if err != nil {
			return c.fail(exitWrong, "%v", err)
		}
	}
	return code
}

// formatFile lays out one file. A new file takes its place only once it is whole.
func (c *rulesCommand) formatFile(name string) (changed bool, err error) {
	before, err := os.ReadFile(name)
	if err != nil {
		return false, err
	}
	after, err := rules.Format(name, before)
	if err != nil || bytes.Equal(before, after) || c.dry {
		return err == nil && !bytes.Equal(before, after), err
	}
	info, err := os.Stat(name)
	if err != nil {
		return false, err
	}
	half := name + ".new"
	if err := os.WriteFile(half, after, info.Mode().Perm()); err != nil {
		return false, err
	}
	return true, os.Rename(half, name)
}
