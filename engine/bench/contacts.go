package bench

import (
	"fmt"
	"math"

	"coilside/engine/quantity"
	"coilside/rules"
)

// contactFindings holds the contacts' drops against the data sheet's, which goes with
// the current.
func (r *relay) contactFindings() error {
	table, err := r.book.Table("contact_limits", "volts", "amps")
	if err != nil {
		return err
	}
	for _, c := range []struct {
		of, words string
		read      *ContactRead
	}{{"working", "The working contact (30 to 87)", r.Working}, {"rest", "The rest contact (30 to 87a)", r.Rest}} {
		if c.read == nil {
			continue
		}
		row, ok := table.Row(c.of)
		if !ok {
			return &rules.Error{Pos: table.Pos, Code: rules.CodeMissing, Message: fmt.Sprintf("table \"contact_limits\" has no row %q", c.of)}
		}
		if c.read.Volts != nil {
			r.dropFinding(c.of, c.words, row, float64(*c.read.Volts), float64(*c.read.Amps))
		} else {
			r.ohmsFinding(c.of, c.words, float64(*c.read.Ohms))
		}
	}
	return nil
}

func (r *relay) dropFinding(of, words string, row *rules.Row, volts, amps float64) {
	most, _ := row.Number("volts")
	at, _ := row.Number("amps")
	limit := most * amps / at
	said := fmt.Sprintf("%s takes %s mV at %s A: %s mΩ, %s W", words, show(1000*volts), show(amps), show(1000*volts/amps), show(volts*amps))
	allowed := fmt.Sprintf("%s mV at most at that current", show(1000*limit))
	switch {
	case volts > limit*(1+1e-9):
		r.find(of, "bad", row.Source, "%s; %s.", said, allowed)
	case volts > r.worn*limit:
		r.find(of, "marginal", row.Source, "%s; %s. It is worn.", said, allowed)
	default:
		r.find(of, "good", row.Source, "%s; %s.", said, allowed)
	}
}

// ohmsFinding: an ohmmeter's current tells closed from open, not good from worn.
func (r *relay) ohmsFinding(of, words string, ohms float64) {
	switch {
	case ohms < r.closed:
		r.find(of, "good", "practice", "%s closes (%s Ω). Ohms do not prove it: load it and read its drop.", words, show(ohms))
	case ohms < r.open:
		r.find(of, "marginal", "practice", "%s reads %s Ω where it should be closed. Load it and read its drop.", words, show(ohms))
	default:
		r.find(of, "bad", "practice", "%s does not close (%s).", words, ohmsWords(ohms))
	}
}

// openFindings are the pairs that must be open.
func (r *relay) openFindings() error {
	for _, c := range []struct {
		of, words string
		read      *quantity.Ohms
	}{
		{"working_at_rest", "Between 30 and 87 at rest", r.WorkingRest},
		{"rest_energised", "Between 30 and 87a energised", r.RestPulled},
		{"insulation", "Between coil and contacts", r.Insulation},
	} {
		if c.read == nil {
			continue
		}
		ohms := float64(*c.read)
		said := fmt.Sprintf("%s: %s", c.words, ohmsWords(ohms))
		switch {
		case ohms < r.closed && c.of != "insulation":
			r.find(c.of, "bad", "practice", "%s. The contact is welded or bent. Ask what the load draws before a new one goes in.", said)
		case ohms < r.wet:
			r.find(c.of, "bad", "practice", "%s. A burnt or wet track carries current.", said)
		case ohms < r.dry:
			r.find(c.of, "marginal", "practice", "%s. It should be over range: dry it, clean it, read again.", said)
		default:
			r.find(c.of, "good", "practice", "%s, as it should be.", said)
		}
	}
	return nil
}

func ohmsWords(v float64) string {
	if math.IsInf(v, 1) {
		return "over range"
	}
	if v >= 1e6 {
		return show(v/1e6) + " MΩ"
	}
	if v >= 1e4 {
		return show(v/1e3) + " kΩ"
	}
	return show(v) + " Ω"
}

func (r *relay) clickFinding() error {
	switch r.Click {
	case "click":
		r.find("click", "good", "", "It clicks. That proves the coil moves the armature, not that the contact closes.")
	case "silent":
		r.find("click", "bad", "", "Energised it is silent: the armature does not move.")
	case "buzz":
		r.find("click", "bad", "", "It buzzes: the supply is too weak or pulsed, or the armature does not seat.")
	}
	return nil
}
