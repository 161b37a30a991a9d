package replace

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"coilside/engine/inrush"
	"coilside/engine/quantity"
	"coilside/rules"
)

// Verdicts, better first.
const (
	fits       = "fits"
	care       = "fits_with_care"
	notKnown   = "not_known"
	doesNotFit = "does_not_fit"
	harmful    = "harmful"
)

var order = []string{fits, care, notKnown, doesNotFit, harmful}

// UnsafeError is a place that is not for this tool.
type UnsafeError struct{ Message string }

func (e *UnsafeError) Error() string { return e.Message }

// trial is a Choice with everything checked; NaN is what is not known.
type trial struct {
	Part
	place                           Place
	book                            *rules.Book
	dry, more, reserve, kick        float64
	volts, coilVolts                float64
	coilOhms, before, resistor      float64
	rated, ratedRest, load, restRun float64
	hottest, bears                  float64
	out                             Chosen
}

// Judge gives the verdict on a part in a place. The error is a *quantity.FieldError that
// names the field, an *UnsafeError for restraint and high-voltage circuits, or a
// *rules.Error for tables and parameters that cannot be used.
func Judge(book *rules.Book, c Choice) (Chosen, error) {
	t, err := c.check(book)
	if err != nil {
		return Chosen{}, err
	}
	t.size()
	t.layout()
	t.contact()
	t.coil()
	t.polarity()
	t.suppress()
	t.driver()
	if err := t.rating(); err != nil {
		return Chosen{}, err
	}
	if err := t.sealing(); err != nil {
		return Chosen{}, err
	}
	t.heat()
	t.labels()
	t.conclude()
	return t.out, nil
}

func (c Choice) check(book *rules.Book) (*trial, error) {
	t := &trial{Part: c.Part, place: c.Place, book: book, out: Chosen{Reasons: []Ground{}, Find: []string{}, Cautions: []string{}}}
	err := book.Values(map[string]*float64{"dry_load_amps": &t.dry, "coil_amps_more": &t.more, "heat_reserve": &t.reserve, "kick_harmful": &t.kick})
	if err != nil {
		return nil, err
	}
	switch c.Place.Hazard {
	case "restraint":
		return nil, &UnsafeError{"This is a restraint circuit (airbag or belt tensioner). Stop. Only a person qualified for restraint systems chooses its parts"}
	case "high_voltage":
		return nil, &UnsafeError{"This is a high-voltage circuit. Stop. Only a person qualified for high-voltage vehicles chooses its parts"}
	}
	var f quantity.Fields
	t.words(&f)
	t.numbers(&f)
	return t, f.Err
}

// words checks the words; left out they are "".
func (t *trial) words(f *quantity.Fields) {
	p, s := t.Part, t.place
	ips, mountings := t.keys(f, "sealings"), t.keys(f, "mountings")
	for _, c := range []struct {
		field, value string
		of           []string
	}{
		{"part.contact", p.Contact, []string{"make", "break", "changeover", "two_87"}},
		{"part.size", p.Size, []string{"micro", "mini", "maxi", "other"}},
		{"part.layout", p.Layout, []string{"usual", "changed_over"}},
		{"part.labels", p.Labels, []string{"din", "numbers", "en"}},
		{"part.suppression", p.Suppression, []string{"none", "resistor", "diode"}},
		{"part.cathode", p.Cathode, []string{"86", "85"}},
		{"part.ip", p.IP, ips},
		{"place.contact", s.Contact, []string{"make", "break", "changeover"}},
		{"place.size", s.Size, []string{"micro", "mini", "maxi", "other"}},
		{"place.layout", s.Layout, []string{"usual", "changed_over"}},
		{"place.labels", s.Labels, []string{"din", "numbers", "en"}},
		{"place.control_side", s.ControlSide, []string{"ground", "positive"}},
		{"place.coil_positive", s.CoilPositive, []string{"86", "85"}},
		{"place.driver", s.Driver, []string{"switch", "module"}},
		{"place.suppression", s.Suppression, []string{"none", "resistor", "diode"}},
		{"place.load_kind", s.LoadKind, inrush.Kinds},
		{"place.hazard", s.Hazard, []string{"none", "starting", "fuel", "lifting", "brakes_or_steering", "restraint", "high_voltage"}},
		{"place.mounting", s.Mounting, mountings},
	} {
		if c.value != "" && c.value != "unknown" {
			quantity.Choice(f, c.field, c.value, "", c.of...)
		}
	}
	for _, w := range []*string{&t.Contact, &t.Size, &t.Layout, &t.Labels, &t.Suppression, &t.Cathode, &t.IP, &t.place.Contact, &t.place.Size, &t.place.Layout,
		&t.place.Labels, &t.place.ControlSide, &t.place.CoilPositive, &t.place.Driver, &t.place.Suppression, &t.place.LoadKind, &t.place.Mounting} {
		if *w == "unknown" {
			*w = ""
		}
	}
}

func (t *trial) keys(f *quantity.Fields, id string) []string {
	table, err := t.book.Table(id)
	if err != nil {
		if f.Err == nil {
			f.Err = err
		}
		return nil
	}
	return table.Keys()
}

func (t *trial) numbers(f *quantity.Fields) {
	ohms := quantity.Range{Low: 1, High: 1e5, Unit: "Ω", Hint: "Is it in kilohms?"}
	amps := quantity.Range{Low: 0, High: 500, Unit: "A", Above: true, Hint: "Is it in milliamperes?"}
	celsius := quantity.Range{Low: -60, High: 250, Unit: "°C", Hint: "Is it in Fahrenheit? Write the unit with it"}
	none := math.NaN()
	t.volts = none
	if t.place.SystemVolts != nil {
		t.volts = quantity.System(f, "place.system_volts", t.place.SystemVolts)
	}
	t.coilVolts = quantity.Or(f, "part.coil_volts", t.CoilVolts, none, quantity.Range{Low: 1, High: 60, Unit: "V", Hint: "Such a coil is not for vehicles"})
	t.coilOhms = quantity.Or(f, "part.coil_ohms", t.CoilOhms, none, ohms)
	t.resistor = quantity.Or(f, "part.resistor_ohms", t.Resistor, none, ohms)
	t.rated = quantity.Or(f, "part.rated_amps", t.RatedAmps, none, amps)
	t.ratedRest = quantity.Or(f, "part.rated_rest_amps", t.RatedRest, none, amps)
	t.bears = quantity.Or(f, "part.hottest_c", t.Part.HottestC, none, celsius)
	t.before = quantity.Or(f, "place.coil_ohms", t.place.CoilOhms, none, ohms)
	t.load = quantity.Or(f, "place.load_amps", t.place.LoadAmps, none, amps)
	t.restRun = quantity.Or(f, "place.rest_amps", t.place.RestAmps, none, amps)
	t.hottest = quantity.Or(f, "place.hottest_c", t.place.HottestC, none, celsius)
}

func (t *trial) say(about, verdict, source, words string) {
	t.out.Reasons = append(t.out.Reasons, Ground{About: about, Verdict: verdict, Words: words, Source: source})
}

// ask notes what must be known before the part may go in.
func (t *trial) ask(about, find string) {
	t.out.Reasons = append(t.out.Reasons, Ground{About: about, Verdict: notKnown, Words: find})
	t.out.Find = append(t.out.Find, find)
}

func (t *trial) conclude() {
	rank := func(g Ground) int { return slices.Index(order, g.Verdict) }
	slices.SortStableFunc(t.out.Reasons, func(a, b Ground) int { return cmp.Compare(rank(b), rank(a)) })
	t.out.Verdict = fits
	if len(t.out.Reasons) > 0 {
		t.out.Verdict = t.out.Reasons[0].Verdict
	}
	lines := []string{map[string]string{
		fits: "It fits.", care: "It fits, with care.", notKnown: "Not yet: find out more first.",
		doesNotFit: "It does not fit.", harmful: "Do not fit it: it would do harm.",
	}[t.out.Verdict]}
	for _, g := range t.out.Reasons {
		if g.Verdict != fits {
			lines = append(lines, g.Words)
		}
	}
	t.out.Text = strings.Join(lines, "\n")
	t.out.Cautions = []string{"Ground off and key off before a relay goes in. Compare the marks of old and new, blade by blade."}
	if slices.Contains([]string{"starting", "fuel", "lifting", "brakes_or_steering"}, t.place.Hazard) {
		t.out.Cautions = append(t.out.Cautions, "This circuit can hurt people: only the maker's own part, or one approved for it, and a full functional test before it is used.")
	}
}
