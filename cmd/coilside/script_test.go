package main

import (
	"context"
	"flag"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write what the scripts print into them")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"coilside": func() {
		os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}})
}

// The scripts are whole sessions of the command line with all they print, but for
// the figures of the ranking, which the command figures writes as "N". The jobs
// in them are invented.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", UpdateScripts: *update, RequireExplicitExec: true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"figures": withoutFigures},
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_STATE_HOME", e.WorkDir+"/state")
			return nil
		}})
}

// rankingFigure is what moves with every change of the ranking's arithmetic: shares in
// percent, odds, and how far a prediction spreads.
var rankingFigure = regexp.MustCompile(`(over |under )?\d+ %|(more than )?[\d.]+ times (less likely|likelier)|[−-]?[\d.]+ to [\d.]+ (V|A|Ω): then`)

// withoutFigures writes what was printed last to a file, without its figures.
func withoutFigures(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: figures FILE")
	}
	text := rankingFigure.ReplaceAllStringFunc(ts.ReadFile("stdout"), func(found string) string {
		switch {
		case strings.HasSuffix(found, "then"):
			return "N: then"
		case strings.HasSuffix(found, "%"):
			return "N %"
		}
		return "N times " + found[strings.Index(found, "l"):]
	})
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(text), 0o600))
}
