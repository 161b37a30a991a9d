package pinout

import (
	"fmt"
	"strings"

	"coilside/engine/quantity"
)

// name writes the terminals in the three ways they are marked.
func (r *relay) name(out *Pinout, g guess) error {
	table, err := r.book.Table("terminal_names", "number", "en", "words")
	if err != nil {
		return err
	}
	positive, negative := g.coil[0], g.coil[1]
	if g.diode == 2 {
		positive, negative = negative, positive
	}
	roles := map[int]string{positive: "86", negative: "85", g.common: "30"}
	for _, w := range g.work {
		roles[w] = "87"
	}
	if g.rest >= 0 {
		roles[g.rest] = "87a"
	}
	for pin := range r.pins {
		row, ok := table.Row(roles[pin])
		if !ok {
			return fmt.Errorf("table \"terminal_names\" has no row %q", roles[pin])
		}
		out.Terminals = append(out.Terminals, Pin{Pin: letters[pin], DIN: row.Key, Number: row.Text("number"), EN: row.Text("en"), Words: row.Text("words")})
	}
	out.Contact, out.Suppression = g.form(), r.across(g)
	return nil
}

func (g guess) form() string {
	switch {
	case len(g.work) == 2:
		return twin
	case g.rest < 0:
		return make1
	case len(g.work) == 0:
		return break1
	}
	return changeover
}

// result says which terminal is which, and what is the same either way round.
func (r *relay) result(out *Pinout, g guess) string {
	var names []string
	for _, p := range out.Terminals {
		names = append(names, fmt.Sprintf("%s is %s (%s, %s)", p.Pin, p.DIN, p.Number, p.EN))
	}
	lines := []string{strings.Join(names, "; ") + "."}
	switch out.Suppression {
	case "diode":
		lines = append(lines, "A diode lies across the coil: 86 is plus and only plus.")
	case "none_or_resistor":
		lines = append(lines, "No diode across the coil: 85 and 86 may change places. A resistor is not told from none without the coil's nominal ohms well off its reading; look at the marks.")
	case "resistor":
		lines = append(lines, "A resistor lies across the coil and no diode: 85 and 86 may change places.")
	default:
		lines = append(lines, "No diode across the coil: 85 and 86 may change places.")
	}
	if out.Contact == make1 || out.Contact == break1 {
		lines = append(lines, "With one contact its two ends may change places.")
	}
	return strings.Join(lines, "\n")
}

var benchCautions = []string{
	"Relay on the bench, nothing plugged on.",
	"Fused or current-limited supply only.",
}

// test puts a probe in words. With s left, it says what it tells.
func (r *relay) test(p probe, plan *planner, s set) *PinTest {
	t := r.asked(p)
	t.Why = r.why(p, plan, s)
	return t
}

func (r *relay) asked(p probe) *PinTest {
	t := &PinTest{Mode: "ohms", Red: letters[p.red], Black: letters[p.black], Cautions: []string{}}
	switch {
	case p.diode:
		limit := r.limit()
		t.Mode, t.Limit, t.Cautions = "volts_dc", &limit, benchCautions
		t.Positive, t.Negative = t.Red, t.Black
		t.Say = fmt.Sprintf("Set the supply to %s V and no more than %s mA, plus on %s, minus on %s. Read volts between them.",
			quantity.Plain(limit.Volts), quantity.Plain(1000*limit.Amps), t.Red, t.Black)
	case p.plus >= 0:
		limit := SupplyLimit{Volts: r.volts, Amps: r.guessed}
		t.Limit, t.Cautions = &limit, benchCautions
		t.Positive, t.Negative = letters[p.plus], letters[p.minus]
		t.Say = fmt.Sprintf("Energise the coil: %s V, limited to %s A, plus on %s, minus on %s. Read ohms from %s to %s.",
			quantity.Plain(limit.Volts), quantity.Plain(limit.Amps), t.Positive, t.Negative, t.Red, t.Black)
	default:
		t.Say = fmt.Sprintf("Read ohms from %s to %s.", t.Red, t.Black)
	}
	return t
}

// again asks for a reading once more.
func (r *relay) again(x read) *PinTest {
	t := r.asked(x.probe)
	t.Say = "Read this once more, with clean blades and firm probes: " + strings.ToLower(t.Say[:1]) + t.Say[1:]
	t.Why = "One of the readings cannot be right."
	return t
}

func (r *relay) why(p probe, plan *planner, s set) string {
	switch {
	case p.diode:
		return "A diode shows 0.6 to 1 V in its direction, the coil alone more."
	case p.plus >= 0:
		return "The relay pulls in: what closes now is 30 and 87."
	}
	return fmt.Sprintf("It narrows down %d arrangements: near 0 is the contact at rest, some tens to hundreds of ohms the coil.", s.count())
}
