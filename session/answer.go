package session

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/diagnosis"
)

// Answer is what a test gave, in exactly one form. In JSON it is a number,
// "OL", one of the test's choices, {"min":…,"max":…} or "unsure".
type Answer diagnosis.Answer

// The answers that are words but no choice of any test.
const (
	overRange = "OL"
	unsure    = "unsure"
)

// MarshalJSON writes the one form that is set.
func (a Answer) MarshalJSON() ([]byte, error) {
	switch {
	case a.Number != nil:
		return json.Marshal(*a.Number)
	case a.MinMax != nil:
		return json.Marshal(struct {
			Min float64 `json:"min"`
			Max float64 `json:"max"`
		}{a.MinMax[0], a.MinMax[1]})
	case a.Over:
		return json.Marshal(overRange)
	case a.Unsure:
		return json.Marshal(unsure)
	}
	return json.Marshal(a.Choice)
}

// UnmarshalJSON reads any of the forms and refuses everything else with an
// *Error that names the field "answer".
func (a *Answer) UnmarshalJSON(data []byte) error {
	*a = Answer{}
	data = bytes.TrimSpace(data)
	if len(data) == 0 {
		return badAnswer("answer is empty")
	}
	switch data[0] {
	case '"':
		return a.readWord(data)
	case '{':
		return a.readMinMax(data)
	case '[', 't', 'f', 'n':
		return badAnswer("answer must be a number, %q, one of the test's choices, %q or {\"min\":…,\"max\":…}, not %s",
			overRange, unsure, short(string(data)))
	}
	number, err := finite("answer", string(data))
	if err != nil {
		return err
	}
	a.Number = &number
	return nil
}

func (a *Answer) readWord(data []byte) error {
	var word string
	if err := json.Unmarshal(data, &word); err != nil {
		return badAnswer("answer is no JSON text: %s", short(string(data)))
	}
	switch {
	case word == "":
		return badAnswer("answer is empty")
	case strings.EqualFold(word, overRange):
		a.Over = true
	case word == unsure:
		a.Unsure = true
	default:
		a.Choice = word
	}
	return nil
}

func (a *Answer) readMinMax(data []byte) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	var ends [2]*float64
	if _, err := d.Token(); err != nil {
		return badAnswer("answer is no JSON")
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return badAnswer("answer is no JSON")
		}
		at := slices.Index([]string{"min", "max"}, name.(string))
		if at < 0 {
			return badAnswer("answer has a field %q; it takes min and max", short(name.(string)))
		}
		if ends[at] != nil {
			return badAnswer("answer.%s is given twice", name)
		}
		var raw json.RawMessage
		if err := d.Decode(&raw); err != nil || !strings.ContainsAny(string(raw[:1]), "-0123456789") {
			return badAnswer("answer.%s must be a number of volts", name)
		}
		value, problem := finite(fmt.Sprintf("answer.%s", name), string(raw))
		if problem != nil {
			return problem
		}
		ends[at] = &value
	}
	if _, err := d.Token(); err != nil {
		return badAnswer("answer is no JSON")
	}
	if _, err := d.Token(); err != io.EOF {
		return badAnswer("answer is no JSON")
	}
	if ends[0] == nil || ends[1] == nil {
		return badAnswer("answer needs both min and max")
	}
	if *ends[0] > *ends[1] {
		return badAnswer("answer.min is %s and answer.max is %s: min must not be above max", plain(*ends[0]), plain(*ends[1]))
	}
	a.MinMax = &[2]float64{*ends[0], *ends[1]}
	return nil
}

// finite reads a JSON number and refuses one that no float64 holds.
func finite(field, text string) (float64, error) {
	var number json.Number
	if err := json.Unmarshal([]byte(text), &number); err != nil {
		return 0, invalid(field, "%s is no number: %s", field, short(text))
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(value, 0) || math.IsNaN(value) {
		return 0, invalid(field, "%s is too large a number: %s", field, short(text))
	}
	return value, nil
}

func badAnswer(format string, args ...any) error { return invalid("answer", format, args...) }

// short cuts text that someone sent for showing in a message.
func short(text string) string {
	const most = 40
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + "…"
	}
	return text
}

// plain writes a number with up to four significant digits and no exponent
// where a technician would write none.
func plain(v float64) string {
	if v != 0 && (math.Abs(v) >= 1e7 || math.Abs(v) < 1e-4) {
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
