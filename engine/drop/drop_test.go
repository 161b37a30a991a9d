package drop_test

import (
	"math"
	"sync"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/drop"
	"coilside/engine/quantity"
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

func v(x float64) *quantity.Volts { q := quantity.Volts(x); return &q }
func a(x float64) *quantity.Amps  { q := quantity.Amps(x); return &q }

func judge(t *testing.T, p drop.Path) drop.Judgement {
	t.Helper()
	j, err := drop.Judge(book(t), p)
	require.NoError(t, err)
	return j
}

// Each published limit, just kept and just not, at 12 V unless said.
func TestPublishedLimits(t *testing.T) {
	for _, c := range []struct {
		kind, path, source string
		system, amps       float64
		keeps, breaks      float64
	}{
		{"ground", "load", "T-4", 12, 10, 0.1, 0.11},
		{"wire", "load", "T-4", 12, 10, 0.2, 0.21},
		{"switch", "load", "T-4", 12, 10, 0.3, 0.31},
		{"contact", "load", "mini ISO relay data sheet", 12, 10, 0.2, 0.21},
		{"contact", "load", "mini ISO relay data sheet", 12, 20, 0.4, 0.41}, // computed: 20 milliohms
		{"rest_contact", "load", "mini ISO relay data sheet", 12, 10, 0.25, 0.26},
		{"starter_cable_short", "starter", "TM 5-3820-256-24-4", 12, 200, 0.1, 0.12},
		{"starter_cable", "starter", "TM 5-3820-256-24-4", 12, 200, 0.2, 0.22},
		{"starter_switch", "starter", "TM 5-3820-256-24-4", 12, 200, 0.1, 0.12},
		{"solenoid_switch", "starter", "TM 5-3820-256-24-4", 12, 200, 0.2, 0.22},
		{"magnetic_switch", "starter", "TM 5-3820-256-24-4", 12, 200, 0.3, 0.32},
		{"starter_ground", "starter", "TM 5-3820-256-24-4", 12, 200, 0.2, 0.22},
		{"connection", "starter", "TM 5-3820-256-24-4", 12, 200, 0.0, 0.03},
		{"post", "starter", "TM 10-3930-671-24", 12, 200, 0.01, 0.02}, // zero, as far as a meter tells
		{"bus", "load", "FAA", 12, 30, 0.24, 0.25},
	} {
		for _, drops := range []struct {
			volts   float64
			verdict string
		}{{c.keeps, "good"}, {c.breaks, "high"}} {
			j := judge(t, drop.Path{Path: c.path, SystemVolts: v(c.system), Amps: a(c.amps), Parts: []drop.Piece{{Kind: c.kind, Volts: v(drops.volts)}}})
			assert.Equal(t, drops.verdict, j.Parts[0].Verdict, "%s at %v V", c.kind, drops.volts)
			assert.Contains(t, sources(j.Parts[0]), c.source)
		}
	}
}

// Whole paths: TM 5-3820-256-24-4, a starter circuit 0.5 V; TM 5-2420-230-24-2, a control
// circuit 1.0 V at 12 V and 2.0 V at 24 V; ABYC E-11, 10 percent.
func TestPublishedLimitsOfWholePaths(t *testing.T) {
	for _, c := range []struct {
		path                  string
		system, keeps, breaks float64
	}{{"starter", 12, 0.5, 0.52}, {"coil", 12, 1.0, 1.05}, {"coil", 24, 2.0, 2.05}, {"load", 12, 1.2, 1.25}, {"load", 24, 2.4, 2.5}} {
		for volts, verdict := range map[float64]string{c.keeps: "good", c.breaks: "high"} {
			j := judge(t, drop.Path{Path: c.path, SystemVolts: v(c.system), Amps: a(1), SupplyVolts: v(c.system), LoadVolts: v(c.system - volts),
				Parts: []drop.Piece{{Kind: "wire", Volts: v(0)}}})
			assert.Equal(t, verdict, j.Total.Verdict, "%s %v V: %v", c.path, c.system, volts)
		}
	}
}

func sources(j drop.PieceJudged) string {
	out := ""
	for _, l := range j.Limits {
		out += l.Source + "\n"
	}
	return out
}

// Lessons in Electric Circuits, DC ch. 5: 9 V over 100, 300 and 50 Ω: 2, 6 and 1 V at
// 20 mA. DC ch. 12: 14 V, 15 + 15 Ω of wire, 250 Ω of load: 12.5 V and 50 mA at the load.
func TestOhmsAndHeatFromDropAndCurrent(t *testing.T) {
	j := judge(t, drop.Path{SystemVolts: v(12), Amps: a(0.02), Parts: []drop.Piece{
		{Kind: "wire", Volts: v(2)}, {Kind: "wire", Volts: v(6)}, {Kind: "ground", Volts: v(1)}}})
	for i, ohms := range []float64{100, 300, 50} {
		assert.InDelta(t, ohms, j.Parts[i].Ohms, 1e-9)
	}
	assert.InDelta(t, 0.04, j.Parts[0].Watts, 1e-9, "computed: 2 V at 20 mA")
	assert.InDelta(t, 8, j.SupplySide.Volts, 1e-9)
	assert.InDelta(t, 1, j.GroundSide.Volts, 1e-9)

	j = judge(t, drop.Path{SystemVolts: v(12), Amps: a(0.05), SupplyVolts: v(14), LoadVolts: v(12.5), Parts: []drop.Piece{
		{Part: "wire there", Kind: "wire", Volts: v(0.75)}, {Part: "wire back", Kind: "wire", Side: "ground", Volts: v(0.75)}}})
	assert.InDelta(t, 15, j.Parts[0].Ohms, 1e-9)
	assert.InDelta(t, 15, j.Parts[1].Ohms, 1e-9)
	assert.InDelta(t, 1.5, j.Total.Volts, 1e-9)
	assert.Nil(t, j.MissingLoss, "the parts make up what is missing at the load")
	assert.InDelta(t, 0.75, j.GroundSide.Volts, 1e-9)
}

// An invented job: a load ground of 1.17 Ω at 5.05 A takes 5.9 of 24.4 V.
func TestWhereTheDropSits(t *testing.T) {
	j := judge(t, drop.Path{SystemVolts: v(24), Amps: a(5.05), SupplyVolts: v(24.5), LoadVolts: v(18.4), Parts: []drop.Piece{
		{Kind: "fuse", Volts: v(0.02)}, {Part: "feed wire", Kind: "wire", Volts: v(0.05)}, {Kind: "contact", Volts: v(0.03)}, {Part: "ground strap", Kind: "ground", Volts: v(5.9)}}})
	assert.Equal(t, "high", j.Verdict)
	assert.Equal(t, "ground strap", j.Where)
	assert.InDelta(t, 1.17, j.Parts[3].Ohms, 0.005)
	assert.InDelta(t, 29.8, j.Parts[3].Watts, 0.05)
	assert.Contains(t, j.Text, "heat")
}

func TestWhatIsNotMeasuredIsMissed(t *testing.T) {
	j := judge(t, drop.Path{SystemVolts: v(12), Amps: a(10), SupplyVolts: v(12.6), LoadVolts: v(10.6), Parts: []drop.Piece{{Kind: "wire", Volts: v(0.1)}, {Kind: "ground", Volts: v(0.05)}}})
	assert.Equal(t, "incomplete", j.Verdict)
	require.NotNil(t, j.MissingLoss)
	assert.InDelta(t, 1.85, *j.MissingLoss, 1e-9)
	j = judge(t, drop.Path{SystemVolts: v(12), Amps: a(10), SupplyVolts: v(12.6), LoadVolts: v(12.5), Parts: []drop.Piece{{Kind: "switch", Volts: v(0.25)}, {Kind: "ground", Volts: v(0.1)}}})
	assert.Equal(t, "wrong", j.Verdict, "parts cannot take more than the whole")
}

// A limit belongs to the circuit's own current: at half of it half the drop counts.
func TestLimitsGoWithTheCurrent(t *testing.T) {
	j := judge(t, drop.Path{SystemVolts: v(12), Amps: a(5), RatedAmps: a(10), Parts: []drop.Piece{{Kind: "ground", Volts: v(0.06)}, {Kind: "contact", Volts: v(0.09)}}})
	assert.Equal(t, "high", j.Parts[0].Verdict, "0.06 V at 5 A is 0.12 V at 10 A")
	assert.Equal(t, "good", j.Parts[1].Verdict, "18 milliohms are within 20 at any current")
}

func TestShopLimitDecides(t *testing.T) {
	shop := rules.Layer{Name: "shop", FS: fstest.MapFS{"a.yaml": {Data: []byte(
		"tables: [{id: drop_limits, rows: [{limit: ground, kind: ground, judges: \"yes\", volts: 0.05, source: our shop}]}]\n")}}}
	p := drop.Path{SystemVolts: v(12), Amps: a(10), Parts: []drop.Piece{{Kind: "ground", Volts: v(0.08)}}}
	assert.Equal(t, "good", judge(t, p).Verdict)
	j, err := drop.Judge(book(t, shop), p)
	require.NoError(t, err)
	assert.Equal(t, "high", j.Verdict)
}

func TestBadPathsNameTheField(t *testing.T) {
	good := func() drop.Path {
		return drop.Path{SystemVolts: v(12), Amps: a(10), SupplyVolts: v(12.6), LoadVolts: v(12), Parts: []drop.Piece{{Kind: "ground", Volts: v(0.55)}}}
	}
	for _, c := range []struct {
		field, says string
		change      func(*drop.Path)
	}{
		{"amps", "means nothing without the current", func(p *drop.Path) { p.Amps = nil }},
		{"amps", "above 0", func(p *drop.Path) { p.Amps = a(0) }},
		{"amps", "above 0", func(p *drop.Path) { p.Amps = a(-4) }},
		{"amps", "milliamperes", func(p *drop.Path) { p.Amps = a(9000) }},
		{"amps", "number", func(p *drop.Path) { p.Amps = a(math.NaN()) }},
		{"rated_amps", "above 0", func(p *drop.Path) { p.RatedAmps = a(0) }},
		{"system_volts", "12 or 24", func(p *drop.Path) { p.SystemVolts = v(0) }},
		{"system_volts", "missing", func(p *drop.Path) { p.SystemVolts = nil }},
		{"supply_volts", "millivolts", func(p *drop.Path) { p.SupplyVolts = v(12600) }},
		{"load_volts", "more than the supply", func(p *drop.Path) { p.LoadVolts = v(14) }},
		{"path", "load, coil or starter", func(p *drop.Path) { p.Path = "lode" }},
		{"parts", "missing", func(p *drop.Path) { p.Parts = nil }},
		{"parts.0.volts", "missing", func(p *drop.Path) { p.Parts[0].Volts = nil }},
		{"parts.0.volts", "millivolts", func(p *drop.Path) { p.Parts[0].Volts = v(300) }},
		{"parts.0.volts", "wrong way round", func(p *drop.Path) { p.Parts[0].Volts = v(-0.3) }},
		{"parts.0.kind", `did you mean "ground"?`, func(p *drop.Path) { p.Parts[0].Kind = "grond" }},
		{"parts.0.kind", "missing", func(p *drop.Path) { p.Parts[0].Kind = "" }},
		{"parts.0.side", "supply or ground", func(p *drop.Path) { p.Parts[0].Side = "left" }},
	} {
		p := good()
		c.change(&p)
		_, err := drop.Judge(book(t), p)
		if assert.Error(t, err, c.field) {
			assert.ErrorContains(t, err, c.says)
			assert.Equal(t, c.field, err.(*quantity.FieldError).Field)
		}
	}
}
