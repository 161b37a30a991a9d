package drop

import (
	"fmt"
	"strings"

	"coilside/engine/quantity"
)

// conclude says where in the path the drop sits, and what it means.
func (p *path) conclude(out *Judgement) {
	worst, excess := -1, 0.0
	for i, j := range out.Parts {
		if j.excess > excess {
			worst, excess = i, j.excess
		}
	}
	lines := []string{}
	switch {
	case out.MissingLoss != nil && *out.MissingLoss < 0:
		out.Verdict, out.Where = "wrong", "not measured"
		lines = append(lines, fmt.Sprintf("The parts take %s V more than the whole path does. A reading is off: read supply, load and parts again with the same current.", volts(-*out.MissingLoss)))
	case worst >= 0:
		j := out.Parts[worst]
		out.Verdict, out.Where = "high", j.Part
		lines = append(lines, fmt.Sprintf("The %s takes %s V at %s A: %s Ω, %s W of heat. %s", j.Part, volts(j.Volts), quantity.Plain(p.amps), quantity.Plain(j.Ohms), quantity.Plain(j.Watts), j.rule()))
	case out.MissingLoss != nil:
		out.Verdict, out.Where = "incomplete", "not measured"
	case out.Total.Verdict == "high":
		out.Verdict, out.Where = "high", "spread over the path"
		lines = append(lines, fmt.Sprintf("No part is over its limit, but all together take %s V. %s The wire is too thin or too long.", volts(out.Total.Volts), out.Total.rule()))
	default:
		lines = append(lines, fmt.Sprintf("Every part keeps its limit at %s A; the path takes %s V.", quantity.Plain(p.amps), volts(out.Total.Volts)))
	}
	out.Text = strings.Join(append(lines, p.beside(out, worst)...), "\n")
}

// beside says what else there is to know than where the drop sits.
func (p *path) beside(out *Judgement, worst int) []string {
	var lines []string
	if out.MissingLoss != nil && *out.MissingLoss > 0 {
		lines = append(lines, fmt.Sprintf("%s V more is lost where nobody measured: go on from part to part until the sum fits.", volts(*out.MissingLoss)))
	}
	for i, j := range out.Parts {
		if j.Verdict == "high" && i != worst {
			lines = append(lines, fmt.Sprintf("Also over its limit: %s, %s V.", j.Part, volts(j.Volts)))
		}
	}
	for _, j := range out.Parts {
		if j.Watts > p.hot {
			lines = append(lines, fmt.Sprintf("%s W of heat in one place is much for the %s: look for brown plastic and a soft terminal.", quantity.Plain(j.Watts), j.Part))
		}
	}
	lines = append(lines, fmt.Sprintf("Supply side %s V, ground side %s V.", volts(out.SupplySide.Volts), volts(out.GroundSide.Volts)))
	if p.rated > 1.2*p.amps {
		lines = append(lines, fmt.Sprintf("Read at %s A and judged as at %s A, which it carries normally.", quantity.Plain(p.amps), quantity.Plain(p.rated)))
	}
	return lines
}

// rule names the limit that was not kept.
func (j PieceJudged) rule() string {
	for _, l := range j.Limits {
		if l.Judges && !l.Keeps {
			return fmt.Sprintf("The limit is %s V (%s).", volts(l.Volts), l.Source)
		}
	}
	return ""
}

func volts(v float64) string { return fmt.Sprintf("%.2f", v) }
