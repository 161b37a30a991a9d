package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Table is a table of the trade, such as what wires carry. Its first column holds
// text and names the row; a later layer may replace single rows by that name.
type Table struct {
	ID      string
	Words   string
	Source  string // of the rows that name none of their own
	Columns []Column
	Rows    []*Row
	Pos     Pos

	at spots
}

// Column is one column of a table. Unit is that of its numbers; a column of Text
// has none.
type Column struct {
	ID   string
	Text bool
	Unit string // as written: "ampere", "ohm/metre"; "" = bare number
}

// Row is one line of a table. What a row leaves out is unknown.
type Row struct {
	Key    string // its first cell
	Source string // where it was published; "practice" = common practice without a published source
	Pos    Pos

	texts   map[string]string
	numbers map[string]float64
}

// Text gives a cell of a text column; "" where the row leaves it out.
func (r *Row) Text(column string) string { return r.texts[column] }

// Number gives a cell of a number column, false where the row leaves it out.
func (r *Row) Number(column string) (float64, bool) {
	v, ok := r.numbers[column]
	return v, ok
}

// Row finds a row by its first cell.
func (t *Table) Row(key string) (*Row, bool) {
	i := slices.IndexFunc(t.Rows, func(r *Row) bool { return r.Key == key })
	if i < 0 {
		return nil, false
	}
	return t.Rows[i], true
}

// Keys lists the first cells, in the order of the table.
func (t *Table) Keys() []string {
	keys := make([]string, len(t.Rows))
	for i, r := range t.Rows {
		keys[i] = r.Key
	}
	return keys
}

// Table finds a table by id and checks that it has the columns. The error is an
// *Error: CodeName for no such table, CodeMissing for a column it lacks.
func (b *Book) Table(id string, columns ...string) (*Table, error) {
	i := slices.IndexFunc(b.Tables, func(t *Table) bool { return t.ID == id })
	if i < 0 {
		return nil, &Error{Code: CodeName, Message: fmt.Sprintf("these rules hold no table %q", id)}
	}
	t := b.Tables[i]
	var lacking []string
	for _, c := range columns {
		if !slices.ContainsFunc(t.Columns, func(have Column) bool { return have.ID == c }) {
			lacking = append(lacking, c)
		}
	}
	if len(lacking) > 0 {
		return nil, &Error{Pos: t.Pos, Code: CodeMissing,
			Message: fmt.Sprintf("table %q lacks the column %s", id, strings.Join(lacking, ", "))}
	}
	if len(t.Rows) == 0 {
		return nil, &Error{Pos: t.Pos, Code: CodeMissing, Message: fmt.Sprintf("table %q has no rows", id)}
	}
	return t, nil
}

// Value gives a parameter's value. The error is an *Error: CodeName for no such
// parameter.
func (b *Book) Value(id string) (float64, error) {
	p, ok := b.Parameter(id)
	if !ok {
		return 0, &Error{Code: CodeName, Message: fmt.Sprintf("these rules hold no parameter %q", id)}
	}
	return p.Value, nil
}

// Values reads several parameters by id; the error is that of Value, for the first
// id in alphabetical order that is not there.
func (b *Book) Values(into map[string]*float64) error {
	for _, id := range slices.Sorted(maps.Keys(into)) {
		v, err := b.Value(id)
		if err != nil {
			return err
		}
		*into[id] = v
	}
	return nil
}
