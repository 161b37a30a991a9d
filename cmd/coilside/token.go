package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"

	"coilside/transport"
)

// token makes a token for a front end: it is printed, and its hash put in the file
// that serve --tokens reads.
func token(_ context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("token", flag.ContinueOnError)
	name := flags.String("name", "", "`name` of the front end: letters, digits, - and _")
	path := flags.String("tokens", "", "`file` that the name and the token's hash are added to; made if it is not there")
	if code, done := parse(flags, args, stderr); done {
		return code
	}
	if !transport.ValidClient(*name) || *path == "" {
		return complain(stderr, "token", &usageError{"say for whom and where: --name phone --tokens FILE. A name is 1 to 40 letters, digits, - and _"})
	}
	made := transport.NewToken()
	if err := appendLine(*path, *name+" "+transport.TokenHash(made)); err != nil {
		return complain(stderr, "token", err)
	}
	fmt.Fprintln(stdout, made)
	fmt.Fprintf(stderr, "This is the token of %s. It is not kept; only its hash is, in %s. The service takes it once it is started again.\n", *name, *path)
	return exitDone
}

func appendLine(path, line string) error {
	f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("the tokens cannot be written: %w", err)
	}
	_, err = f.WriteString(line + "\n")
	return errors.Join(err, f.Sync(), f.Close())
}

// link asks the service that runs on the data folder for a link that lets a browser
// in, once.
func link(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	var with setup
	flags := flag.NewFlagSet("link", flag.ContinueOnError)
	with.addFlags(flags)
	if code, done := parse(flags, args, stderr); done {
		return code
	}
	service := with.running(ctx)
	if service == nil {
		return complain(stderr, "link", errors.New("no service runs on this data folder"))
	}
	where, err := service.link(ctx)
	if err != nil {
		return complain(stderr, "link", err)
	}
	fmt.Fprintln(stdout, where)
	return exitDone
}
