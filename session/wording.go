package session

import (
	"fmt"
	"strings"

	"coilside/engine/circuit"
	"coilside/rules"
	"coilside/session/words"
)

func splitPlace(place string) (head, tail string) {
	head, tail, _ = strings.Cut(place, ".")
	return head, tail
}

// placeWords names a place a lead touches, with the job's own mark beside a
// terminal's role.
func placeWords(place, labels string) string {
	head, tail := splitPlace(place)
	side := map[string]string{"in": "supply side", "out": "ground side"}[tail]
	switch head {
	case "socket":
		return withMarks("socket cavity "+tail, labels)
	case "relay":
		return withMarks("the relay's blade "+tail, labels)
	case "back":
		return withMarks("terminal "+tail+", back-probed", labels)
	case "battery":
		return "battery " + tail
	case "feed_fuse":
		return "the load's fuse" + map[string]string{"in": ", supply side", "out": ", load side"}[tail]
	case "coil_fuse":
		return "the coil's fuse" + map[string]string{"in": ", supply side", "out": ", coil side"}[tail]
	case "load":
		return "the load's plug, " + side
	case "control":
		return "the control's plug, " + side
	case "load_part":
		return "the load's own terminal, " + side
	case "control_part":
		return "the control's own terminal, " + side
	}
	return strings.ReplaceAll(place, "_", " ")
}

var unitSigns = map[string]string{"volt": "V", "ohm": "Ω", "ampere": "A", "celsius": "°C", "minute": "min", "watt": "W"}

// words reads an answer back: "12.4 V", "click", "5 to 11 V".
func (a Answer) words(unit string) string {
	sign := unitSigns[unit]
	switch {
	case a.Number != nil:
		return strings.TrimSpace(plain(*a.Number) + " " + sign)
	case a.MinMax != nil:
		return fmt.Sprintf("%s to %s %s", plain(a.MinMax[0]), plain(a.MinMax[1]), sign)
	case a.Over:
		return "over range (OL)"
	case a.Unsure:
		return "not sure"
	}
	return strings.ReplaceAll(a.Choice, "_", " ")
}

// words reads a whole reading back.
func (j *job) words(r Reading) string {
	answer := r.Answer.words(r.Measure.Mode.Unit())
	if r.Test != "" {
		return withMarks(j.testWords(r.Test), j.labels()) + ": " + answer
	}
	return measureWords(r.Measure, j.labels()) + ", " + setupWords(r.Setup) + ": " + answer
}

// testWords is a test's short name.
func (j *job) testWords(id string) string {
	t, ok := j.base.book.Test(id)
	if !ok || t.Words == "" {
		return strings.ReplaceAll(id, "_", " ")
	}
	return j.fillRoles(t.Words)
}

// suspectWords says what is wrong; several at once are joined by " + ".
func (j *job) suspectWords(id string) string {
	if several := strings.Split(id, " + "); len(several) > 1 {
		for i, one := range several {
			several[i] = j.suspectWords(one)
		}
		return joined(several, "and")
	}
	s, ok := j.base.book.Suspect(id)
	if !ok || s.Words == "" {
		return strings.NewReplacer(".", ": ", "_", " ").Replace(id)
	}
	return s.Words
}

// fillRoles puts terminals in the place of {roles} where the wiring tells them.
func (j *job) fillRoles(text string) string {
	if j.c != nil {
		text = circuit.FillPlaceholders(text, j.c.Roles())
	}
	for _, role := range []struct{ name, fact string }{{"supply", "power_enters"}, {"away", "power_leaves"}, {"coil_plus", "coil_positive"}} {
		if t := j.text(role.fact); t != "" {
			text = strings.ReplaceAll(text, "{"+role.name+"}", t)
		}
	}
	switch j.text("coil_positive") {
	case "86":
		text = strings.ReplaceAll(text, "{coil_minus}", "85")
	case "85":
		text = strings.ReplaceAll(text, "{coil_minus}", "86")
	}
	return strings.NewReplacer("{supply}", "the supply terminal", "{away}", "the load terminal",
		"{coil_plus}", "the coil's supply terminal", "{coil_minus}", "the coil's ground terminal").Replace(text)
}

func measureWords(m rules.Measure, labels string) string {
	between := func(what, a, b string) string {
		return what + " from " + placeWords(a, labels) + " to " + placeWords(b, labels)
	}
	during := map[string]string{"wiggle": " while wiggling", "command": " as the command comes on", "crank": " while cranking"}[m.During]
	switch m.Mode {
	case rules.VoltsDC:
		if m.Black == "battery.negative" {
			return "volts at " + placeWords(m.Red, labels)
		}
		return between("volts", m.Red, m.Black)
	case rules.Ohms:
		return between("ohms", m.Red, m.Black)
	case rules.MinMax:
		return between("lowest and highest volts", m.Red, m.Black) + during
	case rules.TestLamp:
		return between("test lamp", m.Red, m.Black)
	case rules.Bridge:
		return between("fused jumper", m.From, m.To)
	case rules.AmpsDC:
		return "amperes at " + placeWords(m.At, labels)
	case rules.Look:
		return "look at the " + strings.ReplaceAll(m.At, "_", " ")
	case rules.Watch:
		return "the load" + during
	case rules.Listen:
		return "the relay when commanded on"
	case rules.Reseat:
		return "the load after reseating the same relay"
	case rules.Swap:
		return "the load with a known good relay"
	case rules.PullIn:
		return "pull-in volts"
	case rules.DropOut:
		return "drop-out volts"
	}
	return m.Question
}

// setupWords says how things stood: "relay out, key on, commanded on".
func setupWords(s rules.Setup) string {
	if s.Relay == "bench" {
		if s.Coil == "energised" {
			return "relay on the bench, coil energised" + words.ConditionWords(s)
		}
		return "relay on the bench" + words.ConditionWords(s)
	}
	text := words.ConditionWords(s)
	if s.Command != "" {
		text = ", commanded " + s.Command + text
	}
	if s.Key != "" {
		text = ", key " + s.Key + text
	}
	if s.Relay != "" {
		text = ", relay " + s.Relay + text
	}
	return strings.TrimPrefix(text, ", ")
}

func withoutDot(text string) string { return strings.TrimSuffix(strings.TrimSpace(text), ".") }

// sentence makes a phrase one: a capital first, a full stop last.
func sentence(text string) string {
	text = strings.TrimSpace(text)
	if text == "" {
		return ""
	}
	r := []rune(text)
	text = strings.ToUpper(string(r[:1])) + string(r[1:])
	if strings.ContainsAny(text[len(text)-1:], ".!?:") || strings.HasSuffix(text, "…") {
		return text
	}
	return text + "."
}
