package practice

import (
	"reflect"
	"regexp"
	"strings"

	"coilside/engine/circuit"
	"coilside/rules"
	"coilside/session/words"
)

// A measurement is asked for without its outcome, and the reader of plain words reads
// outcomes. So an outcome is put in, of the kind that the request speaks of, and what the
// reader makes of it is dropped again.

// outcomes are what may stand for an outcome, by words that the request holds; the last
// stands for all else.
var outcomes = []struct {
	speaks *regexp.Regexp
	tails  []string
	modes  []rules.Mode
}{
	{regexp.MustCompile(`\b(wiggl\w*|min ?max|lowest|highest|crank\w*)\b`), []string{", min 5 max 6", " min 5 V max 6 V"}, []rules.Mode{rules.MinMax, rules.Watch}},
	{regexp.MustCompile(`\b(pull.?in|pulls in)\b`), []string{" at 6 volts"}, []rules.Mode{rules.PullIn}},
	{regexp.MustCompile(`\b(drop.?out|drops out)\b`), []string{" at 3 volts"}, []rules.Mode{rules.DropOut}},
	{regexp.MustCompile(`\b(ohms?|resistance|continuity)\b`), []string{", 5 ohms", " is 5 ohms"}, []rules.Mode{rules.Ohms}},
	{regexp.MustCompile(`\b(amps?|amperes?|current|draw)\b`), []string{", 5 amps", " is 5 amps"}, []rules.Mode{rules.AmpsDC}},
	{regexp.MustCompile(`\b(test lamp|test light|lamp|light)\b`), []string{", dark", " is dark", " stays dark"}, []rules.Mode{rules.TestLamp}},
	{regexp.MustCompile(`\b(bridge|jumper|jump)\b`), []string{", it runs", ", it stays off"}, []rules.Mode{rules.Bridge}},
	{regexp.MustCompile(`\b(click\w*|listen|hear|buzz\w*)\b`), []string{", silent", ", no click", ""}, []rules.Mode{rules.Listen}},
	{regexp.MustCompile(`\b(swap|known good|good relay|another relay|spare)\b`), []string{", it stays off", ", it runs"}, []rules.Mode{rules.Swap}},
	{regexp.MustCompile(`\b(reseat|refit|plug.* again)\b`), []string{", it stays off", ", it runs"}, []rules.Mode{rules.Reseat}},
	{regexp.MustCompile(`\b(look|inspect|check|see)\b`), []string{", looks sound", " is sound", ", it's blown"}, []rules.Mode{rules.Look}},
	{regexp.MustCompile(`\b(runs?|running|watch)\b`), []string{", it stays off", ", it runs", ""}, []rules.Mode{rules.Watch}},
}

var (
	volts    = []string{", 13 volts", " is 13 volts"} // as a battery of 12 or 24 volts may have
	quantity = regexp.MustCompile(` *\b(?:volts?|voltage|ohms?|resistance|amps?|current)\b(?: (?:at|of|on))? *`)
	asking   = regexp.MustCompile(`^(?:please )?(?:(?:can|could|would) (?:you|i|we) )?(?:measure|read|check|take|get|give me|show me|tell me|do|try|what(?: is|'s| are)?|how (?:much|many)|test)\b(?: the)? *`)
)

// request is what was asked for: a measurement, or what to say instead.
type request struct {
	measure rules.Measure
	setup   rules.Setup
	assumed []string
}

// read reads a request; ok is false where it is none, and near is then what would be.
func (l *Lesson) read(line string) (r request, near string, ok bool) {
	text := strings.Trim(strings.ToLower(line), " ?!.")
	if strings.Contains(text, "under load") && !strings.Contains(text, "key ") {
		text = strings.Replace(text, "under load", "", 1) + ", relay in, key on, switched on"
	}
	tails, modes := volts, []rules.Mode{rules.VoltsDC}
	for _, o := range outcomes {
		if o.speaks.MatchString(text) {
			tails, modes = o.tails, o.modes
			break
		}
	}
	bare := strings.TrimSpace(asking.ReplaceAllString(text, ""))
	ctx := l.hearing()
	for _, state := range states {
		for _, subject := range []string{text, bare, strings.Trim(quantity.ReplaceAllString(bare, " "), " ,")} {
			for _, tail := range tails {
				for _, whole := range []string{subject + tail + state, strings.Trim(tail, ", ") + " " + subject + state} {
					if r, ok := l.heard(whole, modes, ctx); ok {
						if state != "" {
							r.assumed = append(r.assumed, strings.TrimPrefix(state, ", "))
						}
						return r, "", true
					}
				}
			}
		}
	}
	return request{}, l.nearest(text, modes), false
}

// states complete a request that does not say how the vehicle stands, the fewest words
// first.
var states = []string{"", ", switched on", ", key on, switched on", ", relay in, key on, switched on"}

// heard is the one measurement in an utterance, if it is of one of the modes.
func (l *Lesson) heard(text string, modes []rules.Mode, ctx words.Context) (request, bool) {
	got := l.school.Reader.Read(text, ctx)
	if len(got.Findings) != 1 || len(got.Questions)+len(got.Commands) > 0 {
		return request{}, false
	}
	f := got.Findings[0]
	if f.Kind != words.KindReading && f.Kind != words.KindAnswer {
		return request{}, false
	}
	for _, m := range modes {
		if f.Measure.Mode == m {
			return request{l.fill(f.Measure), circuit.SetupFor(f.Measure, f.Setup), f.Assumed}, true
		}
	}
	return request{}, false
}

// nearest says something of the kind that would be understood.
func (l *Lesson) nearest(text string, modes []rules.Mode) string {
	var names []string
	for _, t := range l.school.Knowledge.Book().Tests {
		for _, m := range modes {
			if t.Measure.Mode == m && t.Words != "" {
				names = append(names, l.fillText(t.Words))
			}
		}
	}
	if near := rules.Nearest(text, names); near != "" {
		return near
	}
	return "volts at 86, relay out, key on, switched on"
}

// hearing is what the reader of plain words is told.
func (l *Lesson) hearing() words.Context {
	fact := func(id string) string { return l.job.Facts[id].Text }
	c := words.Context{Labels: "din", CoilPositive: fact("coil_positive"), Complaint: l.job.Complaint, SystemVolts: l.job.Facts["system_volts"].Number}
	if l.at != nil && l.at.Relay != "bench" && l.at.Key == "on" { // else as is usual for what is asked
		c.Now = l.at
	}
	switch fact("contact") {
	case "make":
		c.Terminals = []string{"30", "85", "86", "87"}
	case "break":
		c.Terminals = []string{"30", "85", "86", "87a"}
	}
	for _, h := range l.c.Belief().Live(0) {
		if len(h.Suspects) == 1 {
			c.Suspects = append(c.Suspects, words.Named{ID: h.ID(), Words: l.suspectWords(h.ID())})
		}
	}
	return c
}

func (l *Lesson) fillText(text string) string { return circuit.FillPlaceholders(text, l.c.Roles()) }

// fill puts terminals in the place of roles, as far as the wiring is known.
func (l *Lesson) fill(m rules.Measure) rules.Measure {
	for _, place := range []*string{&m.Red, &m.Black, &m.At, &m.From, &m.To} {
		*place = l.fillText(*place)
	}
	return m
}

// testOf is the rulebook's test that is this measurement, nil where there is none.
func (l *Lesson) testOf(m rules.Measure, s rules.Setup) *rules.Test {
	for _, t := range l.school.Knowledge.Book().Tests {
		at := l.fill(t.Measure)
		if at == m && reflect.DeepEqual(circuit.SetupFor(at, t.Setup), s) {
			return t
		}
	}
	return nil
}
