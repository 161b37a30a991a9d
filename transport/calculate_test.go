package transport

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Zero, negative, absurd, missing, wrong unit and a misspelt name, for each calculation:
// the answer names the field.
func TestCalculationsNameWhatIsWrong(t *testing.T) {
	call := overHTTP(startServer(t))
	for _, c := range []struct{ method, params, field, says string }{
		{"wire.size", `{"amps":0,"length_m":6,"system_volts":12}`, "amps", "above 0"},
		{"wire.size", `{"amps":-15,"length_m":6,"system_volts":12}`, "amps", "above 0"},
		{"wire.size", `{"amps":15,"length_m":6e9,"system_volts":12}`, "length_m", "more than 200 m"},
		{"wire.size", `{"length_m":6,"system_volts":12}`, "amps", "missing"},
		{"wire.size", `{"amps":"15 V","length_m":6,"system_volts":12}`, "amps", "number of volts"},
		{"wire.size", `{"amps":15,"length_m":"6 A","system_volts":12}`, "length_m", "number of amperes"},
		{"wire.size", `{"amps":15,"length":6,"system_volts":12}`, "length", "length_m"},
		{"wire.size", `{"amps":15,"length_m":6,"system_volts":12,"bundle":1.5}`, "bundle", "whole number"},
		{"wire.drop", `{"amps":15,"length_m":6,"awg":"0x"}`, "awg", "no AWG size"},
		{"wire.drop", `{"amps":15,"length_m":6}`, "awg", "one of them"},
		{"wire.drop", `{"amps":15,"length_m":6,"mm2":"2.5 A"}`, "mm2", "square millimetres"},
		{"drop.judge", `{"system_volts":12,"parts":[{"kind":"ground","volts":0.1}]}`, "amps", "without the current"},
		{"drop.judge", `{"system_volts":12,"amps":10}`, "parts", "missing"},
		{"drop.judge", `{"system_volts":12,"amps":10,"parts":[{"kind":"ground","volts":"100 mA"}]}`, "parts.0.volts", "amperes"},
		{"drop.judge", `{"system_volts":12,"amps":10,"parts":[{"kind":"ground","volts":100}]}`, "parts.0.volts", "millivolts"},
		{"relay.bench", `{"coil_volts":12}`, "coil_ohms", "at least one"},
		{"relay.bench", `{"coil_volts":12,"coil_ohms":84}`, "temperature_c", "missing"},
		{"relay.bench", `{"coil_volts":12,"coil_ohms":"84 V","temperature_c":20}`, "coil_ohms", "number of volts"},
		{"relay.bench", `{"coil_volts":0,"click":"click"}`, "coil_volts", "12 or 24"},
		{"relay.bench", `{"coil_volts":12,"coil_ohms":-1,"temperature_c":20}`, "coil_ohms", "from 0"},
		{"relay.identify", `{}`, "pins", "missing"},
		{"relay.identify", `{"pins":0}`, "pins", "4 or 5"},
		{"relay.identify", `{"pins":5,"readings":[{"red":"a","black":"z","ohms":1}]}`, "readings.0.black", "a to e"},
		{"relay.identify", `{"pins":5,"readings":[{"red":"a","black":"b","ohms":"12 V"}]}`, "readings.0.ohms", "number of volts"},
		{"relay.choose", `{"part":{}}`, "place", "missing"},
		{"relay.choose", `{"part":{"coil_volts":-12},"place":{}}`, "part.coil_volts", "from 1"},
		{"relay.choose", `{"part":{"coil_volts":"12 A"},"place":{}}`, "part.coil_volts", "amperes"},
		{"relay.choose", `{"part":{"layuot":"usual"},"place":{}}`, "part.layuot", "layout"},
	} {
		a := call.raw(t, c.method, json.RawMessage(c.params))
		if !assert.NotNil(t, a.Error, "%s %s", c.method, c.params) {
			continue
		}
		assert.Equal(t, -32602, a.Error.Code, "%s %s", c.method, c.params)
		assert.Equal(t, c.field, a.Error.Data.Field, a.Error.Message)
		assert.Contains(t, a.Error.Message+" "+a.Error.Data.Nearest, c.says)
	}
	a := call.raw(t, "relay.choose", json.RawMessage(`{"part":{},"place":{"hazard":"restraint"}}`))
	require.NotNil(t, a.Error)
	assert.Equal(t, codeUnsafe, a.Error.Code)
}

// A program acts on next as it stands: what it is told to measure can be given back.
func TestIdentifyOverTheWire(t *testing.T) {
	call := overHTTP(startServer(t))
	roles := map[string]string{"a": "87", "b": "86", "c": "30", "d": "87a", "e": "85"}
	var readings []map[string]any
	for range 30 {
		var p struct {
			State     string
			Next      *struct{ Mode, Red, Black, Positive, Negative string }
			Terminals []struct{ Pin, DIN string }
		}
		call.ask(t, "relay.identify", map[string]any{"pins": 5, "readings": append([]map[string]any{}, readings...)}, &p)
		if p.State == "proven" {
			for _, x := range p.Terminals {
				is := roles[x.Pin]
				assert.True(t, is == x.DIN || (is == "85" || is == "86") && (x.DIN == "85" || x.DIN == "86"), "%s is %s", x.Pin, is)
			}
			require.Len(t, p.Terminals, 5)
			return
		}
		n := p.Next
		reading := map[string]any{"red": n.Red, "black": n.Black}
		if n.Positive != "" {
			reading["positive"], reading["negative"] = n.Positive, n.Negative
		}
		a, b := roles[n.Red], roles[n.Black]
		pair := func(x, y string) bool { return a == x && b == y || a == y && b == x }
		switch {
		case n.Mode == "volts_dc":
			reading["volts"] = 4.2
		case pair("85", "86"):
			reading["ohms"] = 84
		case pair("30", "87") && n.Positive != "", pair("30", "87a") && n.Positive == "":
			reading["ohms"] = 0.2
		default:
			reading["ohms"] = "OL"
		}
		readings = append(readings, reading)
	}
	t.Fatal("not proven after 30 readings")
}
