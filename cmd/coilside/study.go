package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"coilside/engine/diagnosis"
	"coilside/engine/study"
	"coilside/engine/study/optimum"
	"coilside/rules"
	"coilside/session"
	"coilside/session/ngspice"
	"coilside/session/trial"

	"github.com/rs/zerolog"
)

// studied is what was asked for on the command line.
type studied struct {
	with                       setup
	strata, policies, floors   string
	vehicle, through           string
	cases, first, only, atOnce int
	optimum                    int
	seed                       uint64
	misses                     bool
}

// studyJobs measures how good the diagnosis is: seeded jobs on simulated vehicles, by
// stratum and by policy, and a table of how they went.
func studyJobs(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	var o studied
	flags := o.flags()
	if code, done := parse(flags, args, stderr); done {
		return code
	}
	if o.optimum > 0 {
		fmt.Fprintf(stdout, "%d problems of up to 12 faults and 20 tests, seed %d\n\n", o.optimum, o.seed)
		optimum.Table(stdout, optimum.Compare(optimum.Policies, o.optimum, o.seed))
		fmt.Fprintf(stdout, "\n%d problems whose tests err\n\n", max(o.optimum/25, 1))
		optimum.NoisyTable(stdout, optimum.CompareNoisy(optimum.NoisyPolicies, max(o.optimum/25, 1), o.seed))
		return exitDone
	}
	runs, err := o.runs()
	if err != nil {
		fmt.Fprintf(stderr, "coilside study: %v\n", err)
		return exitUsage
	}
	if err := o.run(ctx, runs, stdout, stderr); err != nil {
		fmt.Fprintf(stderr, "coilside study: %v\n", err)
		return exitWrong
	}
	return exitDone
}

func (o *studied) flags() *flag.FlagSet {
	flags := flag.NewFlagSet("study", flag.ContinueOnError)
	var strata, policies []string
	for _, s := range study.Strata {
		strata = append(strata, s.ID+" ("+s.Words+")")
	}
	for _, p := range study.Policies {
		policies = append(policies, p.ID+" ("+p.Words+")")
	}
	flags.StringVar(&o.strata, "stratum", "all", "`which` kinds of jobs, with commas between: "+strings.Join(strata, ", "))
	flags.StringVar(&o.policies, "policy", "product", "`who` chooses the tests, with commas between, or all: "+strings.Join(policies, ", "))
	flags.StringVar(&o.vehicle, "vehicle", "simulated", "`what` answers: simulated, or ngspice, which shares no code with the solver and must be installed")
	flags.StringVar(&o.through, "through", "diagnosis", "`what` is asked: the diagnosis itself, or the whole service, with requests and replies as JSON")
	flags.IntVar(&o.cases, "cases", 200, "jobs of each stratum")
	flags.IntVar(&o.first, "first", 0, "number of the first job")
	flags.Uint64Var(&o.seed, "seed", 1, "picks the vehicles")
	flags.IntVar(&o.atOnce, "jobs", runtime.GOMAXPROCS(0), "jobs played at once")
	flags.IntVar(&o.only, "case", -1, "play only the job of this number, and print each turn")
	flags.IntVar(&o.optimum, "optimum", 0, "hold ways to choose tests against the exact optimum on so many small problems, and nothing else")
	flags.BoolVar(&o.misses, "misses", false, "print the jobs that did not end exactly")
	flags.StringVar(&o.floors, "floors", "", "fail below these shares of exact jobs in percent, such as `single=95,sound=90`")
	flags.Var(list{&o.with.folders, string(os.PathListSeparator)}, "rules", "`folder` of rules laid over the shipped ones; may be given again")
	return flags
}

// studyRun is one stratum under one policy.
type studyRun struct {
	stratum study.Stratum
	policy  study.Policy
}

// runs are the strata and policies asked for.
func (o *studied) runs() ([]studyRun, error) {
	strata, err := named(o.strata, study.Strata, func(s study.Stratum) string { return s.ID })
	if err != nil {
		return nil, fmt.Errorf("--stratum: %w", err)
	}
	policies, err := named(o.policies, study.Policies, func(p study.Policy) string { return p.ID })
	if err != nil {
		return nil, fmt.Errorf("--policy: %w", err)
	}
	if o.cases < 1 || o.atOnce < 1 || o.first < 0 {
		return nil, fmt.Errorf("--cases and --jobs are 1 or more, --first is 0 or more")
	}
	var out []studyRun
	for _, s := range strata {
		for _, p := range policies {
			out = append(out, studyRun{s, p})
		}
	}
	return out, nil
}

// named finds the things named with commas between; all stands for all of them.
func named[T any](names string, all []T, id func(T) string) ([]T, error) {
	if names == "all" {
		return all, nil
	}
	var out []T
	for name := range strings.SplitSeq(names, ",") {
		known := make([]string, len(all))
		at := -1
		for i, a := range all {
			if known[i] = id(a); known[i] == strings.TrimSpace(name) {
				at = i
			}
		}
		if at < 0 {
			hint := "; there are all, " + strings.Join(known, ", ")
			if near := rules.Nearest(name, known); near != "" {
				hint = fmt.Sprintf("; did you mean %q?", near)
			}
			return nil, fmt.Errorf("there is no %q%s", name, hint)
		}
		out = append(out, all[at])
	}
	return out, nil
}

// run plays everything and prints the tables.
func (o *studied) run(ctx context.Context, runs []studyRun, stdout, stderr io.Writer) error {
	floors, err := readFloors(o.floors)
	if err != nil {
		return err
	}
	dealer, player, err := o.prepare()
	if err != nil {
		return err
	}
	began := time.Now()
	var all []*study.Tally
	for _, r := range runs {
		player.Policy = r.policy
		if o.only >= 0 {
			if err := o.replay(dealer, player, r, stdout); err != nil {
				return err
			}
			continue
		}
		t, err := o.play(ctx, dealer, player, r, stderr)
		if err != nil {
			return err
		}
		all = append(all, t)
		if len(runs) > 1 {
			study.Table(stderr, all[len(all)-1:])
		}
		if ctx.Err() != nil {
			fmt.Fprintln(stderr, "coilside study: stopped; this is what was played")
			break
		}
	}
	if o.only >= 0 {
		return nil
	}
	o.report(all, time.Since(began), stdout)
	return floors.hold(all)
}

// prepare makes ready who deals the jobs and who plays them.
func (o *studied) prepare() (dealer study.Dealer, player study.Player, err error) {
	book, err := o.with.loadBook()
	if err != nil {
		return dealer, player, err
	}
	k, err := diagnosis.Compile(book)
	if err != nil {
		return dealer, player, err
	}
	k.WorkAlone() // several are played at once, and a turn is timed by its thread
	minutes, err := study.ReadMinutes()
	if err != nil {
		return dealer, player, err
	}
	dealer = study.Dealer{Knowledge: k}
	player = study.Player{Knowledge: k, Minutes: minutes, Clock: threadTime}
	return dealer, player, errors.Join(o.answerBy(&dealer, &player), o.seatAt(&player))
}

// answerBy has another vehicle than the simulated one answer, if that was asked for.
func (o *studied) answerBy(dealer *study.Dealer, player *study.Player) error {
	switch o.vehicle {
	case "simulated":
		return nil
	case "ngspice":
		book := player.Knowledge.Book()
		dealer.Can = ngspice.Can
		player.Fit = func(j *study.Job) (study.Answerer, error) {
			return ngspice.New(book, j.Vehicle, j.DrawSeed())
		}
		return ngspice.Missing()
	}
	return fmt.Errorf("--vehicle is simulated or ngspice, not %q", o.vehicle)
}

// seatAt has a whole service asked in the place of the diagnosis, if that was asked for.
func (o *studied) seatAt(player *study.Player) error {
	switch o.through {
	case "diagnosis":
		return nil
	case "service":
		if o.policies != "product" {
			return errors.New("--through service: the service chooses the tests itself, and only --policy product fits")
		}
		book := player.Knowledge.Book()
		service, err := session.New(session.Options{Book: book, Log: zerolog.Nop()})
		player.Seat = func(j *study.Job) (study.Desk, error) { return trial.Open(service, book, j) }
		return err
	}
	return fmt.Errorf("--through is diagnosis or service, not %q", o.through)
}

// replay plays one job and prints each turn.
func (o *studied) replay(dealer study.Dealer, player study.Player, r studyRun, stdout io.Writer) error {
	player.Log = func(format string, args ...any) { fmt.Fprintf(stdout, format+"\n", args...) }
	j, err := dealer.Deal(r.stratum, o.seed, o.only)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s, %s, seed %d, job %d\n", r.stratum.Words, r.policy.Words, o.seed, o.only)
	res, err := player.Play(j)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "exact %v, %d tests, %.1f minutes, log loss %.3f nats\n", res.Exact, res.Tests, res.Minutes, res.LogLoss)
	return nil
}

// play plays the jobs of one stratum under one policy, several at once.
func (o *studied) play(ctx context.Context, dealer study.Dealer, player study.Player, r studyRun, stderr io.Writer) (*study.Tally, error) {
	t := &study.Tally{Stratum: r.stratum, Policy: r.policy.ID, Results: make([]*study.Result, o.cases)}
	errs := make([]error, o.cases)
	next := make(chan int)
	var played sync.WaitGroup
	for range min(o.atOnce, o.cases) {
		played.Go(func() {
			runtime.LockOSThread() // whose time is measured
			defer runtime.UnlockOSThread()
			for i := range next {
				j, err := dealer.Deal(r.stratum, o.seed, o.first+i)
				if err == nil {
					t.Results[i], err = player.Play(j)
				}
				errs[i] = err
			}
		})
	}
	progress := time.NewTicker(5 * time.Second)
	defer progress.Stop()
	for i := 0; i < o.cases && ctx.Err() == nil; {
		select {
		case next <- i:
			i++
		case <-progress.C:
			fmt.Fprintf(stderr, "%s, %s: %d of %d jobs\n", r.stratum.ID, r.policy.ID, i, o.cases)
		case <-ctx.Done():
		}
	}
	close(next)
	played.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	t.Results = slices.DeleteFunc(t.Results, func(r *study.Result) bool { return r == nil }) // those not come to
	return t, nil
}

// report prints the tables.
func (o *studied) report(all []*study.Tally, took time.Duration, w io.Writer) {
	fmt.Fprintf(w, "%s vehicle, through the %s, seed %d, jobs %d to %d of each stratum, %d at once, %s\n\n", o.vehicle, o.through, o.seed, o.first, o.first+o.cases-1, o.atOnce, took.Round(time.Second))
	study.Table(w, all)
	study.Against(w, all)
	fmt.Fprintln(w)
	study.Calibration(w, all)
	if silent := study.Silent(all); silent != "" {
		fmt.Fprintf(w, "\ndrawn, and caused no complaint (not played): %s\n", silent)
	}
	for _, t := range all {
		for _, r := range t.Results {
			for _, live := range r.Live {
				fmt.Fprintf(w, "OHMS ON A LIVE PLACE: %s %s job %d: %s\n", t.Stratum.ID, t.Policy, r.Job.Number, live)
			}
		}
	}
	if o.misses {
		fmt.Fprintln(w, "\nnot exact:")
		for _, t := range all {
			t.Misses(w)
		}
	}
}

// floors are the least shares of exact jobs, in percent, by stratum.
type floors map[string]float64

func readFloors(text string) (floors, error) {
	f := floors{}
	if text == "" {
		return f, nil
	}
	for part := range strings.SplitSeq(text, ",") {
		id, least, _ := strings.Cut(part, "=")
		percent, err := strconv.ParseFloat(least, 64)
		if _, ok := study.FindStratum(id); !ok || err != nil {
			return nil, fmt.Errorf("--floors: %q is not a stratum and a percentage, such as single=95", part)
		}
		f[id] = percent
	}
	return f, nil
}

// hold says which tallies are below their floor, and whether ohms were asked for on a
// live place.
func (f floors) hold(all []*study.Tally) error {
	for _, t := range all {
		if least, ok := f[t.Stratum.ID]; ok && t.Policy == "product" && 100*t.Exact() < least {
			return fmt.Errorf("%s: %.1f %% exact, below the floor of %.1f %%", t.Stratum.ID, 100*t.Exact(), least)
		}
		for _, r := range t.Results {
			if len(r.Live) > 0 && t.Stratum.Wrong == 0 && !t.Stratum.Repeated {
				return fmt.Errorf("%s, %s, job %d: ohms asked for on a live place: %s", t.Stratum.ID, t.Policy, r.Job.Number, r.Live[0])
			}
		}
	}
	return nil
}
