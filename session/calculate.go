package session

import (
	"context"
	"errors"

	"coilside/engine/bench"
	"coilside/engine/drop"
	"coilside/engine/pinout"
	"coilside/engine/quantity"
	"coilside/engine/replace"
	"coilside/engine/wire"
	"coilside/rules"
	"coilside/session/words"
)

// The work around the fault as plain calculations: nothing is stored, and the tables
// and limits are those of the rules in force.

// IdentifyRelay says which terminal of an unmarked relay is which, or what to read next.
func (s *Service) IdentifyRelay(ctx context.Context, u pinout.Unmarked) (pinout.Pinout, error) {
	return calculate(ctx, s, pinout.Identify, u)
}

// BenchRelay judges a relay by what it reads on the bench.
func (s *Service) BenchRelay(ctx context.Context, b bench.Bench) (bench.Verdict, error) {
	return calculate(ctx, s, bench.Judge, b)
}

// ChooseRelay says whether a part may go into a place.
func (s *Service) ChooseRelay(ctx context.Context, c replace.Choice) (replace.Chosen, error) {
	return calculate(ctx, s, replace.Judge, c)
}

// JudgeDrop holds voltage drops under load against their limits.
func (s *Service) JudgeDrop(ctx context.Context, p drop.Path) (drop.Judgement, error) {
	return calculate(ctx, s, drop.Judge, p)
}

// SizeWire sizes the wires, the fuse and the relay of a new circuit.
func (s *Service) SizeWire(ctx context.Context, r wire.Run) (wire.Sizing, error) {
	return calculate(ctx, s, wire.Size, r)
}

// DropOfWire computes what a known wire takes of the voltage.
func (s *Service) DropOfWire(ctx context.Context, w wire.Stretch) (wire.Loss, error) {
	return calculate(ctx, s, wire.Lose, w)
}

func calculate[In, Out any](ctx context.Context, s *Service, with func(*rules.Book, In) (Out, error), in In) (Out, error) {
	var none Out
	if err := ctx.Err(); err != nil {
		return none, err
	}
	out, err := with(s.inForce().book, in)
	if err != nil {
		return none, calculationError(err)
	}
	return out, nil
}

// calculationError makes what a calculation refuses one that callers can act on.
func calculationError(err error) error {
	if field, ok := errors.AsType[*quantity.FieldError](err); ok {
		return &Error{Kind: Invalid, Field: field.Field, Message: field.Message, Nearest: field.Nearest}
	}
	if unsafe, ok := errors.AsType[*replace.UnsafeError](err); ok {
		return &Error{Kind: Unsafe, Field: "place.hazard", Message: unsafe.Message}
	}
	if wrong, ok := errors.AsType[*rules.Error](err); ok {
		return rulesError(rules.Errors{wrong})
	}
	return err
}

// CheckWords tells whether the plain-words reader knows what a rulebook's words are said to mean.
// The error is a rules.Errors.
func CheckWords(book *rules.Book) error {
	_, err := words.New(book.Words)
	return err
}

// CheckTables tells whether the calculations can use a rulebook's tables and
// parameters; a rulebook without any tables has nothing to check. The error is a
// rules.Errors.
func CheckTables(book *rules.Book) error {
	if len(book.Tables) == 0 {
		return nil
	}
	five, amps, metres, volts := 5, quantity.Amps(10), quantity.Metres(3), quantity.Volts(12)
	drops := []drop.Piece{{Kind: "wire", Volts: new(quantity.Volts)}}
	_, pins := pinout.Identify(book, pinout.Unmarked{Pins: &five})
	_, tested := bench.Judge(book, bench.Bench{CoilVolts: &volts, Click: "click", Working: &bench.ContactRead{Volts: new(quantity.Volts), Amps: &amps}})
	_, chosen := replace.Judge(book, replace.Choice{Part: replace.Part{IP: "IP54"}, Place: replace.Place{LoadKind: "motor", LoadAmps: &amps, Mounting: "cab"}})
	_, judged := drop.Judge(book, drop.Path{SystemVolts: &volts, Amps: &amps, Parts: drops})
	_, sized := wire.Size(book, wire.Run{Amps: &amps, Length: &metres, SystemVolts: &volts})
	var found rules.Errors
	for _, err := range []error{pins, tested, chosen, judged, sized} {
		if wrong, ok := errors.AsType[*rules.Error](err); ok {
			found = append(found, wrong)
		}
	}
	if len(found) > 0 {
		return found
	}
	return nil
}
