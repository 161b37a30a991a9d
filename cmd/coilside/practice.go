package main

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/session/practice"
	"coilside/session/words"
)

// practise has a learner find a fault hidden in a simulated vehicle.
func practise(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	var with setup
	flags := flag.NewFlagSet("practice", flag.ContinueOnError)
	seed := flags.Uint64("seed", 0, "picks the vehicle and the fault; the same seed and level give the same (default: a new one each time)")
	level := flags.String("level", "", "`how` hard it is: "+levelWords())
	flags.Var(list{&with.folders, string(os.PathListSeparator)}, "rules", "`folder` of rules laid over the shipped ones; may be given again")
	if code, done := parse(flags, args, stderr); done {
		return code
	}
	if *seed == 0 {
		*seed = rand.Uint64N(999999) + 1
	}
	book, err := with.loadBook()
	if err != nil {
		fmt.Fprintf(stderr, "coilside practice: %v\n", err)
		return exitWrong
	}
	l, err := lesson(book, *level, *seed)
	if err != nil {
		fmt.Fprintf(stderr, "coilside practice: %v\n", err)
		return exitUsage
	}
	if err := learn(ctx, l, stdin, stdout); err != nil {
		fmt.Fprintf(stderr, "coilside practice: %v\n", err)
		return exitWrong
	}
	return exitDone
}

func lesson(book *rules.Book, level string, seed uint64) (*practice.Lesson, error) {
	knowledge, err := diagnosis.Compile(book)
	if err != nil {
		return nil, err
	}
	reader, err := words.New(book.Words)
	if err != nil {
		return nil, err
	}
	return (&practice.School{Knowledge: knowledge, Reader: reader}).Start(level, seed)
}

func levelWords() string {
	all, err := practice.Levels()
	if err != nil {
		return err.Error()
	}
	var out []string
	for _, l := range all {
		out = append(out, l.ID+" ("+l.Words+")")
	}
	return strings.Join(out, ", ")
}

// learn goes on until the fault is named, given up or nothing more is typed.
func learn(ctx context.Context, l *practice.Lesson, stdin io.Reader, stdout io.Writer) error {
	fmt.Fprintln(stdout, l.Opening())
	lines := bufio.NewScanner(stdin)
	for !l.Ended && ctx.Err() == nil {
		fmt.Fprint(stdout, "\n> ")
		line := "give up"
		if lines.Scan() {
			line = lines.Text()
		}
		if !isTerminal(stdin) {
			fmt.Fprintln(stdout, line)
		}
		said, err := l.Say(line)
		if err != nil {
			said = err.Error()
		}
		fmt.Fprintln(stdout, said)
	}
	if err := lines.Err(); err != nil {
		return err
	}
	r, err := l.Review(context.WithoutCancel(ctx))
	if err != nil {
		return err
	}
	fmt.Fprint(stdout, "\n"+r.Text)
	return nil
}
