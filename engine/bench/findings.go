package bench

import (
	"fmt"
	"math"

	"coilside/engine/quantity"
)

func show(v float64) string { return quantity.Plain(v) }

// coilFinding holds the coil's ohms at 20 °C against the nominal ones.
func (r *relay) coilFinding() error {
	switch {
	case math.IsNaN(r.ohms):
		return nil
	case math.IsInf(r.ohms, 1):
		r.find("coil", "bad", "", "The coil is open.")
		return nil
	case r.ohms == 0 || r.ohms < r.closed:
		r.find("coil", "bad", "", "The coil reads %s Ω: it is shorted, or the diode across it is.", show(r.ohms))
		return nil
	}
	at20 := At(r.ohms, r.celsius, 20)
	hot := At(r.ohms, r.celsius, r.hottest)
	r.out.Coil20, r.out.CoilHot = &at20, &hot
	if math.IsNaN(r.nominal) {
		return r.coilUnknown(at20)
	}
	want, with := r.nominal, ""
	if r.Suppression == "resistor" && r.ResistorOhms != nil {
		want = Parallel(r.nominal, float64(*r.ResistorOhms))
		with = fmt.Sprintf(" beside its %s Ω resistor", show(float64(*r.ResistorOhms)))
	}
	off := 100 * (at20/want - 1)
	words := fmt.Sprintf("The coil is %s Ω at 20 °C, %+.1f %% off the %s Ω that belong there%s.", show(at20), off, show(want), with)
	switch {
	case math.Abs(off) <= r.tolerance+1e-9:
		r.find("coil", "good", "tolerance of relay data sheets", "%s", words)
	case r.explainedByResistor(at20):
		r.find("coil", "marginal", "tolerance of relay data sheets", "%s A suppression resistor inside would explain it: look at the marks.", words)
	case math.Abs(off) <= max(r.doubtful, r.tolerance)+1e-9:
		r.find("coil", "marginal", "tolerance of relay data sheets", "%s", words)
	case off < 0:
		r.find("coil", "bad", "tolerance of relay data sheets", "%s Turns are shorted, or it is another coil.", words)
	default:
		r.find("coil", "bad", "tolerance of relay data sheets", "%s A joint in it is bad, or it is another coil.", words)
	}
	return nil
}

// explainedByResistor tells whether a resistor across a sound coil could read so.
func (r *relay) explainedByResistor(at20 float64) bool {
	if r.Suppression == "none" || r.Suppression == "diode" || r.Suppression == "resistor" && r.ResistorOhms != nil {
		return false
	}
	table, err := r.book.Table("suppression_resistors", "least", "most")
	if err != nil {
		return false
	}
	row, ok := table.Row(show(r.volts))
	if !ok {
		return false
	}
	least, _ := row.Number("least")
	most, _ := row.Number("most")
	spread := r.tolerance / 100
	return at20 >= Parallel(r.nominal*(1-spread), least) && at20 <= Parallel(r.nominal*(1+spread), most)
}

// coilUnknown holds a coil without nominal ohms against all data sheets of its volts.
func (r *relay) coilUnknown(at20 float64) error {
	table, err := r.book.Table("relay_coils", "ohms")
	if err != nil {
		return err
	}
	least, most := math.Inf(1), 0.0
	for _, row := range table.Rows {
		if v, _ := row.Number("volts"); v == r.volts {
			ohms, _ := row.Number("ohms")
			least, most = min(least, ohms), max(most, ohms)
		}
	}
	spread := r.tolerance / 100
	least, most = least*(1-spread), most*(1+spread)
	switch {
	case at20 >= least && at20 <= most:
		r.find("coil", "good", "relay data sheets", "The coil is %s Ω at 20 °C, as coils of %s V are (%s to %s Ω). Without its own nominal ohms more cannot be said.", show(at20), show(r.volts), show(least), show(most))
	case at20 >= least/2 && at20 <= 2*most:
		r.find("coil", "marginal", "relay data sheets", "The coil is %s Ω at 20 °C; common coils of %s V have %s to %s Ω. Look up its own.", show(at20), show(r.volts), show(least), show(most))
	default:
		r.find("coil", "bad", "relay data sheets", "The coil is %s Ω at 20 °C: no coil of %s V.", show(at20), show(r.volts))
	}
	return nil
}

// pullInFinding corrects the pull-in to 20 °C, holds it against the data sheet, and
// says at what temperature it fails at the lowest supply.
func (r *relay) pullInFinding() error {
	if r.NeverPullsIn {
		r.find("pull_in", "bad", "", "It never pulls in.")
		return nil
	}
	if math.IsNaN(r.pullIn) {
		return nil
	}
	at20, hot := At(r.pullIn, r.celsius, 20), At(r.pullIn, r.celsius, r.hottest)
	fails := Rise(r.pullIn, r.celsius, r.supply)
	r.out.PullIn20, r.out.PullInHot, r.out.FailsAt = &at20, &hot, &fails
	limit, _ := r.coil.Number("pull_in")
	words := fmt.Sprintf("It pulls in at %s V, at 20 °C that is %s V; at %s °C it needs %s V.", show(r.pullIn), show(at20), show(r.hottest), show(hot))
	source := r.coil.Source + ", " + r.coil.Key
	switch {
	case fails <= 20:
		r.find("pull_in", "bad", source, "%s The vehicle gives it %s V at the lowest: it fails already at %.0f °C.", words, show(r.supply), fails)
	case fails < r.hottest:
		r.find("pull_in", "marginal", source, "%s At the lowest supply, %s V, it fails once the coil is above %.0f °C.", words, show(r.supply), fails)
	case at20 > limit*1.001:
		r.find("pull_in", "marginal", source, "%s New ones pull in by %s V. At the lowest supply, %s V, it would fail above %.0f °C.", words, show(limit), show(r.supply), fails)
	default:
		r.find("pull_in", "good", source, "%s It holds out to %.0f °C at the lowest supply, %s V.", words, fails, show(r.supply))
	}
	return nil
}

// dropOutFinding: a relay that lets go late may stay in on what a leak or a module
// leaves on its coil.
func (r *relay) dropOutFinding() error {
	if math.IsNaN(r.dropOut) {
		return nil
	}
	at20 := At(r.dropOut, r.celsius, 20)
	r.out.DropOut20 = &at20
	least, _ := r.coil.Number("drop_out")
	words := fmt.Sprintf("It lets go at %s V, at 20 °C that is %s V.", show(r.dropOut), show(at20))
	source := r.coil.Source + ", " + r.coil.Key
	switch {
	case at20 < least/2:
		r.find("drop_out", "bad", source, "%s New ones let go by %s V: this one sticks.", words, show(least))
	case at20 < least*0.999:
		r.find("drop_out", "marginal", source, "%s New ones let go by %s V: it may stick.", words, show(least))
	default:
		r.find("drop_out", "good", source, "%s", words)
	}
	return nil
}
