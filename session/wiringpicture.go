package session

import (
	"context"

	"coilside/rules"
	"coilside/session/picture"

	"github.com/rs/zerolog"
)

// DrawWiring draws the circuit of a rulebook wired as told, with no job about it. id tells
// drawings on one page apart. The error names a field that this rulebook's circuit cannot have.
func DrawWiring(ctx context.Context, book *rules.Book, c CircuitSpec, id, title string) (picture.Drawing, error) {
	s, err := New(Options{Book: book, Log: zerolog.Nop()})
	if err != nil {
		return picture.Drawing{}, err
	}
	var complaint string
	if len(book.Complaints) > 0 {
		complaint = book.Complaints[0].ID
	}
	seed := uint64(1)
	opened, err := s.Open(ctx, OpenRequest{Complaint: complaint, Circuit: c, Seed: &seed})
	if err != nil {
		return picture.Drawing{}, err
	}
	j, unlock, err := s.lockDiagnosis(ctx, opened.Job)
	if err != nil {
		return picture.Drawing{}, err
	}
	defer unlock()
	k, err := j.circuitPicture(nil)
	if err != nil {
		return picture.Drawing{}, err
	}
	k.ID, k.Title, k.List, k.Notes = id, title, false, nil
	return k.Draw(), nil
}
