package quantity_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/engine/quantity"
)

func TestUnitsAreReadAndRefused(t *testing.T) {
	var v quantity.Volts
	require.NoError(t, json.Unmarshal([]byte(`"300 mV"`), &v))
	require.InDelta(t, 0.3, float64(v), 1e-12)
	var m quantity.Metres
	require.NoError(t, json.Unmarshal([]byte(`"20ft"`), &m))
	require.InDelta(t, 6.096, float64(m), 1e-12)
	var c quantity.Celsius
	require.NoError(t, json.Unmarshal([]byte(`"77 F"`), &c))
	require.InDelta(t, 25, float64(c), 1e-12)
	var o quantity.Ohms
	require.NoError(t, json.Unmarshal([]byte(`"OL"`), &o))
	require.True(t, math.IsInf(float64(o), 1))
	for text, ohms := range map[string]float64{`"4.7 k"`: 4700, `"2 MΩ"`: 2e6, `"30 mΩ"`: 0.03, "\"85 \u2126\"": 85, "\"85 \u03a9\"": 85, `85`: 85} {
		require.NoError(t, json.Unmarshal([]byte(text), &o), text)
		require.InDelta(t, ohms, float64(o), 1e-9, text)
	}
	back, err := json.Marshal(quantity.Ohms(math.Inf(1)))
	require.NoError(t, err)
	require.JSONEq(t, `"OL"`, string(back))
	var a quantity.Amps
	for text, says := range map[string]string{
		`"15 V"`: "a number of volts", `"fifteen"`: "amperes", `"15 parsecs"`: "no unit", `true`: "amperes", `{}`: "amperes", `"NaN"`: "amperes", `"OL"`: "amperes",
	} {
		require.ErrorContains(t, json.Unmarshal([]byte(text), &a), says, text)
	}
}

func TestFieldsNameWhatIsWrong(t *testing.T) {
	in := quantity.Range{Low: 0, High: 300, Unit: "A", Above: true}
	for _, c := range []struct {
		v    *quantity.Amps
		says string
	}{
		{nil, "amps is missing"},
		{ptr(0.0), "amps is 0 A; it must be above 0 A"},
		{ptr(-3.0), "amps is -3 A; it must be above 0 A"},
		{ptr(1e6), "amps is 1000000 A; more than 300 A cannot be"},
		{ptr(math.NaN()), "amps must be a number of A"},
	} {
		var f quantity.Fields
		quantity.Need(&f, "amps", c.v, in)
		require.ErrorContains(t, f.Err, c.says)
		require.Equal(t, "amps", f.Err.(*quantity.FieldError).Field)
	}
	var f quantity.Fields
	quantity.Choice(&f, "mounting", "cabb", "", "cab", "outside")
	require.Equal(t, "cab", f.Err.(*quantity.FieldError).Nearest)
}

func ptr(v float64) *quantity.Amps { a := quantity.Amps(v); return &a }
