package session

import (
	"fmt"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
)

// how says how the proposed test is done, step by step, and what each outcome would
// mean; where none is proposed, what can be said at all.
func (t *turn) how() {
	p := t.j.proposal()
	concluded := t.j.now().conclusion != nil && !t.j.settled()
	switch {
	case len(t.j.asked) > 0:
		t.asked = t.j.asked // what is asked back is said again
	case p == nil && !concluded:
		t.lines = append(t.lines, help)
	case p != nil && !concluded:
		t.steps = t.j.steps(p.Measure, p.Setup)
		t.lines = append(t.lines, t.j.howTo(*p, t.steps)...)
	}
}

// howTo is a test in steps, and what its outcomes would mean. What is to be accepted first
// is asked after it.
func (j *job) howTo(p diagnosis.Proposal, steps []string) []string {
	lines := append([]string{sentence(withMarks(p.Say, j.labels()))}, prefixed("- ", steps)...)
	if len(steps) == 0 {
		lines = []string{sentence(withMarks(p.Why, j.labels()))} // the question itself is said after it
	}
	for _, c := range p.Cautions {
		lines = append(lines, "Careful: "+sentence(withMarks(c, j.labels())))
	}
	if outcomes := j.outcomeLines(p); len(outcomes) > 0 {
		lines = append(append(lines, "What it would tell:"), outcomes...)
	}
	if j.pendingCaution() != "" {
		return lines
	}
	return append(lines, howToAnswer(answerKind(p.Measure, p.Test.Of)))
}

// steps are what is done for a measurement in a setup, in order. What the rulebook's table
// of methods has no row for is left out; a question in words has no steps.
func (j *job) steps(m rules.Measure, s rules.Setup) []string {
	var out []string
	if m.Mode == rules.Ask {
		return out
	}
	add := func(rows ...string) {
		for _, row := range rows {
			out = appendNew(out, j.method(row))
		}
	}
	add(relaySteps(m, s)...)
	tool := func() {
		add(toolOf(m))
		out = appendNew(out, j.leadStep(m))
	}
	if m.Mode != rules.Bridge {
		tool()
	}
	add(j.stateSteps(s)...)
	if m.Mode == rules.Bridge {
		tool() // what a jumper runs, it runs at once
	}
	add(m.During)
	return out
}

// method is a row of the table of methods, "" where there is none.
func (j *job) method(step string) string {
	table, err := j.base.book.Table("methods", "do")
	if err != nil || step == "" {
		return ""
	}
	row, ok := table.Row(step)
	if !ok {
		return ""
	}
	return row.Text("do")
}

// relaySteps are done first, with everything off: the relay, and what is unplugged.
func relaySteps(m rules.Measure, s rules.Setup) []string {
	var rows []string
	if m.Mode != rules.Reseat && m.Mode != rules.Swap { // these say themselves what becomes of it
		rows = append(rows, "relay_"+s.Relay)
	}
	for _, part := range s.Unplugged {
		rows = append(rows, "unplug_"+part)
	}
	return rows
}

// toolOf is the row of what is measured with.
func toolOf(m rules.Measure) string {
	if m.Mode == rules.AmpsDC {
		return m.How
	}
	return string(m.Mode)
}

// leadStep says where the leads go, "" where none go anywhere.
func (j *job) leadStep(m rules.Measure) string {
	at := func(place string) string { return placeWords(place, j.labels()) }
	switch {
	case m.Mode == rules.Bridge:
		return fmt.Sprintf("Jumper from %s to %s.", at(m.From), at(m.To))
	case m.Mode == rules.Ohms:
		return fmt.Sprintf("One lead on %s, the other on %s.", at(m.Red), at(m.Black))
	case m.Red != "":
		return fmt.Sprintf("Black on %s, red on %s.", at(m.Black), at(m.Red))
	case m.Mode == rules.AmpsDC || m.Mode == rules.Look:
		return fmt.Sprintf("The place: %s.", at(m.At))
	}
	return ""
}

// stateSteps are done last, with the leads in place: the key, the engine, the load.
func (j *job) stateSteps(s rules.Setup) []string {
	if s.Relay == "bench" {
		return []string{"coil_" + s.Coil}
	}
	key := "key_" + s.Key
	if s.Engine == "running" {
		key = "engine_running"
	}
	rows := []string{key}
	if s.Neighbours == "on" {
		rows = append(rows, "neighbours_on")
	}
	command := "command_" + s.Command
	if s.Command == "on" && j.moves() {
		command = "command_on_moving"
	}
	rows = append(rows, command)
	if s.Heat != "" {
		rows = append(rows, "heat_"+s.Heat)
	}
	return rows
}

// howToAnswer says in which form the answer is awaited.
func howToAnswer(k AnswerKind) string {
	switch {
	case k.Kind == "choice":
		return "Then answer " + strings.ReplaceAll(either(k.Of), "_", " ") + "."
	case k.Kind == "min_max":
		return "Then tell me the lowest and the highest number."
	case k.Unit == "ohm":
		return "Then tell me the number, or OL."
	}
	return "Then tell me the number."
}
