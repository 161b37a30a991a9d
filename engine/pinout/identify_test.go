package pinout

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/quantity"
	"coilside/rules"
	"coilside/rulesets"
)

var shipped = sync.OnceValues(func() (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
})

func book(t *testing.T) *rules.Book {
	t.Helper()
	b, err := shipped()
	require.NoError(t, err)
	return b
}

func five() Unmarked { n := 5; return Unmarked{Pins: &n} }
func four() Unmarked { n := 4; return Unmarked{Pins: &n} }

// part is a relay in the hand: a circuit, read as a meter reads it.
type part struct {
	role    map[string]string // pin letter to terminal
	diode   bool              // cathode on 86
	coil    float64           // ohms as read, resistor included
	contact float64
}

// read takes a proposed reading on a part: the circuit is worked out from its
// terminals, and volts come from the supply's limit.
func (x part) read(t *testing.T, n *PinTest) PinReading {
	t.Helper()
	a, b := x.role[n.Red], x.role[n.Black]
	pair := func(p, q string) bool { return a == p && b == q || a == q && b == p }
	out := PinReading{Red: n.Red, Black: n.Black}
	if n.Mode == "volts_dc" {
		require.True(t, pair("85", "86"), "power on %s and %s, which is no coil", a, b)
		v := min(n.Limit.Amps*x.coil, n.Limit.Volts)
		if x.diode && a == "85" {
			v = 0.7
		}
		out.Volts = of[quantity.Volts](v)
		return out
	}
	pulled := false
	if n.Positive != "" {
		out.Positive, out.Negative = n.Positive, n.Negative
		plus, minus := x.role[n.Positive], x.role[n.Negative]
		require.True(t, plus == "86" && minus == "85" || plus == "85" && minus == "86", "power on %s and %s, which is no coil", plus, minus)
		require.False(t, x.diode && minus == "86", "power the wrong way through the diode")
		pulled = true
	}
	ohms := math.Inf(1)
	switch {
	case pair("85", "86"):
		ohms = x.coil
	case a == b: // two joined 87
		ohms = x.contact
	case pair("30", "87") && pulled, pair("30", "87a") && !pulled:
		ohms = x.contact
	}
	out.Ohms = of[quantity.Ohms](ohms)
	return out
}

func of[T ~float64](v float64) *T { x := T(v); return &x }

// right reports whether the terminals named are the part's.
func (x part) right(p Pinout) bool {
	for _, pin := range p.Terminals {
		is := x.role[pin.Pin]
		coil := is == "85" || is == "86"
		said := pin.DIN == "85" || pin.DIN == "86"
		if pin.DIN != is && !(coil && said && !x.diode) {
			return false
		}
	}
	return len(p.Terminals) == len(x.role)
}

func partOf(f fact, r *rand.Rand) part {
	x := part{role: map[string]string{}, diode: f.across == "diode", coil: []float64{68, 75, 85, 90, 107, 255, 320}[r.IntN(7)], contact: []float64{0.1, 0.3, 1.2}[r.IntN(3)]}
	if f.across == "resistor" {
		x.coil = x.coil * 1000 / (x.coil + 1000)
	}
	for p, role := range f.role {
		x.role[letters[p]] = role
	}
	return x
}

// identify plays a relay to the state asked for.
func identify(t *testing.T, u Unmarked, x part, until string) (at Pinout, readings []PinReading) {
	t.Helper()
	for range 60 {
		p, err := Identify(book(t), u)
		require.NoError(t, err)
		if p.State == until || p.State == "proven" || p.State == "impossible" {
			return p, u.Readings
		}
		u.Readings = append(slices.Clone(u.Readings), x.read(t, p.Next))
	}
	t.Fatal("no end")
	return Pinout{}, nil
}

// All 120 arrangements with nothing, a resistor and a diode across the coil: right in
// all, and as many readings on average as the exact optimum.
func TestAllArrangements(t *testing.T) {
	facts := allFacts()
	require.Len(t, facts, 360)
	r := rand.New(rand.NewPCG(5, 6))
	sum, proof, most := 0, 0, 0
	for _, f := range facts {
		x := partOf(f, r)
		p, readings := identify(t, five(), x, "identified")
		require.True(t, x.right(p), "%v: %v", f, p.Text)
		require.Equal(t, f.across == "diode", p.Suppression == "diode", "%v", f)
		sum += len(readings)
		most = max(most, len(readings))
		u := five()
		u.Readings = readings
		p, readings = identify(t, u, x, "proven")
		require.Equal(t, "proven", p.State)
		require.True(t, x.right(p))
		proof += len(readings)
	}
	mean := float64(sum) / 360
	best := optimum(facts)
	t.Logf("mean %.3f readings (at most %d), exact optimum %.3f; %.3f with the proof against one mistake", mean, most, best, float64(proof)/360)
	assert.LessOrEqual(t, mean, 1.05*best)
}

// One reading of every run is a slip, in every other way it could be read. It is
// noticed, and the terminals are right in the end.
func TestOneSlipIsNoticed(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	runs, named := 0, 0
	for i, f := range allFacts() {
		if f.across == "resistor" || i%4 > 1 && testing.Short() {
			continue
		}
		x := partOf(f, r)
		_, sound := identify(t, five(), x, "proven")
		for at := range sound {
			for _, slip := range slips(sound[at]) {
				runs++
				if playSlip(t, x, at, slip) {
					named++
				}
			}
		}
	}
	t.Logf("%d runs with one slip, all noticed; %d went on to name the right terminals, the others say to start over", runs, named)
}

// slips are the other outcomes a reading could have shown.
func slips(x PinReading) []PinReading {
	var out []PinReading
	if x.Volts != nil {
		for _, v := range []float64{0.7, 4.3} {
			if (v < 1) != (*x.Volts < 1) {
				s := x
				s.Volts = of[quantity.Volts](v)
				out = append(out, s)
			}
		}
		return out
	}
	for _, v := range []float64{0.2, 84, math.Inf(1)} {
		same := v < 5 == (*x.Ohms < 5) && v > 1e4 == (*x.Ohms > 1e4)
		if s := x; !same && (v != 84 || x.Positive == "") {
			s.Ohms = of[quantity.Ohms](v)
			out = append(out, s)
		}
	}
	return out
}

// playSlip plays a relay with one wrong reading; true if the terminals were named.
func playSlip(t *testing.T, x part, at int, slip PinReading) bool {
	t.Helper()
	u, doubted := five(), false
	for n := range 60 {
		p, err := Identify(book(t), u)
		require.NoError(t, err)
		switch p.State {
		case "proven":
			require.True(t, x.right(p), "%v: slip %d unnoticed: %s", x.role, at, p.Text)
			require.True(t, doubted, "%v: slip %d left no trace", x.role, at)
			return true
		case "impossible":
			return false // noticed: it says so, and names no terminal
		}
		doubted = doubted || len(p.Mistakes) > 0
		if n == at {
			u.Readings = append(slices.Clone(u.Readings), slip)
			continue
		}
		u.Readings = append(slices.Clone(u.Readings), x.careful(t, p))
	}
	t.Fatalf("%v: no end with slip %d", x.role, at)
	return false
}

// careful takes a reading, except that after a slip the plan may put power where there
// is no coil: the supply's limit makes that harmless, and it reads what is there.
func (x part) careful(t *testing.T, p Pinout) PinReading {
	n := p.Next
	a, b := x.role[n.Red], x.role[n.Black]
	coil := func(p, q string) bool { return p == "85" && q == "86" || p == "86" && q == "85" }
	switch {
	case n.Mode == "volts_dc" && !coil(a, b):
		v := n.Limit.Volts
		if a == "30" && b == "87a" || a == "87a" && b == "30" {
			v = 0
		}
		return PinReading{Red: n.Red, Black: n.Black, Volts: of[quantity.Volts](v)}
	case n.Positive != "" && n.Mode == "ohms" && (!coil(x.role[n.Positive], x.role[n.Negative]) || x.diode && x.role[n.Negative] == "86"):
		rest := *n
		rest.Positive, rest.Negative = "", ""
		out := x.read(t, &rest)
		out.Positive, out.Negative = n.Positive, n.Negative
		if out.Ohms != nil && *out.Ohms > 5 && *out.Ohms < 1e4 { // the coil itself, beside the supply
			out.Ohms = of[quantity.Ohms](math.Inf(1))
		}
		return out
	}
	return x.read(t, n)
}

// ISO 7588 and EN 50005 beside DIN 72552, as a parts catalogue has them.
func TestTerminalsInThreeWays(t *testing.T) {
	f := fact{role: [5]string{"30", "85", "86", "87", "87a"}, across: "diode"}
	p, _ := identify(t, five(), partOf(f, rand.New(rand.NewPCG(1, 2))), "proven")
	want := map[string][2]string{"86": {"1", "A1"}, "85": {"2", "A2"}, "30": {"3", "11"}, "87a": {"4", "12"}, "87": {"5", "14"}}
	for _, pin := range p.Terminals {
		assert.Equal(t, want[pin.DIN], [2]string{pin.Number, pin.EN}, pin.DIN)
	}
	assert.Contains(t, p.Text, "86 is plus and only plus")
}

// Four pins, and five of which two are 87.
func TestOtherForms(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, roles := range [][]string{{"30", "85", "86", "87"}, {"87a", "86", "30", "85"}} {
		x := part{role: map[string]string{}, coil: 85, contact: 0.2, diode: true}
		for i, role := range roles {
			x.role[letters[i]] = role
		}
		p, _ := identify(t, four(), x, "proven")
		require.Equal(t, "proven", p.State, p.Text)
		for _, pin := range p.Terminals {
			is, said := x.role[pin.Pin], pin.DIN
			contacts := is != "85" && is != "86" && said != "85" && said != "86" // its ends may change places
			assert.True(t, is == said || contacts, "%s is %s, not %s", pin.Pin, is, said)
		}
	}
	u := five()
	u.Contact = "unknown"
	x := part{role: map[string]string{"a": "87", "b": "30", "c": "86", "d": "87", "e": "85"}, coil: 85, contact: 0.2}
	p, _ := identify(t, u, x, "proven")
	require.Equal(t, "proven", p.State)
	require.Equal(t, twin, p.Contact)
	require.True(t, x.right(p), p.Text)
	// Taken for a changeover because nobody said otherwise, it is found out.
	p, _ = identify(t, five(), x, "proven")
	require.NotEqual(t, "proven", p.State)
	require.Contains(t, p.Text, "two joined terminals 87")
	_ = r
}

func TestOpenCoilIsNoArrangement(t *testing.T) {
	x := part{role: map[string]string{"a": "87", "b": "30", "c": "86", "d": "87a", "e": "85"}, coil: math.Inf(1), contact: 0.2}
	u := five()
	for range 40 {
		p, err := Identify(book(t), u)
		require.NoError(t, err)
		require.NotEqual(t, "proven", p.State)
		if p.State == "impossible" {
			require.Contains(t, p.Text, "the coil is open")
			return
		}
		u.Readings = append(u.Readings, x.careful(t, p))
	}
	t.Fatal("an open coil was never noticed")
}

// Computed: 85‖680 = 75.6 and 320‖2700 = 286.1 Ω. Just outside 10 percent of 85 Ω the
// resistor is certain; within it nothing tells.
func TestResistorIsToldWhereTheCoilIsKnown(t *testing.T) {
	f := fact{role: [5]string{"30", "85", "86", "87", "87a"}}
	for _, c := range []struct {
		volts, nominal, coil float64
		want                 string
	}{
		{12, 85, 85, "none_or_resistor"}, {12, 85, 92, "none"}, {12, 85, 75.6, "resistor"}, {12, 85, 78, "none_or_resistor"}, {12, 90, 79.5, "resistor"},
		{24, 320, 286.1, "resistor"}, {24, 320, 340, "none"}, {12, 0, 75.6, "none_or_resistor"},
	} {
		x := partOf(f, rand.New(rand.NewPCG(1, 2)))
		x.coil = c.coil
		u := five()
		u.CoilVolts = of[quantity.Volts](c.volts)
		if c.nominal > 0 {
			u.NominalOhms = of[quantity.Ohms](c.nominal)
		}
		p, _ := identify(t, u, x, "proven")
		assert.Equal(t, c.want, p.Suppression, "%v", c)
	}
}

func TestBadRelaysNameTheField(t *testing.T) {
	bad := func(reading PinReading) Unmarked { u := five(); u.Readings = []PinReading{reading}; return u }
	six := 6
	ohm := of[quantity.Ohms](84)
	for _, c := range []struct {
		field, says string
		u           Unmarked
	}{
		{"pins", "missing", Unmarked{}},
		{"pins", "4 or 5", Unmarked{Pins: &six}},
		{"contact", `did you mean "changeover"?`, Unmarked{Pins: five().Pins, Contact: "changover"}},
		{"contact", "does not go with 5", Unmarked{Pins: five().Pins, Contact: "make"}},
		{"suppression", "none, resistor", Unmarked{Pins: five().Pins, Suppression: "zap"}},
		{"coil_volts", "12 or 24", Unmarked{Pins: five().Pins, CoilVolts: of[quantity.Volts](0)}},
		{"nominal_ohms", "from 5", Unmarked{Pins: five().Pins, NominalOhms: of[quantity.Ohms](-1)}},
		{"temperature_c", "Fahrenheit", Unmarked{Pins: five().Pins, Temperature: of[quantity.Celsius](900)}},
		{"readings.0.red", "a to e", bad(PinReading{Red: "f", Black: "a", Ohms: ohm})},
		{"readings.0.black", "missing", bad(PinReading{Red: "a", Ohms: ohm})},
		{"readings.0.black", "same pin", bad(PinReading{Red: "a", Black: "a", Ohms: ohm})},
		{"readings.0.ohms", "one of them", bad(PinReading{Red: "a", Black: "b"})},
		{"readings.0.ohms", "from 0", bad(PinReading{Red: "a", Black: "b", Ohms: of[quantity.Ohms](-3)})},
		{"readings.0.ohms", "clean", bad(PinReading{Red: "a", Black: "b", Ohms: of[quantity.Ohms](4700)})},
		{"readings.0.volts", "millivolts", bad(PinReading{Red: "a", Black: "b", Volts: of[quantity.Volts](700)})},
		{"readings.0.red", "live", bad(PinReading{Red: "a", Black: "b", Positive: "a", Negative: "c", Ohms: ohm})},
	} {
		_, err := Identify(book(t), c.u)
		if assert.Error(t, err, c.field) {
			assert.ErrorContains(t, err, c.says)
			assert.Equal(t, c.field, err.(*quantity.FieldError).Field)
		}
	}
	assert.False(t, strings.Contains(fmt.Sprint(letters), "f"))
}
