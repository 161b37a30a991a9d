package diagnosis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/engine"
	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// suspectedAt is how probable a suspect must be for a rule to call it suspected.
const suspectedAt = 0.2

func circuitFill(text string, roles map[string]string) string {
	return circuit.FillPlaceholders(text, roles)
}

// late fires the rules that look at the ranking.
func (c *Case) late() []engine.Firing {
	suspected, concluded := c.onRanking()
	return c.memory.Late(suspected, concluded)
}

// onRanking answers what rules ask of the ranking.
func (c *Case) onRanking() (suspected, concluded func(string) bool) {
	conclusion := c.Conclusion()
	return func(id string) bool { return c.Probability(id) >= suspectedAt },
		func(id string) bool { return conclusion != nil && slices.Contains(conclusion.Suspects, id) }
}

// WhyRule says how a rule's condition stands, part by part; false when there is no
// such rule.
func (c *Case) WhyRule(rule string) (engine.Diagnosis, bool) {
	suspected, concluded := c.onRanking()
	return c.memory.WhyNotOn(rule, suspected, concluded)
}

// Probability is how probable a suspect is, alone or with others, 0..1.
func (c *Case) Probability(suspect string) float64 {
	p := 0.0
	for _, h := range c.belief.Ranking() {
		if slices.Contains(h.Suspects, suspect) {
			p += h.Probability()
		}
	}
	return p
}

// Explain gives the reasons for and against one suspect. It is an error when the
// suspect is unknown or this circuit can't have it.
func (c *Case) Explain(suspect string) (Ranked, error) {
	for _, h := range c.belief.Ranking() {
		if h.ID() == suspect || len(h.Suspects) == 1 && h.Suspects[0] == suspect {
			return Ranked{Suspect: h.ID(), Probability: h.Probability(), Reasons: c.reasons(h)}, nil
		}
	}
	if _, ok := c.knowledge.book.Suspect(suspect); ok {
		return Ranked{}, fmt.Errorf("%s can't occur in this circuit", suspect)
	}
	return Ranked{}, fmt.Errorf("no suspect is called %q", suspect)
}

// reasons lists what moved a hypothesis, the strongest first.
func (c *Case) reasons(h *rank.Hypothesis) []Reason {
	var out []Reason
	for _, r := range c.belief.Readings() {
		bits := c.belief.Moved(h, r.ID)
		if math.Abs(bits) < 0.1 {
			continue
		}
		expected := c.belief.Expects(h, r.ID)
		out = append(out, Reason{Entry: r.ID, Bits: bits, Expected: expected,
			Words: fmt.Sprintf("%s: %s", Describe(r.Measure, r.Setup), AnswerWords(r.Measure.Mode, r.Answer))})
	}
	if bits := h.ComplaintBits(); bits < -0.1 {
		out = append(out, Reason{Bits: bits, Words: "it can hardly cause the complaint"})
	}
	for _, s := range h.Suspects {
		for _, w := range c.effects.Weights[s].By {
			out = append(out, Reason{Rule: w.Rule.ID, Bits: math.Log2(w.Factor), Words: w.Rule.Because})
		}
		for _, o := range c.effects.RuledOut {
			if o.Suspect == s {
				out = append(out, Reason{Rule: o.Rule.ID, Bits: math.Log2(ruledOut), Words: o.Rule.Because})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Reason) int {
		return int(math.Copysign(1, math.Abs(b.Bits)-math.Abs(a.Bits)))
	})
	return out
}

// describe fills in the words of a proposal.
func (c *Case) describe(p *Proposal) {
	p.Say, p.Why = c.fill(p.Test.Say), c.fill(p.Test.Why)
	for _, caution := range p.Test.Cautions {
		p.Cautions = append(p.Cautions, c.fill(caution))
	}
	if p.outlook == nil {
		return
	}
	for _, o := range p.outlook.Likely(4) {
		out := Outcome{Words: o.Words, Probability: o.Chance}
		for i, h := range p.outlook.Hyps {
			out.Then = append(out.Then, Ranked{Suspect: h.ID(), Probability: o.After[i]})
		}
		slices.SortStableFunc(out.Then, func(a, b Ranked) int {
			return int(math.Copysign(1, b.Probability-a.Probability))
		})
		out.Then = out.Then[:min(len(out.Then), 3)]
		p.Outcomes = append(p.Outcomes, out)
	}
}

// Describe says in plain words what is measured and in which setup.
func Describe(m rules.Measure, s rules.Setup) string {
	where := setupWords(s)
	switch m.Mode {
	case rules.VoltsDC:
		if m.Black == circuit.Reference {
			return "volts at " + place(m.Red) + where
		}
		return "volts from " + place(m.Red) + " to " + place(m.Black) + where
	case rules.Ohms:
		return "ohms from " + place(m.Red) + " to " + place(m.Black) + where
	case rules.AmpsDC:
		return "amps at " + place(m.At) + where
	case rules.MinMax:
		return "lowest and highest volts from " + place(m.Red) + " to " + place(m.Black) + ", " + m.During + where
	case rules.TestLamp:
		return "test lamp from " + place(m.Red) + " to " + place(m.Black) + where
	case rules.Bridge:
		return "load with a jumper from " + place(m.From) + " to " + place(m.To)
	case rules.Watch:
		return "load watched" + where
	case rules.Listen:
		return "relay listened to"
	case rules.Reseat:
		return "load with the relay pulled and refitted"
	case rules.Swap:
		return "load with a good relay"
	case rules.Look:
		return "look at the " + strings.ReplaceAll(m.At, "_", " ")
	case rules.PullIn:
		return "pull-in volts on the bench"
	case rules.DropOut:
		return "drop-out volts on the bench"
	}
	return m.Question
}

func setupWords(s rules.Setup) string {
	switch s.Relay {
	case "bench":
		if s.Coil == "energised" {
			return ", relay on the bench, coil energised"
		}
		return ", relay on the bench"
	case "out", "in":
		words := ", relay " + s.Relay
		switch {
		case s.Key == "off":
			words += ", key off"
		case s.Command == "on":
			words += ", commanded on"
		case s.Command == "off":
			words += ", commanded off"
		}
		return words
	}
	return ""
}

// place says a place in words: "socket 86", "the battery's negative post".
func place(p string) string {
	head, tail, _ := strings.Cut(p, ".")
	switch head {
	case "socket", "back", "relay":
		return tail
	case "battery":
		return "battery " + tail
	}
	side := map[string]string{"in": "supply side", "out": "far side"}[tail]
	if strings.HasPrefix(head, "load") && tail == "out" {
		side = "ground side"
	}
	name := strings.ReplaceAll(strings.TrimSuffix(head, "_part"), "_", " ")
	if side == "" {
		return name
	}
	return name + " " + side
}

// AnswerWords says an answer in words: "12.4 V", "OL", "click".
func AnswerWords(mode rules.Mode, a Answer) string {
	unit := map[rules.Mode]string{rules.Ohms: "ohms", rules.AmpsDC: "A"}[mode]
	if unit == "" {
		unit = "V"
	}
	switch {
	case a.Unsure:
		return "unsure"
	case a.Over:
		return "OL"
	case a.Number != nil:
		return rank.Figure(*a.Number) + " " + unit
	case a.MinMax != nil:
		return rank.Figure(a.MinMax[0]) + " to " + rank.Figure(a.MinMax[1]) + " V"
	}
	return strings.ReplaceAll(a.Choice, "_", " ")
}
