package main

import (
	"context"
	"flag"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write what the scripts print into them")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"coilside": func() {
		os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}})
}

// The scripts are whole sessions of the command line with all they print. The
// jobs in them are invented.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", UpdateScripts: *update, RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_STATE_HOME", e.WorkDir+"/state")
			return nil
		}})
}
