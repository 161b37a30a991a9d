package rules

import (
	"math"
	"slices"

	"go.yaml.in/yaml/v3"
)

// textColumn stands in place of a unit for a column of words.
const textColumn = "text"

// mergeTable reads a table; over one of an earlier layer it lays its rows by their
// first cell.
func (r *reader) mergeTable(n *yaml.Node, m *merge) {
	o := r.object(n, "table", "id", "words", "columns", "source", "rows")
	t := &Table{ID: o.id(), Words: o.text("words"), Source: o.text("source"), Pos: o.pos(), at: o.spots()}
	before, known := m.book.items[itemKey{"table", t.ID}]
	earlier := known && before.layer < m.layer
	if earlier {
		t.lieOver(m.book.Tables[before.index], o)
	} else {
		o.need("columns", "rows")
		t.Columns = r.columns(o)
	}
	if len(t.Columns) > 0 {
		r.rows(o, t, earlier)
	}
	put(m, r, idNode(n), "table", t.ID, &m.book.Tables, t)
}

// lieOver takes from the table beneath what the later layer leaves out.
func (t *Table) lieOver(under *Table, o *object) {
	t.Columns, t.Rows = under.Columns, slices.Clone(under.Rows)
	if t.Words == "" {
		t.Words = under.Words
	}
	if o.has("columns") {
		o.r.fail(o.key("columns"), CodeField, "leave them out; give rows", "the columns of table %q stand at %s", t.ID, under.Pos)
	}
}

// columns reads {id: unit, …} in order.
func (r *reader) columns(o *object) []Column {
	n := o.at("columns")
	if n == nil {
		return nil
	}
	if n.Kind != yaml.MappingNode || len(n.Content) == 0 {
		r.fail(n, CodeType, "columns: {awg: text, amps: ampere}", `"columns" gives each column its unit, but this is %s`, nodeKind(n))
		return nil
	}
	var out []Column
	for i := 0; i+1 < len(n.Content); i += 2 {
		name, of := n.Content[i], n.Content[i+1]
		c := Column{ID: name.Value, Text: of.Value == textColumn, Unit: of.Value}
		switch _, isUnit := parseUnit(of.Value); {
		case c.Text || of.Value == "number":
			c.Unit = ""
		case !isUnit:
			r.fail(of, CodeUnit, didYouMean(of.Value, append(Units(), textColumn, "number")), "%q is not a unit", of.Value)
		}
		switch {
		case name.Value == "source" || name.Value == "off" || !validID(name.Value):
			r.fail(name, CodeValue, "choose another name", "%q can't be a column", name.Value)
		case i == 0 && !c.Text:
			r.fail(of, CodeType, "the first column names the row: text", "the first column is of text")
		case slices.ContainsFunc(out, func(have Column) bool { return have.ID == c.ID }):
			r.fail(name, CodeDuplicate, "keep one of them", "the column %q is given twice", name.Value)
		}
		out = append(out, c)
	}
	return out
}

func (r *reader) rows(o *object, t *Table, earlier bool) {
	names := []string{"source", "off"}
	for _, c := range t.Columns {
		names = append(names, c.ID)
	}
	here := map[string]Pos{}
	for _, n := range o.items("rows") {
		ro := r.object(n, "row", names...)
		if !ro.need(t.Columns[0].ID) {
			continue
		}
		row := ro.row(t)
		if first, twice := here[row.Key]; twice {
			r.fail(n, CodeDuplicate, "keep one of them", "the row %q is given twice; the first is at %s", row.Key, first)
			continue
		}
		here[row.Key] = row.Pos
		at := slices.IndexFunc(t.Rows, func(have *Row) bool { return have.Key == row.Key })
		switch {
		case ro.flag("off") && at >= 0 && earlier:
			t.Rows = slices.Delete(slices.Clone(t.Rows), at, at+1)
		case ro.flag("off"):
			r.fail(n, CodeName, didYouMean(row.Key, t.Keys()), "there is no row %q to switch off", row.Key)
		case row.Source == "":
			r.fail(n, CodeMissing, `source: practice, where none was published`, `the row %q has no "source", and its table none for all`, row.Key)
		case at >= 0:
			t.Rows[at] = row
		default:
			t.Rows = append(t.Rows, row)
		}
	}
}

func (o *object) row(t *Table) *Row {
	row := &Row{Pos: o.pos(), Source: o.text("source"), texts: map[string]string{}, numbers: map[string]float64{}}
	if row.Source == "" {
		row.Source = t.Source
	}
	for _, c := range t.Columns {
		switch {
		case !o.has(c.ID):
		case c.Text:
			row.texts[c.ID] = o.text(c.ID)
		default:
			row.numbers[c.ID] = o.number(c.ID, 0, -math.MaxFloat64, math.MaxFloat64)
		}
	}
	row.Key = row.texts[t.Columns[0].ID]
	return row
}
