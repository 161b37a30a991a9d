// Package inrush holds what a load asks of a contact when it is switched.
package inrush

import (
	"fmt"
	"math"

	"coilside/engine/quantity"
	"coilside/rules"
)

// Kinds are the kinds of load.
var Kinds = []string{"heater", "lamp", "motor", "solenoid", "electronics", "unknown"}

// Needed is the rating that a contact needs for a load.
type Needed struct {
	Amps    float64 // resistive rating, amperes
	Because string
	Source  string
}

// Rating gives the resistive rating that a load of that kind and running current
// (amperes, > 0) needs: the inrush must stay within what a relay bears above its
// rating for as long as the inrush lasts. Tables inrush and relay_overload. The
// error is a *rules.Error for tables that cannot be used.
func Rating(book *rules.Book, kind string, amps float64) (Needed, error) {
	loads, err := book.Table("inrush", "factor", "seconds", "breaking", "words")
	if err != nil {
		return Needed{}, err
	}
	row, ok := loads.Row(kind)
	if !ok {
		return Needed{}, &rules.Error{Pos: loads.Pos, Code: rules.CodeName, Message: fmt.Sprintf("table \"inrush\" has no row %q", kind)}
	}
	factor, _ := row.Number("factor")
	seconds, _ := row.Number("seconds")
	breaking, _ := row.Number("breaking")
	bears, from, err := overload(book, seconds)
	if err != nil {
		return Needed{}, err
	}
	times := max(1, factor/bears, breaking)
	n := Needed{Amps: amps * times, Because: row.Text("words"), Source: row.Source}
	if factor > bears {
		n.Because += fmt.Sprintf(", and a relay bears %s times its rating for %s s", quantity.Plain(bears), quantity.Plain(seconds))
		n.Source += "; " + from
	}
	return n, nil
}

// overload gives how many times its rating a relay bears for that long: the
// figure of the shortest time published that is long enough.
func overload(book *rules.Book, seconds float64) (factor float64, source string, err error) {
	table, err := book.Table("relay_overload", "factor", "seconds")
	if err != nil {
		return 0, "", err
	}
	factor, least := 1.0, math.Inf(1)
	for _, row := range table.Rows {
		lasts, _ := row.Number("seconds")
		if f, ok := row.Number("factor"); ok && lasts >= seconds && lasts < least {
			factor, least, source = f, lasts, row.Source
		}
	}
	return factor, source, nil
}
