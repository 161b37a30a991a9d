package session

import (
	"encoding/json"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/rules"
)

func TestAnswerForms(t *testing.T) {
	for _, text := range []string{`12.4`, `-0.05`, `0`, `"OL"`, `"click"`, `"unsure"`, `{"min":5,"max":11.5}`, `1e-3`} {
		var a Answer
		require.NoError(t, json.Unmarshal([]byte(text), &a), text)
		back, err := json.Marshal(a)
		require.NoError(t, err)
		want, got := any(nil), any(nil)
		require.NoError(t, json.Unmarshal([]byte(text), &want))
		require.NoError(t, json.Unmarshal(back, &got))
		require.Equal(t, want, got, text)
		forms := 0
		for _, set := range []bool{a.Number != nil, a.Over, a.Choice != "", a.MinMax != nil, a.Unsure} {
			if set {
				forms++
			}
		}
		require.Equal(t, 1, forms, text)
	}
}

func TestAnswerRefusals(t *testing.T) {
	for text, words := range map[string]string{
		`1e309`:                   "answer is too large a number: 1e309",
		`-1e400`:                  "too large",
		`null`:                    "answer must be a number",
		`true`:                    "not true",
		`[12]`:                    "not [12]",
		`""`:                      "answer is empty",
		`{}`:                      "needs both min and max",
		`{"min":1}`:               "needs both",
		`{"min":3,"max":1}`:       "min must not be above max",
		`{"min":1,"max":2,"x":3}`: `a field "x"; it takes min and max`,
		`{"Min":1,"max":2}`:       `"Min"`,
		`{"min":1,"min":1}`:       "answer.min is given twice",
		`{"min":"1","max":2}`:     "must be a number of volts",
		`{"min":1e309,"max":2}`:   "answer.min is too large",
		`{"min":null,"max":2}`:    "answer.min",
	} {
		var r struct {
			Answer Answer `json:"answer"`
		}
		err := json.Unmarshal([]byte(`{"answer":`+text+`}`), &r)
		var e *Error
		require.True(t, errors.As(err, &e), "%s: %v", text, err)
		require.Equal(t, Invalid, e.Kind, text)
		require.Contains(t, e.Field, "answer", text)
		require.Contains(t, e.Message, words, text)
	}
}

func FuzzAnswer(f *testing.F) {
	for _, s := range []string{`12.4`, `"OL"`, `{"min":5,"max":11}`, `1e309`, `{"min":`, `"\ud800"`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var a Answer
		if a.UnmarshalJSON(data) != nil {
			return
		}
		if _, err := json.Marshal(a); err != nil {
			t.Fatalf("%q was taken and cannot be written: %v", data, err)
		}
	})
}

func TestFitsSaysWhatTheTestTakes(t *testing.T) {
	listen, volts := rules.Measure{Mode: rules.Listen}, rules.Measure{Mode: rules.VoltsDC}
	ohms, span := rules.Measure{Mode: rules.Ohms}, rules.Measure{Mode: rules.MinMax}
	number, both := 3.0, [2]float64{1, 2}
	for _, c := range []struct {
		m     rules.Measure
		a     Answer
		words string // empty: it fits
	}{
		{listen, Answer{Choice: "click"}, ""},
		{listen, Answer{Unsure: true}, ""},
		{listen, Answer{Choice: "clik"}, `this test takes click, silent or buzz, not "clik"; did you mean "click"?`},
		{listen, Answer{Number: &number}, "this test takes click, silent or buzz, not 3"},
		{listen, Answer{Over: true}, "not OL"},
		{volts, Answer{Number: &number}, ""},
		{volts, Answer{Over: true}, "this test takes a number of volts, not OL"},
		{volts, Answer{Choice: "click"}, `not "click"`},
		{volts, Answer{MinMax: &both}, "not min 1 and max 2"},
		{ohms, Answer{Over: true}, ""},
		{ohms, Answer{Choice: "x"}, "this test takes a number of ohms or OL"},
		{span, Answer{MinMax: &both}, ""},
		{span, Answer{Number: &number}, "two numbers of volts"},
		{volts, Answer{}, "not nothing"},
	} {
		err := fits(c.m, answerKind(c.m, nil), c.a)
		if c.words == "" {
			require.NoError(t, err)
			continue
		}
		require.ErrorContains(t, err, c.words)
	}
}

func TestReadingsThatCannotBe(t *testing.T) {
	at := func(v float64) Answer { return Answer{Number: &v} }
	for _, c := range []struct {
		mode   rules.Mode
		a      Answer
		system float64
		ok     bool
	}{
		{rules.VoltsDC, at(12.4), 12, true},
		{rules.VoltsDC, at(-12.4), 12, true},
		{rules.VoltsDC, at(28.9), 12, true},
		{rules.VoltsDC, at(31), 12, false},
		{rules.VoltsDC, at(-31), 12, false},
		{rules.VoltsDC, at(124), 12, false},
		{rules.VoltsDC, at(31), 24, true},
		{rules.VoltsDC, at(31), 0, true},
		{rules.VoltsDC, at(61), 0, false},
		{rules.Ohms, at(84), 12, true},
		{rules.Ohms, at(0), 12, true},
		{rules.Ohms, at(-1), 12, false},
		{rules.Ohms, at(1e10), 12, false},
		{rules.AmpsDC, at(-18), 12, true},
		{rules.AmpsDC, at(1e5), 12, false},
		{rules.PullIn, at(-1), 12, false},
		{rules.MinMax, Answer{MinMax: &[2]float64{5, 40}}, 12, false},
		{rules.MinMax, Answer{MinMax: &[2]float64{11, 5}}, 12, false},
		{rules.MinMax, Answer{MinMax: &[2]float64{5, 11}}, 12, true},
	} {
		err := possible(rules.Measure{Mode: c.mode}, c.a, c.system)
		require.Equal(t, c.ok, err == nil, "%s %s on %v V: %v", c.mode, c.a.said(), c.system, err)
	}
}
