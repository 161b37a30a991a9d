package practice

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
)

// How long the assistant's own path may be.
const (
	mostTests = 100
	mostNamed = 5
)

// Review is the learner's path beside the assistant's on the same vehicle.
type Review struct {
	Level       string  `json:"level"`
	Seed        uint64  `json:"seed"`
	Complaint   string  `json:"complaint"`
	Hidden      string  `json:"hidden"` // the suspect that was hidden
	HiddenWords string  `json:"hidden_words"`
	Found       bool    `json:"found"`
	Minutes     float64 `json:"minutes"` // the learner's
	BestFound   bool    `json:"best_found"`
	BestMinutes float64 `json:"best_minutes"` // the assistant's
	Hints       int     `json:"hints"`
	Refused     int     `json:"refused"` // measurements that would have been unsafe or cannot be taken
	Yours       []Step  `json:"yours"`
	Best        []Step  `json:"best"`
	Text        string  `json:"text"` // both side by side, minute by minute
}

// Review reviews a lesson that ended; *FieldError where it goes on still.
func (l *Lesson) Review(ctx context.Context) (Review, error) {
	if !l.Ended {
		return Review{}, &FieldError{Field: "lines", Message: "this practice goes on; name the fault, or say give up"}
	}
	best, err := l.school.best(ctx, l.Level.ID, l.Seed)
	if err != nil {
		return Review{}, err
	}
	r := Review{Level: l.Level.ID, Seed: l.Seed, Complaint: l.job.Complaint, Hidden: l.hidden, HiddenWords: l.suspectWords(l.hidden), Found: l.Found, Minutes: l.minute,
		BestFound: best.Found, BestMinutes: best.minute, Hints: l.hints, Refused: l.refused, Yours: append([]Step{}, l.Steps...), Best: append([]Step{}, best.Steps...)}
	r.Text = r.text()
	return r, nil
}

// best is the assistant's own lesson on the same vehicle: it does what it proposes, and
// mends what it concludes.
func (s *School) best(ctx context.Context, level string, seed uint64) (*Lesson, error) {
	l, err := s.Start(level, seed)
	if err != nil {
		return nil, err
	}
	vain := 0
	for len(l.Steps) < mostTests && vain < mostNamed && !l.Found {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if c := l.c.Conclusion(); c != nil {
			for _, id := range c.Suspects {
				if l.name(id, true); l.Found {
					break
				}
				vain++
			}
			continue
		}
		next := l.c.Next(1)
		if len(next) == 0 {
			break
		}
		before := l.entry
		if l.take(next[0].Measure, next[0].Setup, next[0].Test, nil, true); l.entry == before {
			return nil, fmt.Errorf("level %s, seed %d: %s was proposed and cannot be taken", level, seed, next[0].Test.ID)
		}
	}
	return l, nil
}

// columns of the review on paper, in characters.
const (
	minuteWide = 6
	columnWide = 46
)

// text sets both paths side by side, a line for each minute at which something was over.
func (r *Review) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "The fault that was hidden: %s.\n\n", r.HiddenWords)
	row := func(minute, yours, best string) {
		line := fmt.Sprintf("%-*s%-*s  %s", minuteWide, minute, columnWide, yours, best)
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	row("min", "YOU", "THE ASSISTANT")
	for _, minute := range r.minutes() {
		yours, best := at(r.Yours, minute), at(r.Best, minute)
		for i := range max(len(yours), len(best)) {
			first := ""
			if i == 0 {
				first = fmt.Sprint(minute)
			}
			row(first, line(yours, i), line(best, i))
		}
	}
	b.WriteString("\n" + r.verdict())
	return b.String()
}

func (r *Review) verdict() string {
	found := func(is bool, minutes float64) string {
		if is {
			return fmt.Sprintf("found in %.0f min", math.Ceil(minutes))
		}
		return fmt.Sprintf("not found in %.0f min", math.Ceil(minutes))
	}
	bits := func(steps []Step) (n int, sum float64) {
		for _, s := range steps {
			if s.Named == "" {
				n, sum = n+1, sum+s.Bits
			}
		}
		return n, sum
	}
	yours, told := bits(r.Yours)
	best, bestTold := bits(r.Best)
	text := fmt.Sprintf("You: %s, %d tests, %.1f bits, %d hints, %d refused.\nThe assistant: %s, %d tests, %.1f bits.\n",
		found(r.Found, r.Minutes), yours, told, r.Hints, r.Refused, found(r.BestFound, r.BestMinutes), best, bestTold)
	if r.Level != "" {
		text += fmt.Sprintf("The same vehicle again: coilside practice --level %s --seed %d\n", r.Level, r.Seed)
	}
	return text
}

// minutes are those at which a step of either was over, in order.
func (r *Review) minutes() []int {
	var out []int
	for _, s := range slices.Concat(r.Yours, r.Best) {
		out = append(out, whole(s.Minute))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func whole(minute float64) int { return int(math.Ceil(minute - 1e-9)) }

// at is what was over at a minute, in lines as wide as a column.
func at(steps []Step, minute int) []string {
	var out []string
	for _, s := range steps {
		if whole(s.Minute) == minute {
			out = append(out, wrap(s.tell(), columnWide)...)
		}
	}
	return out
}

func line(of []string, i int) string {
	if i < len(of) {
		return of[i]
	}
	return ""
}

// tell says what a step was and what it told.
func (s *Step) tell() string {
	text := s.Words
	switch {
	case s.Named != "" && s.Right:
		return text + " - right"
	case s.Named != "":
		return text + " - wrong"
	}
	var told []string
	if s.Slipped {
		told = append(told, "the reading slipped")
	}
	told = append(told, fmt.Sprintf("%.1f bits", s.Bits))
	if len(s.Out) > 0 {
		told = append(told, "ruled out: "+strings.Join(s.Out, "; "))
	}
	return text + " [" + strings.Join(told, "; ") + "]"
}

// wrap breaks text into lines of at most so many characters; later ones are indented.
func wrap(text string, wide int) []string {
	var out []string
	now := ""
	for _, word := range strings.Fields(text) {
		if now != "" && len([]rune(now))+1+len([]rune(word)) > wide {
			out, now = append(out, now), " "
		}
		if now != "" {
			now += " "
		}
		now += word
	}
	return append(out, now)
}
