package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"time"
)

// errTooLong is why an engine was cut short.
var errTooLong = errors.New("cut short")

// Exit codes of a process that plays alone.
const (
	exitMissing = 3
	exitTooLong = 4
)

// task is what a process that plays alone reads from its input.
type task struct {
	Engine int // in subjects()
	Rules  int
	Pause  time.Duration
	Limit  time.Duration
}

// result is what it prints.
type result struct {
	Compile, Load, Change, Restore, Bytes float64
	States                                []state
}

// alone plays a plan in a process of its own, so that no engine measures another's garbage and
// a slow one can be stopped.
func alone(t task) (outcome, error) {
	self, err := os.Executable()
	if err != nil {
		return outcome{}, err
	}
	work, err := json.Marshal(t)
	if err != nil {
		return outcome{}, err
	}
	child := exec.Command(self, "-alone", string(work))
	child.Stderr = os.Stderr
	printed, err := child.Output()
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit) && exit.ExitCode() == exitMissing:
		return outcome{}, errMissing
	case errors.As(err, &exit) && exit.ExitCode() == exitTooLong:
		return outcome{}, errTooLong
	case err != nil:
		return outcome{}, err
	}
	var r result
	err = json.Unmarshal(printed, &r)
	return outcome{figures{r.Compile, r.Load, r.Change, r.Restore, r.Bytes}, r.States}, err
}

// playAlone is that process.
func playAlone(work string) error {
	var t task
	if err := json.Unmarshal([]byte(work), &t); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), t.Limit)
	defer cancel()
	// What runs in this process can't be interrupted; a program that it started ends with the
	// context, a little before.
	time.AfterFunc(t.Limit+time.Second, func() { os.Exit(exitTooLong) })
	p := newPlan(t.Rules)
	p.pause, p.context = t.Pause, ctx
	out, err := subjects()[t.Engine].run(p)
	switch {
	case ctx.Err() != nil:
		os.Exit(exitTooLong)
	case errors.Is(err, errMissing):
		fmt.Fprintln(os.Stderr, err)
		os.Exit(exitMissing)
	case err != nil:
		return err
	}
	f := out.figures
	return json.NewEncoder(os.Stdout).Encode(result{f.compile, f.load, f.change, f.restore, f.bytes, out.states})
}
