package replace_test

import (
	"encoding/json"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/quantity"
	"coilside/engine/replace"
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

// usual is a good relay in its place; the pairs below change single things.
const (
	usualPart  = `{"contact":"make","size":"mini","layout":"usual","labels":"din","coil_volts":12,"coil_ohms":85,"suppression":"diode","cathode":"86","rated_amps":40,"rated_rest_amps":30,"ip":"IP54","hottest_c":125}`
	usualPlace = `{"contact":"make","size":"mini","layout":"usual","labels":"din","system_volts":12,"control_side":"ground","coil_positive":"86","driver":"module","coil_ohms":90,"suppression":"diode","load_kind":"motor","load_amps":15,"mounting":"engine_bay","hottest_c":85}`
)

// pair lays changes over the usual part and place; null takes a field away.
func pair(t *testing.T, part, place string) replace.Choice {
	t.Helper()
	lay := func(base, over string, to any) {
		fields, more := map[string]json.RawMessage{}, map[string]json.RawMessage{}
		require.NoError(t, json.Unmarshal([]byte(base), &fields))
		require.NoError(t, json.Unmarshal([]byte("{"+over+"}"), &more), over)
		for k, v := range more {
			if fields[k] = v; string(v) == "null" {
				delete(fields, k)
			}
		}
		data, err := json.Marshal(fields)
		require.NoError(t, err)
		d := json.NewDecoder(strings.NewReader(string(data)))
		d.DisallowUnknownFields()
		require.NoError(t, d.Decode(to))
	}
	var c replace.Choice
	lay(usualPart, part, &c.Part)
	lay(usualPlace, place, &c.Place)
	return c
}

// Each pair with the verdict of a careful technician and what it is about. Where a
// published figure decides, the source stands beside it; the rest is practice.
var pairs = []struct {
	name, part, place, verdict, about, says string
}{
	{"the same relay again", ``, ``, "fits", "", ""},
	{"24 V vehicle, 24 V relay", `"coil_volts":24,"coil_ohms":320`, `"system_volts":24,"coil_ohms":300`, "fits", "", ""},
	{"other layout, ground-controlled", `"layout":"changed_over"`, ``, "harmful", "layout", "coil's small fuse"},
	{"other layout, positive-controlled", `"layout":"changed_over"`, `"control_side":"positive"`, "harmful", "layout", "on all the time"},
	{"other layout, control not known", `"layout":"changed_over"`, `"control_side":null`, "harmful", "layout", "changed over"},
	{"both of the other layout", `"layout":"changed_over"`, `"layout":"changed_over"`, "fits", "", ""},
	{"layout not compared", `"layout":null`, ``, "not_known", "layout", "Compare the marks"},
	{"24 V coil in 12 V", `"coil_volts":24,"coil_ohms":320`, ``, "harmful", "coil_volts", "does not pull in"},                                // data sheet: 24 V 320 Ω operates by 14.8 V
	{"24 V coil in 12 V, plain switch", `"coil_volts":24,"coil_ohms":255`, `"driver":"switch"`, "harmful", "coil_volts", "does not pull in"}, // data sheet: 24 V 255 Ω by 16 V
	{"12 V coil in 24 V", ``, `"system_volts":24`, "harmful", "coil_volts", "4 times its power"},                                             // computed
	{"6 V coil in 12 V", `"coil_volts":6,"coil_ohms":90`, ``, "harmful", "coil_volts", "burns out"},
	{"coil volts not marked", `"coil_volts":null`, ``, "not_known", "coil_volts", "how many volts"},
	{"diode the other way round", `"cathode":"85"`, ``, "harmful", "polarity", "the wrong way round"},
	{"socket fed on 85", ``, `"coil_positive":"85"`, "harmful", "polarity", "85 is plus here"},
	{"both the other way round", `"cathode":"85"`, `"coil_positive":"85"`, "fits", "", ""},
	{"which cavity is plus is not known", ``, `"coil_positive":null`, "not_known", "polarity", "Read volts at both"},
	{"which way the diode lies is not known", `"cathode":null`, ``, "not_known", "polarity", "marked plus"},
	{"resistor where plus is not known", `"suppression":"resistor","resistor_ohms":680`, `"coil_positive":null`, "fits_with_care", "suppression", "96"}, // data sheet: 680 Ω; computed 12/85×680
	{"no suppression on a module", `"suppression":"none"`, ``, "harmful", "suppression", "kills the output"},                                            // suppression notes: several hundred volts
	{"no suppression, module bears it", `"suppression":"none"`, `"driver_clamped":true`, "fits_with_care", "suppression", "said to bear"},
	{"no suppression on a plain switch", `"suppression":"none"`, `"driver":"switch","suppression":"none"`, "fits_with_care", "suppression", "plain switch"},
	{"no suppression where there was a diode", `"suppression":"none"`, `"driver":"switch"`, "harmful", "suppression", "had suppression"},
	{"no suppression, driver not known", `"suppression":"none"`, `"driver":null,"suppression":null`, "not_known", "suppression", "What drives it"},
	{"suppression not known", `"suppression":null`, ``, "not_known", "suppression", "nothing, a resistor or a diode"},
	{"resistor of 1000 Ω on a module", `"suppression":"resistor","resistor_ohms":1000`, ``, "harmful", "suppression", "141"}, // data sheet: 1000 Ω; computed 12/85×1000
	{"resistor on a plain switch", `"suppression":"resistor","resistor_ohms":680`, `"driver":"switch"`, "fits", "", ""},
	{"diode where it must let go fast", ``, `"quick_release":true`, "does_not_fit", "suppression", "several times slower"}, // suppression notes
	{"diode where there was none", ``, `"driver":"switch","suppression":"none"`, "fits_with_care", "suppression", "lets go slower"},
	{"a coil of half the ohms on a module", `"coil_ohms":45`, ``, "harmful", "coil_current", "2 times"},
	{"a coil of half the ohms on a switch", `"coil_ohms":45`, `"driver":"switch"`, "fits_with_care", "coil_current", "bear it"},
	{"break for make", `"contact":"break"`, ``, "harmful", "contact", "breaks instead of making"},
	{"make for break", ``, `"contact":"break","load_amps":10`, "harmful", "contact", "makes instead of breaking"},
	{"make for changeover", ``, `"contact":"changeover","rest_amps":5`, "does_not_fit", "contact", "stay dead"},
	{"changeover for make, cavity 87a empty", `"contact":"changeover"`, `"cavity_87a_wired":false`, "fits_with_care", "contact", "87a is left over"},
	{"changeover for make, wire in cavity 87a", `"contact":"changeover"`, `"cavity_87a_wired":true`, "harmful", "contact", "live whenever the relay is at rest"},
	{"changeover for make, nobody looked", `"contact":"changeover"`, ``, "not_known", "contact", "wire in that cavity"},
	{"two 87 for changeover", `"contact":"two_87"`, `"contact":"changeover","rest_amps":5`, "harmful", "contact", "join two circuits"},
	{"two 87 for make, cavity empty", `"contact":"two_87"`, `"cavity_87a_wired":false`, "fits_with_care", "contact", "keep it so"},
	{"two 87 for make, wire in the cavity", `"contact":"two_87"`, `"cavity_87a_wired":true`, "harmful", "contact", "live whenever"},
	{"rest contact too weak", `"contact":"changeover","rated_rest_amps":10`, `"contact":"changeover","rest_amps":15`, "harmful", "rest_rating", "10 A"},
	{"rest contact good", `"contact":"changeover"`, `"contact":"changeover","rest_amps":15`, "fits", "", ""},
	{"20 A relay, 15 A motor", `"rated_amps":20`, ``, "harmful", "rating", "25.7"},                 // overload: 3.5 times for 0.5 s; motor 6 times
	{"30 A relay, 15 A motor", `"rated_amps":30`, ``, "fits", "", ""},                              // needs 25.7
	{"20 A relay, 15 A lamps", `"rated_amps":20`, `"load_kind":"lamp"`, "harmful", "rating", "25"}, // overload: 6 times for 0.1 s; lamps 10 times
	{"40 A relay, 15 A lamps", ``, `"load_kind":"lamp"`, "fits", "", ""},
	{"20 A relay, 15 A heater", `"rated_amps":20`, `"load_kind":"heater"`, "fits", "", ""},
	{"10 A relay, 15 A heater", `"rated_amps":10`, `"load_kind":"heater"`, "harmful", "rating", "overheats"},
	{"30 A relay, 15 A amplifier", `"rated_amps":30`, `"load_kind":"electronics"`, "harmful", "rating", "capacitors"},
	{"kind of load not known", ``, `"load_kind":null`, "not_known", "rating", "kind of load"},
	{"current not known", ``, `"load_amps":null`, "not_known", "rating", "What current"},
	{"power relay for a signal", ``, `"load_amps":0.02,"load_kind":"electronics"`, "fits_with_care", "small_current", "gold"}, // IEC 61810-7
	{"gold contacts for a signal", `"gold_contact":true`, `"load_amps":0.02,"load_kind":"electronics"`, "fits", "", ""},
	{"open relay in the cab", `"ip":"none"`, `"mounting":"cab"`, "fits", "", ""},
	{"IP40 in the engine bay", `"ip":"IP40"`, ``, "harmful", "sealing", "Water gets in"},                          // IEC 60529: IP40 no protection from water
	{"IP54 outside", ``, `"mounting":"outside"`, "harmful", "sealing", "splash"},                                  // IEC 60529: IP54 splash
	{"IP67 outside", `"ip":"IP67"`, `"mounting":"outside"`, "fits", "", ""},                                       // IEC 60529: IP67 1 m, 30 min
	{"IP67 under the pressure washer", `"ip":"IP67"`, `"mounting":"pressure_wash"`, "harmful", "sealing", "jets"}, // ISO 20653
	{"IP69K under the pressure washer", `"ip":"IP69K"`, `"mounting":"pressure_wash"`, "fits", "", ""},
	{"IP69K outside", `"ip":"IP69K"`, `"mounting":"outside"`, "fits_with_care", "sealing", "tested apart"},
	{"sealing not known", `"ip":null`, ``, "not_known", "sealing", "IP"},
	{"made for 85 °C, gets 105", `"hottest_c":85`, `"hottest_c":105`, "harmful", "heat", "drops out hot"},
	{"made for 85 °C, gets 80", `"hottest_c":85`, `"hottest_c":80`, "fits_with_care", "heat", "little is left"},
	{"heat of the part not known", `"hottest_c":null`, ``, "not_known", "heat", "85"},
	{"micro relay in a mini socket", `"size":"micro"`, ``, "does_not_fit", "size", "Never bend"},
	{"marks in numbers", `"labels":"numbers"`, ``, "fits_with_care", "labels", "86 is 1"},   // ISO 7588
	{"marks of EN 50005", `"labels":"en"`, ``, "fits_with_care", "labels", "30 is 3 or 11"}, // EN 50005
	{"two harms at once", `"layout":"changed_over","coil_volts":24`, ``, "harmful", "coil_volts", "does not pull in"},
}

func TestPairs(t *testing.T) {
	require.GreaterOrEqual(t, len(pairs), 40)
	seen := map[string]int{}
	for _, p := range pairs {
		c, err := replace.Judge(book(t), pair(t, p.part, p.place))
		if !assert.NoError(t, err, p.name) {
			continue
		}
		seen[c.Verdict]++
		assert.Equal(t, p.verdict, c.Verdict, "%s: %s", p.name, c.Text)
		if p.about == "" {
			continue
		}
		found := false
		for _, g := range c.Reasons {
			if g.About == p.about && g.Verdict == p.verdict {
				found = true
				assert.Contains(t, g.Words, p.says, p.name)
			}
		}
		assert.True(t, found, "%s: no reason about %s in %v", p.name, p.about, c.Reasons)
	}
	for _, verdict := range []string{"fits", "fits_with_care", "not_known", "does_not_fit", "harmful"} {
		assert.Positive(t, seen[verdict], verdict)
	}
	t.Logf("%d pairs: %v", len(pairs), seen)
}

// The layout reasons are sorted worst first, and nothing known is ever taken for fitting.
func TestNothingSaidIsNothingKnown(t *testing.T) {
	c, err := replace.Judge(book(t), replace.Choice{})
	require.NoError(t, err)
	assert.Equal(t, "not_known", c.Verdict)
	assert.GreaterOrEqual(t, len(c.Find), 5)
}

// Overload of a 35 A relay, data sheet citing ISO 8820-3: 3.5 times for 0.5 s, 6 times for
// 0.1 s; inrush of a component maker's guide: motors 6 times, lamps 10 times. Computed:
// 15 A of motor need 25.7 A, 15 A of lamps 25 A.
func TestRatingAgainstInrush(t *testing.T) {
	for kind, amps := range map[string]float64{"motor": 15 * 6 / 3.5, "lamp": 15 * 10 / 6.0, "heater": 15} {
		c, err := replace.Judge(book(t), pair(t, ``, `"load_kind":"`+kind+`"`))
		require.NoError(t, err)
		require.NotNil(t, c.Needed)
		assert.InDelta(t, amps, *c.Needed, 1e-9, kind)
	}
}

func TestUnsafePlacesAreRefused(t *testing.T) {
	for _, hazard := range []string{"restraint", "high_voltage"} {
		_, err := replace.Judge(book(t), pair(t, ``, `"hazard":"`+hazard+`"`))
		var unsafe *replace.UnsafeError
		require.ErrorAs(t, err, &unsafe)
		require.ErrorContains(t, err, "qualified")
	}
	c, err := replace.Judge(book(t), pair(t, ``, `"hazard":"fuel"`))
	require.NoError(t, err)
	assert.Contains(t, strings.Join(c.Cautions, " "), "approved")
}

func TestBadChoicesNameTheField(t *testing.T) {
	for _, c := range []struct{ field, says, part, place string }{
		{"part.contact", `did you mean "make"?`, `"contact":"mke"`, ``},
		{"part.layout", "usual or changed_over", `"layout":"A"`, ``},
		{"part.coil_volts", "from 1 V", `"coil_volts":0`, ``},
		{"part.coil_volts", "from 1 V", `"coil_volts":-12`, ``},
		{"part.coil_volts", "not for vehicles", `"coil_volts":230`, ``},
		{"part.coil_ohms", "kilohms", `"coil_ohms":85000000`, ``},
		{"part.coil_ohms", "OL", `"coil_ohms":"OL"`, ``},
		{"part.rated_amps", "above 0", `"rated_amps":0`, ``},
		{"part.rated_amps", "milliamperes", `"rated_amps":40000`, ``},
		{"part.ip", `did you mean "IP67"?`, `"ip":"IP77"`, ``},
		{"part.cathode", "86 or 85", `"cathode":"30"`, ``},
		{"part.hottest_c", "Fahrenheit", `"hottest_c":400`, ``},
		{"place.system_volts", "12 or 24", ``, `"system_volts":48`},
		{"place.mounting", `did you mean "outside"?`, ``, `"mounting":"outsid"`},
		{"place.load_amps", "above 0", ``, `"load_amps":-1`},
		{"place.load_kind", `did you mean "motor"?`, ``, `"load_kind":"motr"`},
		{"place.hazard", "restraint", ``, `"hazard":"maybe"`},
	} {
		_, err := replace.Judge(book(t), pair(t, c.part, c.place))
		if assert.Error(t, err, c.field) {
			assert.ErrorContains(t, err, c.says)
			assert.Equal(t, c.field, err.(*quantity.FieldError).Field)
		}
	}
	c := pair(t, ``, ``)
	nan := quantity.Amps(math.NaN())
	c.Place.LoadAmps = &nan
	_, err := replace.Judge(book(t), c)
	assert.ErrorContains(t, err, "place.load_amps")
}
