package survey_test

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/engine/survey"
	"coilside/rules"
	"coilside/rulesets"
)

func surveyed(t *testing.T, layers ...rules.Layer) (*rules.Book, *survey.Result) {
	t.Helper()
	book, err := rules.Load(append([]rules.Layer{{Name: "relay", FS: rulesets.Relay()}}, layers...)...)
	require.NoError(t, err)
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	r, err := survey.Of(book, k.Model())
	require.NoError(t, err)
	return book, r
}

// Whatever is suspected of the shipped circuit, some test tells it from the rest, and every
// test tells something.
func TestShippedSuspectsCanBeToldApart(t *testing.T) {
	book, r := surveyed(t)
	assert.Empty(t, r.Findings(book))
	assert.Greater(t, len(r.Best), 1000, "pairs looked at")
}

// A suspect that does to the circuit what another does, with another repair, is a twin; a test
// with both leads on one wire tells nothing; one at a place that its wirings lack is never taken.
func TestTwinsAndIdleTestsAreFound(t *testing.T) {
	shop := `
suspects:
  - id: load_plug.open
    words: the load's plug is open
    prior: 1
    does: [{to: load_wire, open: true}]
    repair: {do: Renew the plug., verify: watch_on}
tests:
  - id: nothing_between
    measure: {mode: volts_dc, red: battery.negative, black: battery.negative}
    setup: {relay: in, key: on, command: on}
    say: Read volts between the battery's negative post and itself.
  - id: nowhere
    when: contact == "make"
    measure: {mode: volts_dc, red: socket.87a, black: battery.negative}
    setup: {relay: out, key: on, command: on}
    say: Read volts at cavity 87a of a relay that has none.
`
	book, r := surveyed(t, rules.Layer{Name: "shop", FS: fstest.MapFS{"shop.yaml": {Data: []byte(shop)}}})
	assert.Equal(t, []survey.Pair{{"load_wire.open", "load_plug.open"}}, r.Twins)
	assert.Equal(t, []string{"nothing_between", "nowhere"}, r.Idle)
	var at []string
	for _, f := range r.Findings(book) {
		at = append(at, f.Pos.String()+" "+f.Message)
	}
	assert.Equal(t, []string{
		`shop/shop.yaml:3:9 no test can tell "load_plug.open" from "load_wire.open", though their repairs differ`,
		`shop/shop.yaml:9:9 "nothing_between" tells no two suspects apart, in any wiring`,
		`shop/shop.yaml:13:9 no wiring has the places that "nowhere" measures`,
	}, at)
}
