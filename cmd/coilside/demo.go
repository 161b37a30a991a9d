package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"time"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/session"

	"github.com/rs/zerolog"
)

// demo plays a whole invented job against a simulated vehicle: the technician's
// lines are typed in plain words, and nothing but them reaches the assistant.
func demo(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("demo", flag.ContinueOnError)
	seed := flags.Uint64("seed", 1, "picks the vehicle and the hidden fault")
	name := flags.String("scenario", "", "`ID` of a scenario (default: picked by the seed)")
	list := flags.Bool("list", false, "list the scenarios")
	if code, done := parse(flags, args, stderr); done {
		return code
	}
	all, err := scenarios()
	if err != nil {
		fmt.Fprintf(stderr, "coilside demo: %v\n", err)
		return exitWrong
	}
	if *list {
		for _, s := range all {
			fmt.Fprintf(stdout, "%-16s %s (invented)\n", s.ID, s.Title)
		}
		return exitDone
	}
	s, err := choose(all, *name, *seed)
	if err != nil {
		fmt.Fprintf(stderr, "coilside demo: %v\n", err)
		return exitUsage
	}
	if err := play(ctx, s, *seed, stdout); err != nil {
		fmt.Fprintf(stderr, "coilside demo: %v\n", err)
		return exitWrong
	}
	return exitDone
}

func choose(all []scenario, name string, seed uint64) (scenario, error) {
	if name == "" {
		return all[(seed+uint64(len(all))-1)%uint64(len(all))], nil
	}
	var names []string
	for _, s := range all {
		if s.ID == name {
			return s, nil
		}
		names = append(names, s.ID)
	}
	hint := "; there are " + strings.Join(names, ", ")
	if near := rules.Nearest(name, names); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return scenario{}, fmt.Errorf("there is no scenario %q%s", name, hint)
}

// player is the technician of the demonstration.
type player struct {
	service *session.Service
	vehicle *vehicle.Vehicle
	job     string
	rng     *rand.Rand
	out     io.Writer
	reply   session.Reply
	tests   int
	closed  bool
	slipped bool // the slip of the tongue was made
}

// mostSteps is the patience of the technician, in lines.
const mostSteps = 60

func play(ctx context.Context, s scenario, seed uint64, out io.Writer) error {
	with := setup{}
	book, err := with.loadBook()
	if err != nil {
		return err
	}
	knowledge, err := diagnosis.Compile(book)
	if err != nil {
		return err
	}
	v, complaint, err := s.hide(book, knowledge.Model(), seed)
	if err != nil {
		return err
	}
	start := time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)
	service, err := session.New(session.Options{Book: book, Log: zerolog.Nop(), Clock: func() time.Time { return start },
		IDs: func() string { return fmt.Sprintf("demo-%d", seed) }})
	if err != nil {
		return err
	}
	request, err := s.open()
	if err != nil {
		return err
	}
	request.Complaint = complaint
	opened, err := service.Open(ctx, request)
	if err != nil {
		return err
	}
	hidden := v.Faults()
	p := &player{service: service, vehicle: v, job: opened.Job, rng: rand.New(rand.NewPCG(seed, 77)), out: out, reply: opened.Reply}
	c, _ := book.Complaint(complaint)
	fmt.Fprintf(out, "This is an invented job: %s. A fault is hidden in a simulated vehicle (seed %d);\nthe assistant learns of it only by what the technician says after \">\".\n\n%s\nThe complaint: %s.\n\n",
		s.Title, seed, strings.TrimSpace(s.Story), c.Words)
	p.print(opened.Reply.Text)
	if err := p.work(ctx); err != nil {
		return err
	}
	fmt.Fprintf(out, "The fault that was hidden: %s.\n", faultWords(book, hidden))
	return nil
}

func faultWords(book *rules.Book, ids []string) string {
	words := make([]string, len(ids))
	for i, id := range ids {
		words[i] = id
		if s, ok := book.Suspect(id); ok && s.Words != "" {
			words[i] = s.Words
		}
	}
	return strings.Join(words, " and ")
}

func (p *player) print(text string) { fmt.Fprintln(p.out, text+"\n") }

// tell types one line.
func (p *player) tell(ctx context.Context, line string) error {
	fmt.Fprintln(p.out, "> "+line)
	reply, err := p.service.Tell(ctx, session.TellRequest{Write: session.Write{Job: p.job}, Text: line})
	if err != nil {
		return err
	}
	p.reply = reply
	p.print(reply.Text)
	p.closed = p.closed || closed(reply)
	return nil
}

// work goes on until the job is closed.
func (p *player) work(ctx context.Context) error {
	for range mostSteps {
		if p.closed {
			return nil
		}
		if err := p.step(ctx); err != nil {
			return err
		}
	}
	if p.closed {
		return nil
	}
	if err := p.tell(ctx, "done"); err != nil || p.closed { // out of patience
		return err
	}
	return p.tell(ctx, "unproven")
}

func (p *player) step(ctx context.Context) error {
	r := p.reply
	switch {
	case r.Question != nil:
		return p.tell(ctx, r.Question.Choices[0])
	case r.Conclusion != nil:
		return p.mend(ctx, *r.Conclusion)
	case r.Next == nil:
		return p.tell(ctx, "done")
	}
	p.tests++
	switch p.tests {
	case 2:
		if err := p.tell(ctx, "why?"); err != nil {
			return err
		}
	case 4:
		if err := p.tell(ctx, "where are we?"); err != nil {
			return err
		}
	}
	return p.measure(ctx, *r.Next)
}

// measure does a test on the vehicle and says what came of it.
func (p *player) measure(ctx context.Context, t session.Test) error {
	a, err := p.vehicle.Answer(t.Measure, t.Setup)
	if err != nil {
		return err
	}
	line := saying(t, a, p.rng)
	if p.tests > 2 && !p.slipped && a.Number != nil && *a.Number > 1 {
		p.slipped = true
		line = figure(*a.Number/10) + ", no wait, " + figure(*a.Number)
	}
	if err := p.tell(ctx, line); err != nil || p.took(t, a) {
		return err
	}
	if len(p.reply.Entries) > 0 {
		if err := p.tell(ctx, "undo"); err != nil {
			return err
		}
	}
	if err := p.tell(ctx, plainly(t, a)); err != nil || p.took(t, a) {
		return err
	}
	if len(p.reply.Entries) > 0 {
		if err := p.tell(ctx, "undo"); err != nil {
			return err
		}
	}
	return p.tell(ctx, "skip")
}

// took reports whether the last line was understood as that answer.
func (p *player) took(t session.Test, a diagnosis.Answer) bool {
	for _, u := range p.reply.Understood {
		if u.Answer == nil || u.Test != t.ID {
			continue
		}
		got := diagnosis.Answer(*u.Answer)
		switch {
		case a.Number != nil:
			return got.Number != nil && abs(*got.Number-*a.Number) < 0.0011
		case a.MinMax != nil:
			return got.MinMax != nil && abs(got.MinMax[0]-a.MinMax[0])+abs(got.MinMax[1]-a.MinMax[1]) < 0.0021
		}
		return got.Choice == a.Choice && got.Over == a.Over && got.Unsure == a.Unsure
	}
	return false
}

func abs(v float64) float64 { return max(v, -v) }

// mend repairs what was concluded and says what became of the complaint.
func (p *player) mend(ctx context.Context, c session.Conclusion) error {
	if p.vehicle.Complaint() == "" {
		return p.tell(ctx, "done")
	}
	for _, suspect := range c.Suspects {
		if _, err := p.vehicle.Repair(suspect); err != nil {
			return err
		}
		if p.vehicle.Complaint() == "" {
			return p.tell(ctx, "done that, the fault is gone")
		}
	}
	return p.tell(ctx, "repaired it, fault is still there")
}
