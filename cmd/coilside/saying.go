package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/rules"
	"coilside/session"
)

// saying puts an answer into the words a technician might use.
func saying(t session.Test, a diagnosis.Answer, rng *rand.Rand) string {
	switch {
	case a.Unsure:
		return pick(rng, "not sure", "can't tell")
	case a.Over && t.Measure.Mode != rules.Ohms:
		return "never"
	case a.Over:
		return pick(rng, "OL", "over range, OL")
	case a.MinMax != nil && figure(a.MinMax[0]) == figure(a.MinMax[1]):
		return "steady " + figure(a.MinMax[0])
	case a.MinMax != nil:
		return fmt.Sprintf("min %s max %s", figure(a.MinMax[0]), figure(a.MinMax[1]))
	case a.Number != nil:
		return numberSaid(t, *a.Number, rng)
	}
	return choiceSaid(t.Measure.Mode, a.Choice, rng)
}

// plainly puts an answer in the most straightforward way.
func plainly(t session.Test, a diagnosis.Answer) string {
	switch {
	case a.Unsure:
		return "unsure"
	case a.Over:
		return "OL"
	case a.MinMax != nil && figure(a.MinMax[0]) == figure(a.MinMax[1]):
		return "steady " + figure(a.MinMax[0]) + " V"
	case a.MinMax != nil:
		return fmt.Sprintf("min %s V max %s V", figure(a.MinMax[0]), figure(a.MinMax[1]))
	case a.Number != nil:
		return figure(*a.Number) + " " + t.Answers.Unit + "s"
	}
	return strings.ReplaceAll(a.Choice, "_", " ")
}

func numberSaid(t session.Test, v float64, rng *rand.Rand) string {
	unit := t.Answers.Unit
	forms := []string{figure(v), figure(v) + " " + unit + "s"}
	if unit == "volt" {
		forms = append(forms, figure(v)+" V", inWords(v)+" volts")
	}
	if unit == "ohm" {
		forms = append(forms, figure(v)+" ohm")
	}
	if unit == "ampere" {
		forms = append(forms, figure(v)+" amps")
	}
	return pick(rng, forms...)
}

var choiceForms = map[rules.Mode]map[string][]string{
	rules.Listen:   {"click": {"it clicks", "click"}, "silent": {"no click", "silent"}, "buzz": {"it buzzes", "buzzing"}},
	rules.TestLamp: {"bright": {"bright", "lamp is bright"}, "dim": {"dim"}, "dark": {"dark", "lamp stays dark"}},
	rules.Look:     {"sound": {"looks good", "looks sound"}, "blown": {"it's blown", "blown"}, "wrong_part": {"wrong part"}},
}

var runForms = map[string][]string{
	"runs": {"it runs", "runs"}, "weak": {"runs but weak", "it runs weak"}, "off": {"it doesn't run", "stays off"},
	"trips": {"it blew the fuse", "the fuse blows"}, "comes_and_goes": {"comes and goes", "it comes and goes"},
}

func choiceSaid(mode rules.Mode, choice string, rng *rand.Rand) string {
	forms := choiceForms[mode][choice]
	if mode == rules.Watch || mode == rules.Bridge || mode == rules.Swap || mode == rules.Reseat {
		forms = runForms[choice]
	}
	if len(forms) == 0 {
		return strings.ReplaceAll(choice, "_", " ")
	}
	return pick(rng, forms...)
}

func pick(rng *rand.Rand, of ...string) string { return of[rng.IntN(len(of))] }

// figure writes a reading as a meter shows it.
func figure(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000+0, 'f', -1, 64) // +0: no meter shows -0
}

var small = strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
var tens = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")

// inWords says a reading under 100 in words: "twelve point four".
func inWords(v float64) string {
	whole, rest, _ := strings.Cut(strings.TrimPrefix(figure(v), "-"), ".")
	n, err := strconv.Atoi(whole)
	if err != nil || n >= 100 {
		return figure(v)
	}
	var b strings.Builder
	if strings.HasPrefix(figure(v), "-") {
		b.WriteString("minus ")
	}
	if n < 20 {
		b.WriteString(small[n])
	} else {
		b.WriteString(tens[n/10])
		if n%10 > 0 {
			b.WriteString(" " + small[n%10])
		}
	}
	for i, d := range rest {
		if i == 0 {
			b.WriteString(" point")
		}
		b.WriteString(" " + small[d-'0'])
	}
	return b.String()
}
