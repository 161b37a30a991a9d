package session

import (
	"errors"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"coilside/rules"
	"coilside/session/words"
)

// tellCourse takes what was said about a job beside diagnosis: answers that name
// what they are about, an answer to what was just asked, or a command.
func (t *turn) tellCourse(text string) error {
	c, err := t.j.errand()
	if err != nil {
		return err
	}
	if t.j.opening().Purpose == "identify" {
		if took, err := t.tellPins(c, text); took || err != nil {
			return err
		}
	}
	open := c.open()
	var expected *Test
	if len(open) > 0 {
		expected = &open[0].test
	}
	if answers := c.heard(text, expected); len(answers) > 0 {
		for _, a := range answers {
			if err := t.tryCourse(a.test, *a.answer); err != nil {
				return err
			}
		}
		return nil
	}
	return t.tellExpected(expected, text)
}

// tryCourse stores an answer, or says why not.
func (t *turn) tryCourse(test Test, a Answer) error {
	err := t.takeCourse(test, a, nil)
	if e, ok := errors.AsType[*Error](err); ok && (e.Kind == Invalid || e.Kind == Unsafe) {
		t.refused(err)
		return nil
	}
	return err
}

// pinsSaid hears "a to b is 84": two pins and what was read between them.
var pinsSaid = regexp.MustCompile(`(?i)^\s*(?:pins?\s+)?([a-e])\s*(?:to|and|-|,|/|–)?\s*([a-e])\b[\s:,=]*(?:is|are|reads|shows|was)?\s*(.*)$`)

// tellPins takes a reading between pins that were named. Said of the pins just asked,
// it is of the state asked for; of others, of ohms at rest.
func (t *turn) tellPins(c errand, text string) (took bool, err error) {
	m := pinsSaid.FindStringSubmatch(text)
	if m == nil || m[3] == "" {
		return false, nil
	}
	one, other := strings.ToLower(m[1]), strings.ToLower(m[2])
	test, ok := pinAsk("ohms_" + one + "_" + other)
	if !ok || one == other {
		return false, nil
	}
	if i := len(c.asks) - 1; i > 0 {
		asked := c.asks[i].test
		if strings.HasSuffix(asked.ID, one+"_"+other) || strings.HasSuffix(asked.ID, "ohms_"+other+"_"+one) {
			test = asked
		}
	}
	return true, t.tellExpected(&test, m[3])
}

// tellExpected takes an answer to one test, or a command.
func (t *turn) tellExpected(expected *Test, text string) error {
	ctx := words.Context{SystemVolts: 24}
	if expected != nil {
		ctx.Expected = &words.Expected{ID: expected.ID, Measure: readAs(*expected), Setup: expected.Setup, Kind: expected.Answers.Kind, Of: expected.Answers.Of}
	}
	heard := t.j.base.reader.Read(text, ctx)
	for _, f := range heard.Findings {
		if expected != nil && f.Kind == words.KindAnswer {
			return t.tryCourse(*expected, Answer(f.Answer))
		}
	}
	if expected != nil {
		if a, ok := answerOf(*expected, text); ok {
			return t.tryCourse(*expected, a)
		}
	}
	for _, c := range heard.Commands {
		if done, err := t.commandCourse(c, expected); done {
			return err
		}
	}
	line := "I did not take that"
	if expected != nil && expected.Answers.Kind == "choice" {
		line += ". Say " + strings.ReplaceAll(either(expected.Answers.Of), "_", " ")
	} else if expected != nil && beeps.MatchString(text) {
		line = "A beep may be a contact or a coil. Read the ohms and tell me the number"
	} else if expected != nil {
		line += ". Say a number, such as " + exampleOf(*expected)
	}
	if expected == nil {
		t.say("I did not take that. Nothing is asked any more; say undo to change an answer.")
		return nil
	}
	t.lines = append(t.lines, sentence(line+"; or don't know, why, undo, done"))
	return nil
}

var beeps = regexp.MustCompile(`(?i)\bbeep`)

func exampleOf(t Test) string {
	switch t.Answers.Unit {
	case "ohm":
		return `"84 ohms" or "OL"`
	case "volt":
		return `"4.3 volts"`
	case "ampere":
		return `"15 amps"`
	case "metre":
		return `"6 metres" or "20 feet"`
	case "celsius":
		return `"24 degrees"`
	}
	return `"3"`
}

// readAs is how the reader of plain words sees a test: pins are a relay's coil to it.
func readAs(t Test) rules.Measure {
	m := t.Measure
	if strings.HasPrefix(m.Red, "pin.") {
		m.Red, m.Black = "relay.86", "relay.85"
	}
	if t.Answers.Kind == "number" && m.Mode == rules.Ask {
		switch t.Answers.Unit {
		case "ohm":
			return rules.Measure{Mode: rules.Ohms, Red: "relay.86", Black: "relay.85"}
		case "volt":
			return rules.Measure{Mode: rules.VoltsDC, Red: "relay.86", Black: "relay.85"}
		case "ampere":
			return rules.Measure{Mode: rules.AmpsDC, At: "load.in", How: "clamp"}
		}
	}
	return m
}

// commandCourse does what was asked for; false where it is nothing to do here.
func (t *turn) commandCourse(c words.Command, expected *Test) (bool, error) {
	switch c.Kind {
	case words.CmdUndo, words.CmdCorrect:
		return true, t.undoLast()
	case words.CmdSkip, words.CmdUnsure:
		if expected == nil {
			return false, nil
		}
		return true, t.skipCourse(expected.ID, c.Reason)
	case words.CmdDone:
		return true, t.doneCourse(c)
	case words.CmdWhy:
		if expected != nil && expected.Why != "" {
			t.say("%s", sentence(expected.Why))
		} else {
			t.say("The result depends on it.")
		}
		return true, nil
	case words.CmdWait:
		t.say("Take your time.")
		return true, nil
	case words.CmdHelp:
		t.say(`Answer in your own words: "84 ohms", "OL", "a to c is open", "15 amps over 6 metres". You can also say: don't know, why, where are we, undo, done.`)
		return true, nil
	case words.CmdElse, words.CmdStatus, words.CmdRepeat, words.CmdHow, words.CmdYes, words.CmdReady, words.CmdNo:
		return true, t.statusCourse()
	}
	return false, nil
}

func (t *turn) doneCourse(c words.Command) error {
	outcome := c.Result
	now, err := t.j.errand()
	switch {
	case err != nil:
		return err
	case !slices.Contains(outcomes, outcome) && now.ready:
		outcome = "fixed"
	case !slices.Contains(outcomes, outcome) || outcome == "fixed" && !now.ready:
		t.say("There is no result yet. Say abandoned to close it all the same.")
		return nil
	}
	return t.closeCourse(outcome)
}

func (t *turn) statusCourse() error {
	c, err := t.j.errand()
	if err != nil {
		return err
	}
	n := 0
	for _, e := range standing(t.j.log) {
		if e.Kind == kindReading {
			n++
		}
	}
	t.say("%s answered or read; %s open.", strconv.Itoa(n), strconv.Itoa(len(c.open())))
	if c.text != "" {
		t.say("%s", c.text)
	}
	return nil
}
