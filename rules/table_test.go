package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

const carries = `tables:
  - id: carries
    words: what a wire carries
    columns: {awg: text, amps: ampere, ohms: ohm/metre, use: text}
    source: a book
    rows:
      - {awg: "18", amps: 20, ohms: 0.0209, use: lamps}
      - {awg: "16", amps: 25, source: practice}
`

func TestTableIsReadAndLaidOver(t *testing.T) {
	book, err := rules.Load(brokenBase, layer("a", carries), layer("shop", `tables:
  - id: carries
    rows:
      - {awg: "16", amps: 22, source: our shop}
      - {awg: "18", off: true}
      - {awg: "14", amps: 30, source: our shop}
`))
	require.NoError(t, err)
	table, err := book.Table("carries", "awg", "amps")
	require.NoError(t, err)
	require.Equal(t, []string{"16", "14"}, table.Keys())
	row, ok := table.Row("16")
	require.True(t, ok)
	amps, known := row.Number("amps")
	require.True(t, known)
	require.InDelta(t, 22, amps, 0)
	require.Equal(t, "our shop", row.Source)
	_, known = row.Number("ohms")
	require.False(t, known, "what a row leaves out is unknown")
	require.Equal(t, "shop/a.yaml", row.Pos.File)
	_, err = book.Table("carries", "colour")
	require.ErrorContains(t, err, "colour")
	_, err = book.Table("carry")
	require.ErrorContains(t, err, "carry")
}

func TestTableBeneathStays(t *testing.T) {
	book, err := rules.Load(brokenBase, layer("a", carries))
	require.NoError(t, err)
	table, err := book.Table("carries")
	require.NoError(t, err)
	row, _ := table.Row("18")
	require.Equal(t, "a book", row.Source)
	require.Equal(t, "lamps", row.Text("use"))
}
