package session

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/bench"
	"coilside/engine/pinout"
	"coilside/engine/replace"
	"coilside/engine/wire"
	"coilside/rules"
)

// This file is about jobs beside diagnosis: an errand of questions and measurements
// that ends in a calculation. Their log is the truth like any job's; what they stand
// at is worked out from it anew each time.

// coursePurposes are the purposes of such jobs.
var coursePurposes = []string{"identify", "bench", "choose", "wire"}

// onCourse reports whether the job is one of them.
func (j *job) onCourse() bool { return slices.Contains(coursePurposes, j.opening().Purpose) }

// coursePurpose is the purpose of an errand, "" of a diagnosis.
func coursePurpose(purpose string) string {
	if slices.Contains(coursePurposes, purpose) {
		return purpose
	}
	return ""
}

// diagnosing refuses what only a diagnosis can answer.
func (j *job) diagnosing() error {
	if j.onCourse() {
		return &Error{Kind: Invalid, Field: "job", Job: j.id,
			Message: fmt.Sprintf("job %s was opened to %s, not to diagnose: it has no suspects", j.id, courseWords[j.opening().Purpose])}
	}
	return nil
}

var courseWords = map[string]string{
	"identify": "tell the terminals of a relay apart", "bench": "test a relay on the bench", "choose": "choose a relay", "wire": "wire a circuit",
}

// errand is where such a job stands.
type errand struct {
	asks   []ask // what may be answered, in order; of identify the next reading only
	result CourseResult
	ready  bool   // there is a result
	done   bool   // nothing more is worth asking
	text   string // the result, for a screen
	wrong  error  // an answer that the calculation refuses
}

// ask is one question or measurement of an errand.
type ask struct {
	test   Test
	must   bool
	keys   []string
	when   string
	answer *Answer
	skip   bool
}

// open asks: neither answered nor skipped, and called for by the answers before.
func (c *errand) open() []ask {
	var out []ask
	for _, a := range c.asks {
		if a.answer == nil && !a.skip && c.calledFor(a.when) {
			out = append(out, a)
		}
	}
	return out
}

// calledFor tells whether "ask=word|word" holds; an empty word stands for no answer,
// and a bare "ask" for any answer.
func (c *errand) calledFor(when string) bool {
	if when == "" {
		return true
	}
	id, of, conditional := strings.Cut(when, "=")
	said, answered := "", false
	if i := c.find(id); i >= 0 && c.asks[i].answer != nil {
		said, answered = c.asks[i].answer.Choice, true
	}
	if !conditional {
		return answered
	}
	return slices.Contains(strings.Split(of, "|"), said)
}

func (c *errand) find(id string) int {
	return slices.IndexFunc(c.asks, func(a ask) bool { return a.test.ID == id })
}

// errand works out where the job stands; beside its log, more is counted as answered.
func (j *job) errand(more ...Reading) (errand, error) {
	readings, skipped := []Reading{}, map[string]bool{}
	for _, e := range standing(j.log) {
		switch e.Kind {
		case kindReading:
			readings = append(readings, *e.Reading)
			delete(skipped, e.Reading.Test)
		case kindSkipped:
			skipped[e.Skipped.Test] = true
		}
	}
	readings = append(readings, more...)
	book, o := j.base.book, *j.opening()
	c, err := questionsOf(book, o.Purpose)
	if err != nil {
		return errand{}, err
	}
	c.prefill(o)
	for _, r := range readings {
		if i := c.find(r.Test); i >= 0 {
			c.asks[i].answer = &r.Answer
			if r.Answer.Unsure {
				c.asks[i].answer, c.asks[i].skip = nil, true
			}
		}
	}
	for i := range c.asks {
		c.asks[i].skip = c.asks[i].skip || skipped[c.asks[i].test.ID]
	}
	if o.Purpose == "identify" {
		err = c.identify(book, o, readings, skipped)
	} else {
		err = c.calculate(book, o.Purpose)
	}
	return c, err
}

// questionsOf reads the table of courses.
func questionsOf(book *rules.Book, purpose string) (errand, error) {
	table, err := book.Table("courses", "say", "why", "unit", "of", "must", "use", "keys", "when", "mode", "red", "black", "coil", "minutes", "caution")
	if err != nil {
		return errand{}, calculationError(err)
	}
	var c errand
	for _, row := range table.Rows {
		if !strings.HasPrefix(row.Key, purpose+".") {
			continue
		}
		minutes, _ := row.Number("minutes")
		t := Test{ID: row.Key, Say: row.Text("say"), Why: row.Text("why"), Minutes: max(minutes, 0.5), Cautions: nonNil(splitBy(row.Text("caution"), "\x00")),
			Measure: rules.Measure{Mode: rules.Ask, Question: row.Text("say")}, Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off"},
			Answers: AnswerKind{Kind: "number", Unit: row.Text("unit")}}
		if mode := row.Text("mode"); mode != "" {
			t.Measure = rules.Measure{Mode: rules.Mode(mode), Red: row.Text("red"), Black: row.Text("black")}
		}
		if t.Setup.Coil = row.Text("coil"); t.Setup.Coil == "" {
			t.Setup.Coil = "rest"
		}
		if of := splitBy(row.Text("of"), "|"); of != nil {
			t.Answers = AnswerKind{Kind: "choice", Unit: row.Text("unit"), Of: of}
		}
		c.asks = append(c.asks, ask{test: t, must: row.Text("must") == "yes", keys: splitBy(row.Text("keys"), "|"), when: row.Text("when")})
	}
	return c, nil
}

func splitBy(text, by string) []string {
	if text == "" {
		return nil
	}
	return strings.Split(text, by)
}

// prefill takes what the opening told.
func (c *errand) prefill(o OpenRequest) {
	texts := map[string]string{
		"bench.suppression": o.Circuit.Suppression, "bench.contact": o.Circuit.Contact,
		"wire.load_kind": o.Circuit.Load.Kind, "choose.place.load_kind": o.Circuit.Load.Kind,
		"choose.place.contact": o.Circuit.Contact, "choose.place.control_side": o.Circuit.ControlSide, "choose.place.driver": o.Circuit.Driver,
		"choose.place.suppression": o.Circuit.Suppression, "choose.place.coil_positive": o.Circuit.CoilPositive, "choose.place.mounting": o.Environment.Mounting,
	}
	numbers := map[string]*float64{
		"bench.coil_volts": o.Circuit.SystemVolts, "bench.nominal_ohms": o.Circuit.CoilOhms, "wire.amps": o.Circuit.Load.Amps, "wire.system_volts": o.Circuit.SystemVolts,
		"choose.place.system_volts": o.Circuit.SystemVolts, "choose.place.load_amps": o.Circuit.Load.Amps, "choose.part.rated_amps": o.Relay.RatedAmps,
		"choose.place.hottest_c": o.Environment.TemperatureC,
	}
	for i := range c.asks {
		a := &c.asks[i]
		if text := texts[a.test.ID]; slices.Contains(a.test.Answers.Of, text) {
			a.answer = &Answer{Choice: text}
		}
		if n := numbers[a.test.ID]; n != nil {
			a.answer = &Answer{Number: n}
			if a.test.Answers.Kind == "choice" {
				a.answer = &Answer{Choice: plain(*n)}
			}
		}
	}
	if pins := map[string]string{"make": "4", "break": "4", "changeover": "5"}[o.Circuit.Contact]; pins != "" && o.Purpose == "identify" {
		c.asks[0].answer = &Answer{Choice: pins}
	}
}

// calculate fills the calculation's request with the answers and does it.
func (c *errand) calculate(book *rules.Book, purpose string) error {
	table, err := book.Table("courses", "use")
	if err != nil {
		return calculationError(err)
	}
	request := map[string]any{}
	for _, a := range c.asks {
		row, _ := table.Row(a.test.ID)
		if a.answer != nil && row.Text("use") == "" && c.calledFor(a.when) {
			put(request, strings.Split(strings.TrimPrefix(a.test.ID, purpose+"."), "."), a.value(request))
		}
	}
	data, err := json.Marshal(request)
	if err != nil {
		return err
	}
	c.result.Purpose = purpose
	switch purpose {
	case "bench":
		c.result.Bench, c.text, err = result(book, data, bench.Judge, func(v bench.Verdict) string { return v.Text })
	case "choose":
		c.result.Choose, c.text, err = result(book, sameLayout(data), replace.Judge, func(v replace.Chosen) string { return v.Text })
	case "wire":
		c.result.Wire, c.text, err = result(book, data, wire.Size, func(v wire.Sizing) string { return v.Text })
	}
	c.finish(err)
	return nil
}

// finish says how far the errand is.
func (c *errand) finish(err error) {
	c.ready, c.wrong = err == nil, err
	c.done = c.ready && len(c.open()) == 0
}

// value is an answer as the calculation takes it.
func (a ask) value(request map[string]any) any {
	switch {
	case a.answer.Over && a.test.ID == "bench.pull_in_volts":
		request["never_pulls_in"] = true
		return nil
	case a.answer.Over:
		return overRange
	case a.answer.Number != nil:
		return *a.answer.Number
	case a.test.Answers.Unit != "":
		n, _ := strconv.ParseFloat(a.answer.Choice, 64)
		return n
	case slices.Equal(a.test.Answers.Of, []string{"yes", "no"}):
		return a.answer.Choice == "yes"
	}
	return a.answer.Choice
}

func put(into map[string]any, path []string, value any) {
	if value == nil {
		return
	}
	if len(path) == 1 {
		into[path[0]] = value
		return
	}
	inner, ok := into[path[0]].(map[string]any)
	if !ok {
		inner = map[string]any{}
		into[path[0]] = inner
	}
	put(inner, path[1:], value)
}

// sameLayout writes "the same as before" the way the calculation compares it.
func sameLayout(data []byte) []byte {
	var c map[string]map[string]any
	if json.Unmarshal(data, &c) != nil || c["part"]["layout"] == nil {
		return data
	}
	if c["place"] == nil {
		c["place"] = map[string]any{}
	}
	c["place"]["layout"] = "usual"
	if c["part"]["layout"] == "same" {
		c["part"]["layout"] = "usual"
	}
	out, err := json.Marshal(c)
	if err != nil {
		return data
	}
	return out
}

func result[In, Out any](book *rules.Book, data []byte, with func(*rules.Book, In) (Out, error), text func(Out) string) (*Out, string, error) {
	var in In
	if err := json.Unmarshal(data, &in); err != nil {
		return nil, "", err
	}
	out, err := with(book, in)
	if err != nil {
		return nil, "", err
	}
	return &out, text(out), nil
}

// CourseResult is what a job beside diagnosis has come to: the answer of the
// calculation of its purpose.
type CourseResult struct {
	Purpose  string          `json:"purpose"`
	Identify *pinout.Pinout  `json:"identify,omitempty"`
	Bench    *bench.Verdict  `json:"bench,omitempty"`
	Choose   *replace.Chosen `json:"choose,omitempty"`
	Wire     *wire.Sizing    `json:"wire,omitempty"`
}
