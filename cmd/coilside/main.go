// Command coilside leads a technician from a complaint about a relay-controlled
// vehicle circuit to the proven fault: in the terminal, or as a local service.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"coilside/rules"
)

// Exit codes.
const (
	exitDone  = 0
	exitWrong = 1 // the work found something wrong
	exitUsage = 2 // the command line cannot be meant
)

// command is one verb of the command line. Run gets the arguments after the
// verb and returns the exit code.
type command struct {
	name, words string
	run         func(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int
}

// commands are the verbs in the order help lists them.
var commands = []command{
	{"chat", "work on a job in this terminal, in plain words", chat},
	{"demo", "play a whole invented job against a simulated vehicle", demo},
	{"practice", "find a fault hidden in a simulated vehicle, by yourself", practise},
	{"serve", "run the service for other programs, on this machine or beyond", serve},
	{"token", "make a token for a front end of the service", token},
	{"link", "get a link that lets a browser into the running service, once", link},
	{"rules", "check the rules, or list them", rulebooks},
	{"study", "measure how good the diagnosis is, on seeded jobs", studyJobs},
	{"jobs", "move the jobs elsewhere and back, or verify them", jobs},
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		usage(stderr)
		return exitUsage
	}
	if args[0] == "help" || args[0] == "-h" || args[0] == "--help" {
		usage(stdout)
		return exitDone
	}
	var names []string
	for _, c := range commands {
		if c.name == args[0] {
			return c.run(ctx, args[1:], stdin, stdout, stderr)
		}
		names = append(names, c.name)
	}
	fmt.Fprintf(stderr, "coilside: there is no command %q", args[0])
	if near := rules.Nearest(args[0], names); near != "" {
		fmt.Fprintf(stderr, "; did you mean %q?", near)
	}
	fmt.Fprintln(stderr)
	usage(stderr)
	return exitUsage
}

func usage(w io.Writer) {
	fmt.Fprint(w, "Usage: coilside COMMAND [OPTIONS]\n\nCommands:\n")
	for _, c := range commands {
		fmt.Fprintf(w, "  %-8s %s\n", c.name, c.words)
	}
	fmt.Fprint(w, "\ncoilside COMMAND --help lists the options of a command.\n")
}

// parse reads a command's flags, and its settings from elsewhere where it has some,
// and refuses arguments beyond them. When done is true the command ends with code.
func parse(flags *flag.FlagSet, args []string, stderr io.Writer) (code int, done bool) {
	_, code, done = parseSettings(flags, args, stderr)
	return code, done
}

// parseSettings is parse, and tells where the settings came from; nil for a command
// that has none.
func parseSettings(flags *flag.FlagSet, args []string, stderr io.Writer) (from *settings, code int, done bool) {
	flags.SetOutput(stderr)
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		return nil, exitDone, true
	case err != nil: // the flag set has said what is wrong
		return nil, exitUsage, true
	case flags.NArg() > 0:
		fmt.Fprintf(stderr, "coilside %s: %q is too much: it takes options only\n", flags.Name(), flags.Arg(0))
		return nil, exitUsage, true
	case flags.Lookup("config") == nil:
		return nil, exitDone, false
	}
	from, err := fill(flags, os.Environ())
	if err != nil {
		fmt.Fprintf(stderr, "coilside %s: %v\n", flags.Name(), err)
		return nil, exitUsage, true
	}
	return from, exitDone, false
}
