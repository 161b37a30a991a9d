package practice

import (
	"fmt"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/engine/study"
	"coilside/rules"
	"coilside/session/words"
)

// School is what lessons are made of: a rulebook made ready. It is safe for concurrent
// use.
type School struct {
	Knowledge *diagnosis.Knowledge
	Reader    *words.Reader
}

// Step is one thing done: a test, or a fault named.
type Step struct {
	Minute  float64  `json:"minute"`  // when it was over, minutes from the beginning
	Minutes float64  `json:"minutes"` // what it took
	Words   string   `json:"words"`   // "volts at 86, relay out: 12.4 V"
	Test    string   `json:"test,omitempty"`
	Bits    float64  `json:"bits"` // how far it moved the ranking
	Out     []string `json:"ruled_out"`
	Hint    bool     `json:"hint"`    // it was the assistant's
	Slipped bool     `json:"slipped"` // the reading was wrong
	Named   string   `json:"named,omitempty"`
	Right   bool     `json:"right"` // of a fault named
}

// Lesson is one vehicle and what was done to it. Not safe for concurrent use.
type Lesson struct {
	Level Level
	Seed  uint64
	Steps []Step
	Ended bool // the fault was found, or given up
	Found bool

	school  *School
	naming  float64 // minutes of a repair in vain
	job     *study.Job
	hands   *study.Hands
	c       *diagnosis.Case
	at      *rules.Setup // how the vehicle stands
	hinted  *diagnosis.Proposal
	refused int
	warned  bool // that the load may move
	hints   int
	entry   int
	minute  float64
	hidden  string
}

// Start deals the vehicle of that level and seed. Errors: *FieldError for an unknown
// level.
func (s *School) Start(level string, seed uint64) (*Lesson, error) {
	all, err := readLevels()
	if err != nil {
		return nil, err
	}
	l := &Lesson{Seed: seed, school: s, naming: all.NamingMinutes}
	if l.Level, err = all.find(level); err != nil {
		return nil, err
	}
	minutes, err := study.ReadMinutes()
	if err != nil {
		return nil, err
	}
	dealer := study.Dealer{Knowledge: s.Knowledge, Can: l.Level.hides}
	if l.job, err = dealer.Deal(l.Level.stratum(), seed, 0); err != nil {
		return nil, err
	}
	l.hidden, l.hands = l.job.Faults[0], study.NewHands(l.job, minutes)
	l.c, err = s.Knowledge.Open(diagnosis.Opening{Complaint: l.job.Complaint, Facts: l.job.Facts, Seed: l.job.DrawSeed()})
	return l, err
}

// Minute is how long the learner has been at it, minutes.
func (l *Lesson) Minute() float64 { return l.minute }

// Complaint is the complaint's id.
func (l *Lesson) Complaint() string { return l.job.Complaint }

var accessWords = []string{"under the bonnet", "under the dash", "under the vehicle"}

// Opening is what the learner is told at the beginning.
func (l *Lesson) Opening() string {
	book := l.school.Knowledge.Book()
	complaint := l.job.Complaint
	if c, ok := book.Complaint(complaint); ok {
		complaint = c.Words
	}
	var known, unknown []string
	for _, w := range book.Circuits[0].Wiring {
		name := w.ID
		if f, ok := book.Fact(w.ID); ok && f.Words != "" {
			name = f.Words
		}
		if v, ok := l.job.Facts[w.ID]; ok {
			known = append(known, name+": "+valueWords(v))
		} else {
			unknown = append(unknown, name)
		}
	}
	lines := []string{
		fmt.Sprintf("Practice, level %s (%s), seed %d. The vehicle is invented and simulated.", l.Level.ID, l.Level.Words, l.Seed),
		fmt.Sprintf("The complaint: %s. The relay is %s.", complaint, accessWords[l.job.Access]),
		"Known: " + strings.Join(known, "; ") + ".",
	}
	if len(unknown) > 0 {
		lines = append(lines, "Not known: "+strings.Join(unknown, "; ")+".")
	}
	return strings.Join(append(lines, "", help), "\n")
}

func valueWords(v rules.Value) string {
	if v.Kind == rules.Number {
		return fmt.Sprint(v.Number)
	}
	return strings.ReplaceAll(v.Text, "_", " ")
}

const help = `Ask for any measurement: "volts at 86, relay out, key on, switched on", "ohms 85 to 86 on the bench", "does it click?", "look at the feed fuse".
"hint" has the assistant propose a test, "do it" does that one. Name the fault or the repair to end: "it's the coil", "replace the relay". "give up" ends it too.`

// suspectWords says what is wrong.
func (l *Lesson) suspectWords(id string) string {
	if s, ok := l.school.Knowledge.Book().Suspect(id); ok && s.Words != "" {
		return s.Words
	}
	return strings.NewReplacer(".", ": ", "_", " ").Replace(id)
}
