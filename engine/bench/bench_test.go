package bench_test

import (
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/bench"
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

func q[T ~float64](v float64) *T          { x := T(v); return &x }
func volts(v float64) *quantity.Volts     { return q[quantity.Volts](v) }
func ohms(v float64) *quantity.Ohms       { return q[quantity.Ohms](v) }
func celsius(v float64) *quantity.Celsius { return q[quantity.Celsius](v) }
func amps(v float64) *quantity.Amps       { return q[quantity.Amps](v) }
func drop(mv, a float64) *bench.ContactRead {
	return &bench.ContactRead{Volts: volts(mv / 1000), Amps: amps(a)}
}

// Babcock relay notes: 320 Ω at 25 °C is 443.3 Ω at 125 °C; pull-in of 13.0 V at 25 °C
// is 18 V there. Kilovac application note: 16 V at 25 °C is 19.7, 20.6 and 12.9 V at 85,
// 100 and -25 °C. Leach application note 102: the temperature from the resistance.
func TestCoilAndPullInGoWithTemperature(t *testing.T) {
	assert.InDelta(t, 443.3, bench.At(320, 25, 125), 0.05)
	assert.InDelta(t, 18, bench.At(13, 25, 125), 0.05)
	for c, v := range map[float64]float64{85: 19.7, 100: 20.6, -25: 12.9} {
		assert.InDelta(t, v, bench.At(16, 25, c), 0.05)
	}
	assert.InDelta(t, 125, bench.Rise(320, 25, 443.3), 0.05)
	assert.InDelta(t, 85, bench.Rise(16, 25, 19.7), 0.2)
}

// The same rows through the whole judgement: 24 V, the coil's nominal at 20 °C computed.
func TestPublishedRowsThroughTheJudgement(t *testing.T) {
	v, err := bench.Judge(book(t), bench.Bench{CoilVolts: volts(24), Temperature: celsius(25), CoilOhms: ohms(320), Hottest: celsius(125), PullIn: volts(13)})
	require.NoError(t, err)
	assert.InDelta(t, 443.3, *v.CoilHot, 0.05)
	assert.InDelta(t, 18, *v.PullInHot, 0.05)
	assert.InDelta(t, 320*254.5/259.5, *v.Coil20, 1e-9)
	v, err = bench.Judge(book(t), bench.Bench{CoilVolts: volts(24), Temperature: celsius(25), PullIn: volts(16), Hottest: celsius(85), LowestSupply: volts(20.6)})
	require.NoError(t, err)
	assert.InDelta(t, 19.7, *v.PullInHot, 0.05)
	assert.InDelta(t, 100, *v.FailsAt, 0.5, "20.6 V is what it needs at 100 °C")
}

// Data sheets: 12 V 85 Ω operates by 8 V and lets go at 1.5; 75 Ω 6.5 and 1; 100 Ω 7.2 and
// 1.2; 24 V 255 Ω 16 and 3; 320 Ω 14.8 and 2.4; all within 10 percent.
func TestDataSheetRelaysAreGood(t *testing.T) {
	for _, c := range []struct{ volts, ohms, pullIn, dropOut float64 }{
		{12, 85, 8, 1.5}, {12, 75, 6.5, 1}, {12, 100, 7.2, 1.2}, {24, 255, 16, 3}, {24, 320, 14.8, 2.4},
	} {
		b := bench.Bench{CoilVolts: volts(c.volts), Temperature: celsius(20), CoilOhms: ohms(c.ohms * 1.1), NominalOhms: ohms(c.ohms), PullIn: volts(c.pullIn), DropOut: volts(c.dropOut)}
		v, err := bench.Judge(book(t), b)
		require.NoError(t, err)
		assert.Equal(t, "good", v.Verdict, v.Text)
		b.PullIn = volts(c.pullIn * 1.06)
		v, err = bench.Judge(book(t), b)
		require.NoError(t, err)
		assert.Equal(t, "marginal", v.Verdict, v.Text)
		b.PullIn, b.DropOut = volts(c.pullIn), volts(c.dropOut*0.4)
		v, err = bench.Judge(book(t), b)
		require.NoError(t, err)
		assert.Equal(t, "bad", v.Verdict, v.Text)
	}
}

// Parallel (computed): 85‖680 = 75.6, 90‖680 = 79.5, 320‖2700 = 286.1 Ω.
func TestResistorAcrossTheCoil(t *testing.T) {
	assert.InDelta(t, 75.6, bench.Parallel(85, 680), 0.05)
	assert.InDelta(t, 79.5, bench.Parallel(90, 680), 0.05)
	assert.InDelta(t, 286.1, bench.Parallel(320, 2700), 0.06)
	b := bench.Bench{CoilVolts: volts(12), Temperature: celsius(20), CoilOhms: ohms(75.6), NominalOhms: ohms(85)}
	for suppression, verdict := range map[string]string{"": "marginal", "unknown": "marginal", "none": "marginal", "diode": "marginal"} {
		b.Suppression = suppression
		v, err := bench.Judge(book(t), b)
		require.NoError(t, err)
		assert.Equal(t, verdict, v.Verdict)
		assert.Equal(t, suppression == "" || suppression == "unknown", contains(v, "resistor"), "%q: %s", suppression, v.Text)
	}
	b.Suppression, b.ResistorOhms = "resistor", ohms(680)
	v, err := bench.Judge(book(t), b)
	require.NoError(t, err)
	assert.Equal(t, "good", v.Verdict, v.Text)
}

func contains(v bench.Verdict, word string) bool {
	return slices.ContainsFunc(v.Findings, func(f bench.BenchFinding) bool { return strings.Contains(f.Words, word) })
}

// Mini ISO data sheet, at 10 A: working contact 15 mV typical, 200 at most; rest contact
// 20 and 250. At other currents the same milliohms (computed).
func TestContactsUnderLoad(t *testing.T) {
	for _, c := range []struct {
		working, rest *bench.ContactRead
		verdict       string
	}{
		{drop(15, 10), drop(20, 10), "good"},
		{drop(200, 10), nil, "marginal"}, // at its limit
		{drop(201, 10), nil, "bad"},
		{nil, drop(251, 10), "bad"},
		{nil, drop(250, 10), "marginal"},
		{drop(101, 5), nil, "bad"},
		{drop(390, 20), nil, "marginal"},
		{drop(90, 10), drop(120, 10), "good"},
	} {
		v, err := bench.Judge(book(t), bench.Bench{CoilVolts: volts(12), Working: c.working, Rest: c.rest})
		require.NoError(t, err)
		assert.Equal(t, c.verdict, v.Verdict, v.Text)
	}
}

func TestOtherReadings(t *testing.T) {
	ol := math.Inf(1)
	for _, c := range []struct {
		b       bench.Bench
		verdict string
		of      string
	}{
		{bench.Bench{Temperature: celsius(20), CoilOhms: ohms(ol)}, "bad", "coil"},
		{bench.Bench{Temperature: celsius(20), CoilOhms: ohms(0.4)}, "bad", "coil"},
		{bench.Bench{Temperature: celsius(20), CoilOhms: ohms(290)}, "bad", "coil"},  // a 24 V coil
		{bench.Bench{Temperature: celsius(20), CoilOhms: ohms(84)}, "good", "coil"},  // practice: ordinary
		{bench.Bench{Temperature: celsius(20), CoilOhms: ohms(107)}, "good", "coil"}, // practice: ordinary
		{bench.Bench{Temperature: celsius(20), CoilOhms: ohms(64), NominalOhms: ohms(85), Suppression: "none"}, "bad", "coil"},
		{bench.Bench{NeverPullsIn: true}, "bad", "pull_in"},
		{bench.Bench{Temperature: celsius(20), PullIn: volts(11)}, "bad", "pull_in"}, // above the lowest supply
		{bench.Bench{Insulation: ohms(ol)}, "good", "insulation"},
		{bench.Bench{Insulation: ohms(4700)}, "bad", "insulation"},
		{bench.Bench{Insulation: ohms(1e6)}, "marginal", "insulation"},
		{bench.Bench{WorkingRest: ohms(0.2)}, "bad", "working_at_rest"}, // welded
		{bench.Bench{RestPulled: ohms(0.2)}, "bad", "rest_energised"},
		{bench.Bench{Rest: &bench.ContactRead{Ohms: ohms(ol)}}, "bad", "rest"},
		{bench.Bench{Working: &bench.ContactRead{Ohms: ohms(0.3)}}, "good", "working"},
		{bench.Bench{Click: "buzz"}, "bad", "click"},
		{bench.Bench{Click: "click"}, "good", "click"},
	} {
		c.b.CoilVolts = volts(12)
		v, err := bench.Judge(book(t), c.b)
		require.NoError(t, err)
		assert.Equal(t, c.verdict, v.Verdict, v.Text)
		assert.Equal(t, c.of, v.Findings[0].Of)
	}
}

// What a marginal one fails at: with the coil at that temperature it pulls in at just
// the volts that the vehicle gives it.
func TestFailsAtTheTemperatureSaid(t *testing.T) {
	for _, c := range []struct{ pullIn, celsius, supply, lost float64 }{{7.8, 24, 9, 0.3}, {7.1, 18, 8.5, 0}, {6.4, 60, 7, 0.2}} {
		v, err := bench.Judge(book(t), bench.Bench{CoilVolts: volts(12), Temperature: celsius(c.celsius), PullIn: volts(c.pullIn), LowestSupply: volts(c.supply), PathDrop: volts(c.lost)})
		require.NoError(t, err)
		require.NotNil(t, v.FailsAt)
		assert.Equal(t, "marginal", v.Verdict)
		assert.InDelta(t, c.supply-c.lost, bench.At(c.pullIn, c.celsius, *v.FailsAt), 1e-9)
	}
}

func TestBadBenchesNameTheField(t *testing.T) {
	for _, c := range []struct {
		field, says string
		b           bench.Bench
	}{
		{"coil_volts", "missing", bench.Bench{}},
		{"coil_volts", "12 or 24", bench.Bench{CoilVolts: volts(0)}},
		{"coil_volts", "12 or 24", bench.Bench{CoilVolts: volts(-12)}},
		{"coil_ohms", "at least one", bench.Bench{CoilVolts: volts(12)}},
		{"temperature_c", "missing", bench.Bench{CoilVolts: volts(12), CoilOhms: ohms(85)}},
		{"temperature_c", "Fahrenheit", bench.Bench{CoilVolts: volts(12), CoilOhms: ohms(85), Temperature: celsius(293)}},
		{"coil_ohms", "from 0", bench.Bench{CoilVolts: volts(12), CoilOhms: ohms(-85), Temperature: celsius(20)}},
		{"nominal_ohms", "above 0", bench.Bench{CoilVolts: volts(12), CoilOhms: ohms(85), NominalOhms: ohms(0), Temperature: celsius(20)}},
		{"nominal_ohms", "OL", bench.Bench{CoilVolts: volts(12), CoilOhms: ohms(85), NominalOhms: ohms(math.Inf(1)), Temperature: celsius(20)}},
		{"tolerance_percent", "above 0", bench.Bench{CoilVolts: volts(12), CoilOhms: ohms(85), Tolerance: q[quantity.Percent](0), Temperature: celsius(20)}},
		{"pull_in_volts", "above 0", bench.Bench{CoilVolts: volts(12), PullIn: volts(0), Temperature: celsius(20)}},
		{"pull_in_volts", "millivolts", bench.Bench{CoilVolts: volts(12), PullIn: volts(7200), Temperature: celsius(20)}},
		{"drop_out_volts", "changed over", bench.Bench{CoilVolts: volts(12), PullIn: volts(2), DropOut: volts(7), Temperature: celsius(20)}},
		{"never_pulls_in", "contradict", bench.Bench{CoilVolts: volts(12), PullIn: volts(7), NeverPullsIn: true, Temperature: celsius(20)}},
		{"suppression", `did you mean "diode"?`, bench.Bench{CoilVolts: volts(12), Suppression: "dioed", Click: "click"}},
		{"click", "click, silent", bench.Bench{CoilVolts: volts(12), Click: "clack-clack"}},
		{"working.amps", "missing", bench.Bench{CoilVolts: volts(12), Working: &bench.ContactRead{Volts: volts(0.1)}}},
		{"working.amps", "milliamperes", bench.Bench{CoilVolts: volts(12), Working: drop(100, 5000)}},
		{"working.amps", "from 1 A", bench.Bench{CoilVolts: volts(12), Working: drop(100, 0)}},
		{"rest.volts", "millivolts", bench.Bench{CoilVolts: volts(12), Rest: drop(20000, 10)}},
		{"rest.volts", "missing", bench.Bench{CoilVolts: volts(12), Rest: &bench.ContactRead{Amps: amps(10)}}},
		{"insulation_ohms", "from 0", bench.Bench{CoilVolts: volts(12), Insulation: ohms(-1)}},
		{"lowest_supply_volts", "above 0", bench.Bench{CoilVolts: volts(12), Click: "click", LowestSupply: volts(0)}},
		{"coil_path_drop_volts", "nothing of the supply", bench.Bench{CoilVolts: volts(12), Click: "click", LowestSupply: volts(9), PathDrop: volts(9)}},
		{"hottest_c", "more than 200", bench.Bench{CoilVolts: volts(12), Click: "click", Hottest: celsius(900)}},
	} {
		_, err := bench.Judge(book(t), c.b)
		if assert.Error(t, err, c.field) {
			assert.ErrorContains(t, err, c.says)
			assert.Equal(t, c.field, err.(*quantity.FieldError).Field)
		}
	}
}
