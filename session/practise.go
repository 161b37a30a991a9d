package session

import (
	"context"
	"errors"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync"

	"coilside/session/practice"
)

// PracticeRequest asks for a vehicle with a hidden fault.
type PracticeRequest struct {
	Level string  `json:"level,omitempty"` // easy if left out
	Seed  *uint64 `json:"seed,omitempty"`  // chosen and answered if left out
}

// PracticeStarted is what the learner is told at the beginning.
type PracticeStarted struct {
	Level     string `json:"level"`
	Seed      uint64 `json:"seed"`
	Rules     string `json:"rules"` // content hash: with other rules the seed may be another vehicle
	Complaint string `json:"complaint"`
	Text      string `json:"text"`
}

// PracticeLines is a practice as far as it went: the vehicle, and all that was said to it.
type PracticeLines struct {
	Level string   `json:"level,omitempty"`
	Seed  uint64   `json:"seed"`
	Lines []string `json:"lines"` // every line since the beginning, in order
}

// PracticeSaid answers the last line.
type PracticeSaid struct {
	Text   string  `json:"text"`
	Minute float64 `json:"minute"`
	Ended  bool    `json:"ended"`
}

// mostLines bounds the lines of one practice.
const mostLines = 100

// PracticeStart deals a vehicle with a hidden fault. Nothing is stored: level, seed and
// the lines said so far are the whole practice. Errors: Invalid naming level.
func (s *Service) PracticeStart(ctx context.Context, r PracticeRequest) (PracticeStarted, error) {
	if err := ctx.Err(); err != nil {
		return PracticeStarted{}, err
	}
	seed := rand.Uint64N(999999) + 1
	if r.Seed != nil {
		seed = *r.Seed
	}
	b := s.inForce()
	l, err := b.school().Start(r.Level, seed)
	if err != nil {
		return PracticeStarted{}, practiceError(err)
	}
	s.lessons.keep(lessonKey(b, l.Level.ID, seed, nil), l)
	return PracticeStarted{Level: l.Level.ID, Seed: seed, Rules: b.book.Hash, Complaint: l.Complaint(), Text: l.Opening()}, nil
}

// PracticeSay takes all lines said so far and answers the last. Errors: Invalid naming
// level or lines; Limit for too many lines.
func (s *Service) PracticeSay(ctx context.Context, r PracticeLines) (PracticeSaid, error) {
	if len(r.Lines) == 0 {
		return PracticeSaid{}, invalid("lines", "lines is missing: give all lines said so far, the newest last")
	}
	l, text, err := s.relive(ctx, r)
	if err != nil {
		return PracticeSaid{}, err
	}
	return PracticeSaid{Text: text, Minute: l.Minute(), Ended: l.Ended}, nil
}

// PracticeReview sets a practice that ended beside the assistant's own way on the same
// vehicle. Errors: Invalid naming level, or lines where it goes on still.
func (s *Service) PracticeReview(ctx context.Context, r PracticeLines) (practice.Review, error) {
	l := s.lessons.take(lessonKey(s.inForce(), r.Level, r.Seed, r.Lines))
	if l == nil {
		var err error
		if l, _, err = s.relive(ctx, r); err != nil {
			return practice.Review{}, err
		}
	}
	review, err := l.Review(ctx)
	return review, practiceError(err)
}

// relive says the lines to the vehicle, from where one that is kept stands.
func (s *Service) relive(ctx context.Context, r PracticeLines) (l *practice.Lesson, text string, err error) {
	if len(r.Lines) > mostLines {
		e := refuse(Limit, "a practice takes at most %d lines", mostLines)
		e.Field = "lines"
		return nil, "", e
	}
	b := s.inForce()
	said := max(len(r.Lines)-1, 0)
	if l = s.lessons.take(lessonKey(b, r.Level, r.Seed, r.Lines[:said])); l == nil {
		said = 0
		if l, err = b.school().Start(r.Level, r.Seed); err != nil {
			return nil, "", practiceError(err)
		}
	}
	for _, line := range r.Lines[said:] {
		if err := ctx.Err(); err != nil {
			return nil, "", err
		}
		if text, err = l.Say(line); err != nil {
			return nil, "", practiceError(err)
		}
	}
	s.lessons.keep(lessonKey(b, r.Level, r.Seed, r.Lines), l)
	return l, text, nil
}

func (b *base) school() *practice.School {
	return &practice.School{Knowledge: b.knowledge, Reader: b.reader}
}

func practiceError(err error) error {
	if field, ok := errors.AsType[*practice.FieldError](err); ok {
		return &Error{Kind: Invalid, Field: field.Field, Message: field.Message, Nearest: field.Nearest}
	}
	return err
}

// lessons keeps the vehicles of the last few practices, so that one more line need not
// say all lines again. What is lost is made again from the lines.
type lessons struct {
	mu    sync.Mutex
	order []string
	by    map[string]*practice.Lesson
}

const mostLessons = 8

func lessonKey(b *base, level string, seed uint64, lines []string) string {
	return strings.Join(append([]string{b.book.Hash, level, strconv.FormatUint(seed, 10)}, lines...), "\x00")
}

// take hands a lesson out; it is not kept any more.
func (k *lessons) take(key string) *practice.Lesson {
	k.mu.Lock()
	defer k.mu.Unlock()
	l := k.by[key]
	delete(k.by, key)
	return l
}

func (k *lessons) keep(key string, l *practice.Lesson) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.by == nil {
		k.by = map[string]*practice.Lesson{}
	}
	k.by[key] = l
	k.order = append(k.order, key)
	for len(k.order) > mostLessons {
		delete(k.by, k.order[0])
		k.order = k.order[1:]
	}
}
