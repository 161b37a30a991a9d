package rulecase_test

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session/rulecase"
)

func read(t *testing.T, text string) []rulecase.Case {
	t.Helper()
	cases, err := rulecase.Read(fstest.MapFS{"cases/a.yaml": {Data: []byte(text)}})
	require.NoError(t, err)
	return cases
}

func relay(t *testing.T) *rules.Book {
	t.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	return book
}

// A whole job opens on its facts, takes its readings in order, and is held against what is
// expected of the ranking; what differs is said in the words of the case file.
func TestAWholeJobIsPlayed(t *testing.T) {
	cases := read(t, `
given: {complaint: dead, contact: make, control_side: ground, power_enters: 30, load_side: ground, load_hazard: none, system_volts: 12}
cases:
  - id: right
    readings:
      - relay_coil_ohms: OL
    expect: {rises: [coil.open], falls: [feed_fuse.open], among: [coil.open]}
  - id: wrong
    readings:
      - relay_coil_ohms: OL
    expect: {falls: [coil.open], suspects: [load.open], conclusion: [load.open, load_wire.open], next: nothing_left}
  - id: also_wrong
    readings:
      - relay_coil_ohms: OL
      - skip: battery_rest_volts
      - {repair: coil.open, result: gone}
    expect: {rises: [load.open], conclusion: [load.open]}
`)
	p := rulecase.NewPlayer(relay(t))
	right := p.Play(cases[0])
	require.True(t, right.Passed(), "%v %v", right.Err, right.Misses)
	require.Equal(t, []string{"relay_coil_ohms"}, right.Tests)
	require.Equal(t, []string{"coil.open", "feed_fuse.open"}, right.Suspects)
	require.Equal(t, "cases/a.yaml", right.Case.File)
	require.Equal(t, 4, right.Case.Line)

	require.ErrorContains(t, p.Play(cases[1]).Err, `there is no test "nothing_left"`)
	wrong := p.Play(cases[2])
	require.NoError(t, wrong.Err)
	require.Equal(t, "fails", wrong.State())
	require.Contains(t, wrong.Misses[0], "conclusion: should be load.open, but is ")
}

func TestReadingsThatCannotBeAreNamed(t *testing.T) {
	p := rulecase.NewPlayer(relay(t))
	for reading, message := range map[string]string{
		`relay_coil_ohms: many`:               `"many" is no number`,
		`relay_coil_ohm: 3`:                   `did you mean "relay_coil_ohms"?`,
		`listen_click: clik`:                  `did you mean "click"?`,
		`{repair: coil.open, result: mended}`: `gone, still_there or changed`,
		`{relay_coil_ohms: 3, coil_drop: 12}`: `a reading is {TEST: ANSWER}`,
		`{repair: coil.opne, result: gone}`:   `did you mean "coil.open"?`,
		`relay_coil_ohms: {ohms: 3}`:          `an answer is a number`,
	} {
		c := read(t, "cases:\n  - id: x\n    facts: {complaint: dead}\n    readings:\n      - "+reading+"\n")[0]
		require.ErrorContains(t, p.Play(c).Err, message, reading)
	}
}

// Coverage counts passing cases only, and the items of one's own files only.
func TestCoverage(t *testing.T) {
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()}, rules.Layer{Name: "shop", FS: fstest.MapFS{"a.yaml": {Data: []byte(`rules:
  - {id: ours, when: complaint == "dead", then: [{do: weigh, suspects: [coil.open], by: 3}], because: x, source: practice}
  - {id: other, when: complaint == "weak", then: [{do: weigh, suspects: [coil.open], by: 3}], because: x, source: practice}
`)}}})
	require.NoError(t, err)
	cases := read(t, `
cases:
  - {id: ours, facts: {complaint: dead}, expect: {weights: {coil.open: 3}}}
  - {id: fails, facts: {complaint: weak}, expect: {weights: {coil.open: 4}}}
`)
	p := rulecase.NewPlayer(book)
	all := []rulecase.Outcome{p.Play(cases[0]), p.Play(cases[1])}
	require.Equal(t, []string{"weights: coil.open should be 4, but is 3"}, all[1].Misses)
	c := rulecase.Cover(book, all, func(file string) bool { return file == "shop/a.yaml" })
	require.Equal(t, 2, c.Rules.All)
	require.Equal(t, []string{"other"}, c.Rules.Missing)
	require.Equal(t, 50, c.Rules.Percent())
	require.Equal(t, 100, c.Suspects.Percent(), "there are none of its own")
}
