package bench

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/engine/quantity"
	"coilside/rules"
)

// figures are the limits in force.
type figures struct {
	tolerance, doubtful, worn, wet, dry, closed, open, hottest, leastAmps float64
	lowest                                                                float64
}

// relay is a Bench with everything checked; NaN is what was not read.
type relay struct {
	Bench
	book *rules.Book
	figures
	volts, celsius, ohms, nominal float64
	pullIn, dropOut               float64
	supply                        float64
	coil                          *rules.Row // the data sheet it is held against
	out                           Verdict
}

// Judge judges a relay. The error is a *quantity.FieldError that names the field, or a
// *rules.Error for tables and parameters that cannot be used.
func Judge(book *rules.Book, in Bench) (Verdict, error) {
	r := &relay{Bench: in, book: book, out: Verdict{Verdict: "good", Findings: []BenchFinding{}, Missing: []string{}, Taken: []string{}}}
	if err := r.check(); err != nil {
		return Verdict{}, err
	}
	if err := r.sheet(); err != nil {
		return Verdict{}, err
	}
	for _, judge := range []func() error{r.coilFinding, r.pullInFinding, r.dropOutFinding, r.contactFindings, r.openFindings, r.clickFinding} {
		if err := judge(); err != nil {
			return Verdict{}, err
		}
	}
	r.conclude()
	return r.out, nil
}

func (r *relay) readFigures() error {
	return r.book.Values(map[string]*float64{
		"coil_tolerance": &r.tolerance, "coil_marginal": &r.doubtful, "contact_share_marginal": &r.worn, "insulation_bad": &r.wet, "insulation_good": &r.dry,
		"closed_ohms": &r.closed, "open_ohms": &r.open, "hottest_coil": &r.hottest, "least_contact_test_amps": &r.leastAmps,
	})
}

func (r *relay) check() error {
	if err := r.readFigures(); err != nil {
		return err
	}
	var f quantity.Fields
	r.volts = quantity.System(&f, "coil_volts", r.CoilVolts)
	var err error
	if r.lowest, err = r.book.Value("lowest_supply_" + quantity.Plain(r.volts)); err != nil {
		return err
	}
	ohmsIn := quantity.Range{Low: 0, High: 1e5, Unit: "Ω", Above: true, Hint: "Is it in kilohms?"}
	voltsIn := quantity.Range{Low: 0, High: 2 * r.volts, Unit: "V", Hint: "Is it in millivolts?"}
	celsiusIn := quantity.Range{Low: -60, High: 200, Unit: "°C", Hint: "Is it in Fahrenheit? Write the unit with it"}
	r.celsius, r.ohms, r.nominal, r.pullIn, r.dropOut = 20, math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if r.Temperature != nil {
		r.celsius = quantity.Need(&f, "temperature_c", r.Temperature, celsiusIn)
	} else if r.CoilOhms != nil || r.PullIn != nil || r.DropOut != nil {
		f.Wrong("temperature_c", "is missing: coil ohms and pull-in volts mean nothing without the coil's temperature")
	}
	if r.CoilOhms != nil {
		r.ohms = quantity.Need(&f, "coil_ohms", r.CoilOhms, quantity.Range{Low: 0, High: math.Inf(1), Unit: "Ω"})
	}
	if r.NominalOhms != nil {
		r.nominal = quantity.Need(&f, "nominal_ohms", r.NominalOhms, ohmsIn)
	}
	r.tolerance = quantity.Or(&f, "tolerance_percent", r.Tolerance, r.tolerance, quantity.Range{Low: 0, High: 50, Unit: "%", Above: true})
	quantity.Choice(&f, "suppression", r.Suppression, "unknown", "none", "resistor", "diode", "unknown")
	if r.ResistorOhms != nil {
		quantity.Need(&f, "resistor_ohms", r.ResistorOhms, ohmsIn)
	}
	r.armature(&f, voltsIn)
	quantity.Choice(&f, "click", r.Click, "unknown", "click", "silent", "buzz", "unknown")
	r.place(&f, voltsIn, celsiusIn)
	r.contact(&f, "working", r.Working)
	r.contact(&f, "rest", r.Rest)
	open := quantity.Range{Low: 0, High: math.Inf(1), Unit: "Ω"}
	quantity.Or(&f, "insulation_ohms", r.Insulation, 0, open)
	quantity.Or(&f, "working_at_rest_ohms", r.WorkingRest, 0, open)
	quantity.Or(&f, "rest_energised_ohms", r.RestPulled, 0, open)
	if f.Err == nil && !r.anything() {
		f.Wrong("coil_ohms", "is missing, and so is every other reading: give at least one")
	}
	return f.Err
}

// armature checks what it takes to move it.
func (r *relay) armature(f *quantity.Fields, voltsIn quantity.Range) {
	if r.PullIn != nil {
		r.pullIn = quantity.Need(f, "pull_in_volts", r.PullIn, quantity.Range{Low: 0, High: 2 * r.volts, Unit: "V", Above: true, Hint: voltsIn.Hint})
	}
	if r.DropOut != nil {
		r.dropOut = quantity.Need(f, "drop_out_volts", r.DropOut, voltsIn)
	}
	if r.dropOut > r.pullIn {
		f.Wrong("drop_out_volts", "is %s V, above the pull-in of %s V: they are changed over", quantity.Plain(r.dropOut), quantity.Plain(r.pullIn))
	}
	if r.NeverPullsIn && r.PullIn != nil {
		f.Wrong("never_pulls_in", "and pull_in_volts contradict each other: give one")
	}
}

// place checks where the relay is to work.
func (r *relay) place(f *quantity.Fields, voltsIn, celsiusIn quantity.Range) {
	supply := quantity.Or(f, "lowest_supply_volts", r.LowestSupply, r.lowest, quantity.Range{Low: 0, High: 2 * r.volts, Unit: "V", Above: true})
	if r.LowestSupply == nil {
		r.out.Taken = append(r.out.Taken, "the supply falls to "+quantity.Plain(supply)+" V")
	}
	lost := quantity.Or(f, "coil_path_drop_volts", r.PathDrop, 0, voltsIn)
	if lost >= supply {
		f.Wrong("coil_path_drop_volts", "is %s V: nothing of the supply's %s V would be left", quantity.Plain(lost), quantity.Plain(supply))
	}
	r.supply = supply - lost
	if r.Hottest == nil {
		r.out.Taken = append(r.out.Taken, "the coil gets "+quantity.Plain(r.hottest)+" °C hot")
	}
	r.hottest = quantity.Or(f, "hottest_c", r.Hottest, r.hottest, celsiusIn)
}

func (r *relay) contact(f *quantity.Fields, field string, c *ContactRead) {
	switch {
	case c == nil:
	case c.Volts == nil && c.Ohms == nil:
		f.Wrong(field+".volts", "is missing: give volts across the contact and the amps through it")
	case c.Volts != nil && c.Amps == nil:
		f.Wrong(field+".amps", "is missing: a drop means nothing without the current")
	case c.Volts != nil:
		quantity.Need(f, field+".volts", c.Volts, quantity.Range{Low: 0, High: r.volts, Unit: "V", Hint: "Is it in millivolts?"})
		quantity.Need(f, field+".amps", c.Amps, quantity.Range{Low: r.leastAmps, High: 300, Unit: "A", Hint: "Is it in milliamperes?"})
	}
	if c != nil && c.Ohms != nil {
		quantity.Need(f, field+".ohms", c.Ohms, quantity.Range{Low: 0, High: math.Inf(1), Unit: "Ω"})
	}
}

func (r *relay) anything() bool {
	return r.CoilOhms != nil || r.PullIn != nil || r.NeverPullsIn || r.DropOut != nil || r.Working != nil || r.Rest != nil ||
		r.Insulation != nil || r.WorkingRest != nil || r.RestPulled != nil || r.Click != "" && r.Click != "unknown"
}

// sheet finds the data sheet nearest to the coil: by its nominal ohms, else by those
// measured, else the one that allows most.
func (r *relay) sheet() error {
	table, err := r.book.Table("relay_coils", "volts", "ohms", "pull_in", "drop_out")
	if err != nil {
		return err
	}
	like := r.nominal
	if math.IsNaN(like) && r.ohms > 0 && !math.IsInf(r.ohms, 1) {
		like = At(r.ohms, r.celsius, 20)
	}
	best := math.Inf(1)
	for _, row := range table.Rows {
		volts, _ := row.Number("volts")
		ohms, _ := row.Number("ohms")
		limit, _ := row.Number("pull_in")
		far := -limit
		if !math.IsNaN(like) {
			far = math.Abs(math.Log(ohms / like))
		}
		if volts == r.volts && (r.coil == nil || far < best) {
			r.coil, best = row, far
		}
	}
	if r.coil == nil {
		return &rules.Error{Pos: table.Pos, Code: rules.CodeMissing, Message: fmt.Sprintf("table \"relay_coils\" has no coil of %s V", quantity.Plain(r.volts))}
	}
	return nil
}

func (r *relay) find(of, verdict, source, format string, args ...any) {
	r.out.Findings = append(r.out.Findings, BenchFinding{Of: of, Verdict: verdict, Source: source, Words: fmt.Sprintf(format, args...)})
}

// conclude takes the worst of the findings and says what to do.
func (r *relay) conclude() {
	for _, verdict := range []string{"marginal", "bad"} {
		if slices.ContainsFunc(r.out.Findings, func(f BenchFinding) bool { return f.Verdict == verdict }) {
			r.out.Verdict = verdict
		}
	}
	r.out.Supply = r.supply
	lines := []string{map[string]string{
		"good": "Good.", "marginal": "Marginal: it works here and may not in the vehicle.", "bad": "Bad. Do not fit it.",
	}[r.out.Verdict]}
	for _, verdict := range []string{"bad", "marginal", "good"} {
		for _, f := range r.out.Findings {
			if f.Verdict == verdict {
				lines = append(lines, f.Words)
			}
		}
	}
	for of, read := range map[string]bool{"coil ohms": r.CoilOhms != nil, "pull-in volts": r.PullIn != nil || r.NeverPullsIn, "contact drop under load": r.Working != nil || r.Rest != nil, "insulation between coil and contacts": r.Insulation != nil} {
		if !read {
			r.out.Missing = append(r.out.Missing, of)
		}
	}
	slices.Sort(r.out.Missing)
	if len(r.out.Missing) > 0 {
		lines = append(lines, "Not read: "+strings.Join(r.out.Missing, ", ")+".")
	}
	r.out.Text = strings.Join(lines, "\n")
	r.out.Cautions = []string{
		"Supply the bench through a fuse or a current limit. Coil first at 0.3 A at most; contacts no more than their rating.",
		"A coil throws back hundreds of volts when it is let go: keep fingers off the leads.",
	}
}
