// Package practice is a lesson: a hidden fault in a simulated vehicle, a learner who asks
// for any measurement in plain words or takes the assistant's hints, and in the end the
// learner's path beside the one that the assistant takes on the same vehicle. It is pure:
// the same level, seed and lines give the same lesson.
package practice

import (
	"bytes"
	_ "embed"
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	"coilside/engine/study"
	"coilside/engine/vehicle"
	"coilside/rules"
)

//go:embed levels.yaml
var levelFile []byte

// Level is how hard a lesson is.
type Level struct {
	ID     string  `yaml:"id"`
	Words  string  `yaml:"words"`
	Untold float64 `yaml:"untold"` // share of the wiring that is not told, 0..1
	Slips  float64 `yaml:"slips"`  // chance that a reading is wrong, 0..1

	LeastPrior   float64 `yaml:"least_prior"`
	MostPrior    float64 `yaml:"most_prior"` // 0 = no bound
	ComesAndGoes bool    `yaml:"comes_and_goes"`
}

type levels struct {
	NamingMinutes float64 `yaml:"naming_minutes"`
	Levels        []Level `yaml:"levels"`
}

func readLevels() (levels, error) {
	var all levels
	d := yaml.NewDecoder(bytes.NewReader(levelFile))
	d.KnownFields(true)
	if err := d.Decode(&all); err != nil {
		return all, fmt.Errorf("levels.yaml: %w", err)
	}
	return all, nil
}

// Levels lists the levels, the easiest first.
func Levels() ([]Level, error) {
	all, err := readLevels()
	return all.Levels, err
}

// hides reports whether a suspect may be the hidden fault at this level.
func (l Level) hides(s *rules.Suspect) bool {
	if l.ComesAndGoes && vehicle.Intermittent(s) {
		return true
	}
	return s.Prior >= l.LeastPrior && (l.MostPrior == 0 || s.Prior <= l.MostPrior)
}

func (l Level) stratum() study.Stratum {
	return study.Stratum{ID: "practice-" + l.ID, Words: l.Words, Faults: 1, Untold: l.Untold, Wrong: l.Slips}
}

// FieldError refuses a value that cannot be; Nearest is the nearest one that can.
type FieldError struct{ Field, Message, Nearest string }

func (e *FieldError) Error() string { return e.Message }

// find finds a level by its id; "" is the first.
func (l levels) find(id string) (Level, error) {
	if id == "" {
		return l.Levels[0], nil
	}
	var ids []string
	for _, level := range l.Levels {
		if level.ID == id {
			return level, nil
		}
		ids = append(ids, level.ID)
	}
	e := &FieldError{Field: "level", Message: fmt.Sprintf("there is no level %q; there are %s", cut(id), strings.Join(ids, ", ")), Nearest: rules.Nearest(id, ids)}
	if e.Nearest != "" {
		e.Message += fmt.Sprintf("; did you mean %q?", e.Nearest)
	}
	return Level{}, e
}

// cut shortens what somebody sent for showing.
func cut(text string) string {
	if r := []rune(text); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return text
}
