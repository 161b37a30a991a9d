package wire_test

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/quantity"
	"coilside/engine/wire"
	"coilside/rules"
	"coilside/rulesets"
)

var shipped = sync.OnceValues(func() (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
})

func book(t *testing.T, layers ...rules.Layer) *rules.Book {
	t.Helper()
	if len(layers) == 0 {
		b, err := shipped()
		require.NoError(t, err)
		return b
	}
	b, err := rules.Load(append([]rules.Layer{{Name: "relay", FS: rulesets.Relay()}}, layers...)...)
	require.NoError(t, err)
	return b
}

func of[T ~float64](v float64) *T     { q := T(v); return &q }
func amps(v float64) *quantity.Amps   { return of[quantity.Amps](v) }
func m(v float64) *quantity.Metres    { return of[quantity.Metres](v) }
func volts(v float64) *quantity.Volts { return of[quantity.Volts](v) }

const foot = 0.3048

// Floyd's table as printed at HyperPhysics: ohms per 1000 ft at 20 °C. It follows
// from the diameter formula of ASTM B258 and the resistivity of NBS Handbook 100.
func TestOhmsOfAWG(t *testing.T) {
	b := book(t)
	for awg, ohms := range map[string]float64{
		"22": 16.14, "20": 10.15, "18": 6.385, "16": 4.016, "14": 2.525, "12": 1.588, "10": 0.9989, "8": 0.6282, "6": 0.3951,
		"4": 0.2485, "2": 0.1563, "1/0": 0.0983, "3/0": 0.0618,
	} {
		l, err := wire.Lose(b, wire.Stretch{Amps: amps(1), Length: m(1000 * foot), AWG: awg})
		require.NoError(t, err)
		assert.InEpsilon(t, ohms, l.Ohms, 0.0008, "AWG %s", awg)
	}
}

// NEC chapter 9 table 8, uncoated copper at 75 °C, ohms per 1000 ft. The lay of the
// strands adds about 2 percent to the thick sizes; solid wire is computed here.
func TestOhmsWhenWarm(t *testing.T) {
	b := book(t)
	for awg, ohms := range map[string]float64{"14": 3.07, "12": 1.93, "10": 1.21, "8": 0.764, "6": 0.491, "4": 0.308, "2": 0.194, "1/0": 0.122, "4/0": 0.0608} {
		l, err := wire.Lose(b, wire.Stretch{Amps: amps(1), Length: m(1000 * foot), AWG: awg, Temperature: of[quantity.Celsius](75)})
		require.NoError(t, err)
		assert.InEpsilon(t, ohms, l.Ohms, 0.025, "AWG %s", awg)
	}
}

// FAA AC 43.13-1B, voltage drop at 20 A from ohms a foot and feet. Two rows are
// misprinted there (3.60 and 0.366); the arithmetic gives 3.555 and 0.491.
func TestDropOfKnownWire(t *testing.T) {
	b := book(t)
	for _, c := range []struct{ perFoot, feet, volts float64 }{
		{0.00044, 107, 0.942}, {0.00028, 90, 0.504}, {0.00306, 100, 6.12}, {0.00126, 39, 0.98}, {0.00202, 88, 3.555}, {0.00126, 19.5, 0.491},
	} {
		l, err := wire.Lose(b, wire.Stretch{Amps: amps(20), Length: m(c.feet * foot), OhmsPerMetre: of[quantity.Ohms](c.perFoot / foot)})
		require.NoError(t, err)
		assert.InDelta(t, c.volts, l.Volts, 0.005)
		assert.InDelta(t, 20*c.volts, l.Watts, 0.1, "computed: heat is volts times amperes")
	}
	// FAA AC 43.13-1B: L2 = 254.5 L1 / (234.5 + T2).
	c := wire.Copper{Resistivity: 0.017241, Coefficient: 0.00393, Zero: 234.5}
	assert.InDelta(t, 254.5*26/(234.5+200), c.LongestWarm(26, 200), 1e-9)
	cold, warm := c.PerMetre(1, 20), c.PerMetre(1, 200)
	assert.InEpsilon(t, cold/warm, c.LongestWarm(1, 200), 0.001, "both ways of warming copper agree")
}

// ABYC E-11: 10 A, 21 ft out and back, 12 V, 3 percent: 6271 circular mils, so
// 12 AWG (6530 by the formula of ASTM B258). At 10 percent (computed): 1881, 16 AWG.
func TestCircularMilsOfE11(t *testing.T) {
	no, yes := false, true
	run := wire.Run{Amps: amps(10), Length: m(10.5 * foot), SystemVolts: volts(12), EngineSpace: &no, Critical: &yes, Insulation: of[quantity.Celsius](105)}
	s, err := wire.Size(book(t), run)
	require.NoError(t, err)
	assert.InDelta(t, 6271, s.Load.CircularMils, 0.5)
	assert.Equal(t, "12", s.Load.AWG.ByDrop)
	assert.InDelta(t, 6530, wire.CircularMils(12), 1)
	run.Critical = &no
	s, err = wire.Size(book(t), run)
	require.NoError(t, err)
	assert.InDelta(t, 1881, s.Load.CircularMils, 0.5)
	assert.Equal(t, "16", s.Load.AWG.ByDrop)
}

// The factors for engine spaces of 33 CFR 183.425 table 5 note 1 (memory for all but
// 105 °C, which the two columns of the table give): 0.58, 0.75, 0.78, 0.82, 0.85, 0.89.
func TestWarmthGivesThePublishedFactors(t *testing.T) {
	for insulation, factor := range map[float64]float64{60: 0.58, 75: 0.75, 80: 0.78, 90: 0.82, 105: 0.85, 125: 0.89} {
		got := map[bool]float64{}
		for _, engine := range []bool{false, true} {
			s, err := wire.Size(book(t), wire.Run{Amps: amps(0.5), Length: m(0.1), SystemVolts: volts(12), EngineSpace: &engine, Insulation: of[quantity.Celsius](insulation), LoadKind: "heater"})
			require.NoError(t, err)
			got[engine] = s.Load.AWG.Carries
		}
		assert.InDelta(t, factor, got[true]/got[false], 0.0101, "%v °C", insulation)
	}
}

// The fuse protects the wire: 33 CFR 183.455 allows 150 percent of its ampacity, FAA
// AC 43.13-1B none over it. Every result keeps to both, and to the load.
func TestFuseFitsWireAndLoad(t *testing.T) {
	b := book(t)
	for _, a := range []float64{0.3, 1, 2.2, 5, 8, 15, 16.1, 24, 33, 61, 120} {
		for _, metres := range []float64{0.2, 6, 14} {
			for _, bundle := range []int{1, 5} {
				s, err := wire.Size(b, wire.Run{Amps: amps(a), Length: m(metres), SystemVolts: volts(24), Bundle: &bundle, LoadKind: "heater", DropPercent: of[quantity.Percent](10)})
				if err != nil {
					require.ErrorContains(t, err, "no wire of the table")
					continue
				}
				for _, w := range []wire.Wire{s.Load.AWG, s.Load.MM2} {
					assert.GreaterOrEqual(t, s.Fuse.Amps, 1.25*a-1e-9)
					assert.LessOrEqual(t, s.Fuse.Amps, w.Carries+1e-9)
					assert.LessOrEqual(t, w.ConductorC, 80+1e-9)
					assert.LessOrEqual(t, w.DropPct, 10+1e-6)
				}
			}
		}
	}
}

// IEC 60228 class 5: 2.5 mm² is at most 7.98 and 4 mm² at most 4.95 mΩ/m at 20 °C, the
// figures that a cold metric wire is computed with.
func TestMetricWireLosesAsIEC60228Says(t *testing.T) {
	no := false
	for _, c := range []struct {
		amps, metres float64
		size         string
		ohms         float64
	}{{1, 22, "2.5", 0.00798}, {2, 17.5, "4", 0.00495}, {3, 30, "10", 0.00191}} {
		s, err := wire.Size(book(t), wire.Run{Amps: amps(c.amps), Length: m(c.metres), SystemVolts: volts(12), EngineSpace: &no, Ambient: of[quantity.Celsius](20)})
		require.NoError(t, err)
		require.Equal(t, c.size, s.Load.MM2.Size)
		assert.InEpsilon(t, c.ohms*2*c.metres*c.amps, s.Load.MM2.DropVolts, 0.01)
	}
}

func TestShopRowsAreUsed(t *testing.T) {
	run := wire.Run{Amps: amps(15), Length: m(6), SystemVolts: volts(12), DropPercent: of[quantity.Percent](10)}
	before, err := wire.Size(book(t), run)
	require.NoError(t, err)
	shop := rules.Layer{Name: "shop", FS: oneFile("tables: [{id: fuse_ratings, rows: [{fuse: 20 A, off: true}]}]\n")}
	after, err := wire.Size(book(t, shop), run)
	require.NoError(t, err)
	assert.InDelta(t, 20, before.Fuse.Amps, 0)
	assert.InDelta(t, 25, after.Fuse.Amps, 0)
}

func TestBadRunsNameTheField(t *testing.T) {
	b := book(t)
	good := func() wire.Run { return wire.Run{Amps: amps(15), Length: m(6), SystemVolts: volts(12)} }
	_, err := wire.Size(b, good())
	require.NoError(t, err)
	for _, c := range []struct {
		field, says string
		change      func(*wire.Run)
	}{
		{"amps", "missing", func(r *wire.Run) { r.Amps = nil }},
		{"amps", "above 0", func(r *wire.Run) { r.Amps = amps(0) }},
		{"amps", "above 0", func(r *wire.Run) { r.Amps = amps(-15) }},
		{"amps", "milliamperes", func(r *wire.Run) { r.Amps = amps(15000) }},
		{"amps", "NaN", func(r *wire.Run) { r.Amps = amps(math.NaN()) }},
		{"amps", "thick enough", func(r *wire.Run) { r.Amps, r.Length = amps(250), m(150) }},
		{"length_m", "missing", func(r *wire.Run) { r.Length = nil }},
		{"length_m", "above 0", func(r *wire.Run) { r.Length = m(0) }},
		{"length_m", "feet or centimetres", func(r *wire.Run) { r.Length = m(600) }},
		{"ground_length_m", "above 0", func(r *wire.Run) { r.GroundLength = m(-1) }},
		{"system_volts", "missing", func(r *wire.Run) { r.SystemVolts = nil }},
		{"system_volts", "12 or 24", func(r *wire.Run) { r.SystemVolts = volts(400) }},
		{"load_kind", `did you mean "motor"?`, func(r *wire.Run) { r.LoadKind = "moter" }},
		{"drop_percent", "above 0", func(r *wire.Run) { r.DropPercent = of[quantity.Percent](0) }},
		{"drop_percent", "more than 20", func(r *wire.Run) { r.DropPercent = of[quantity.Percent](50) }},
		{"insulation_c", "60, 75", func(r *wire.Run) { r.Insulation = of[quantity.Celsius](100) }},
		{"ambient_c", "too near", func(r *wire.Run) { r.Ambient = of[quantity.Celsius](79) }},
		{"bundle", "from 1", func(r *wire.Run) { n := 0; r.Bundle = &n }},
		{"coil_amps", "milliamperes", func(r *wire.Run) { r.CoilAmps = amps(150) }},
		{"coil_length_m", "above 0", func(r *wire.Run) { r.CoilLength = m(0) }},
	} {
		r := good()
		c.change(&r)
		_, err := wire.Size(b, r)
		if c.says == "NaN" {
			c.says = "number"
		}
		if assert.Error(t, err, c.field) {
			assert.ErrorContains(t, err, c.says)
			assert.Equal(t, c.field, err.(*quantity.FieldError).Field)
			assert.Contains(t, err.Error(), c.field)
		}
	}
}

func TestBadStretchesNameTheField(t *testing.T) {
	b := book(t)
	for _, c := range []struct {
		field string
		s     wire.Stretch
	}{
		{"amps", wire.Stretch{Length: m(1), AWG: "12"}},
		{"length_m", wire.Stretch{Amps: amps(1), AWG: "12"}},
		{"length_m", wire.Stretch{Amps: amps(1), Length: m(-2), AWG: "12"}},
		{"awg", wire.Stretch{Amps: amps(1), Length: m(1)}},
		{"awg", wire.Stretch{Amps: amps(1), Length: m(1), AWG: "12", MM2: of[quantity.Square](4)}},
		{"awg", wire.Stretch{Amps: amps(1), Length: m(1), AWG: "twelve"}},
		{"awg", wire.Stretch{Amps: amps(1), Length: m(1), AWG: "9/0"}},
		{"mm2", wire.Stretch{Amps: amps(1), Length: m(1), MM2: of[quantity.Square](0)}},
		{"ohms_per_metre", wire.Stretch{Amps: amps(1), Length: m(1), OhmsPerMetre: of[quantity.Ohms](math.Inf(1))}},
		{"temperature_c", wire.Stretch{Amps: amps(1), Length: m(1), AWG: "12", Temperature: of[quantity.Celsius](900)}},
		{"allowed_volts", wire.Stretch{Amps: amps(1), Length: m(1), AWG: "12", Allowed: volts(0)}},
	} {
		_, err := wire.Lose(b, c.s)
		if assert.Error(t, err, c.field) {
			assert.Equal(t, c.field, err.(*quantity.FieldError).Field, err.Error())
		}
	}
}
