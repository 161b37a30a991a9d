package session

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coilside/session/rulecase"
)

// Why a rule is silent: each part with its truth, the values behind it, where they come
// from, and how to come by what is missing.
func TestWhyARuleIsSilent(t *testing.T) {
	s, write := shopRules(t)
	write(`parameters:
  - {id: our_heat, value: 80, unit: celsius, source: practice}
rules:
  - id: ours
    when: complaint == "dead" and temperature_c > our_heat and (relay_sealed or mounting == "outside")
    then: [{do: advise, say: Let it cool.}]
    because: It is hot there.
    source: practice
  - id: later
    when: suspected("coil.*") and complaint == "dead"
    then: [{do: advise, say: Look.}]
    because: It may be the coil.
    source: practice
`)
	_, err := s.RulesReload(t.Context(), struct{}{})
	require.NoError(t, err)
	request := van()
	cool := 40.0
	request.Environment.TemperatureC = &cool
	o := opened(t, s, request)
	why, err := s.RulesWhy(t.Context(), WhyRequest{Rule: "ours", Job: o.Job})
	require.NoError(t, err)
	require.False(t, why.Fires)
	require.Equal(t, "false", why.Truth)
	require.Len(t, why.Parts, 3)
	require.Equal(t, "true", why.Parts[0].Truth)
	hot := why.Parts[1]
	require.Equal(t, `temperature_c > our_heat`, hot.Source)
	require.Equal(t, "false", hot.Truth)
	require.Equal(t, "40 celsius", hot.Facts[0].Value)
	require.Equal(t, 0, *hot.Facts[0].Entry)
	require.Equal(t, []string{"our_heat is 80 celsius"}, hot.Limits)
	either := why.Parts[2]
	require.Equal(t, "unknown", either.Truth)
	require.Len(t, either.Members, 2)
	require.Contains(t, either.Members[0].Facts[0].From, "the test ask_relay_sealed would tell")
	require.Contains(t, why.Text, "temperature_c is 40 celsius (the opening)")

	later, err := s.RulesWhy(t.Context(), WhyRequest{Rule: "later", Job: o.Job})
	require.NoError(t, err)
	require.Contains(t, later.Parts[0].Limits[0], "coil.open is at ", "what the ranking says is told, not left unknown")
	require.NotEqual(t, "unknown", later.Parts[0].Truth)

	_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: o.Job}, Outcome: "abandoned"})
	require.NoError(t, err)
	closed, err := s.RulesWhy(t.Context(), WhyRequest{Rule: "ours", Job: o.Job})
	require.NoError(t, err)
	require.Equal(t, why, closed)

	_, err = s.RulesWhy(t.Context(), WhyRequest{Rule: "oars", Job: o.Job})
	require.ErrorContains(t, err, `did you mean "ours"?`)
	_, err = s.RulesWhy(t.Context(), WhyRequest{Rule: "ours"})
	require.Equal(t, Invalid, kindOf(t, err))
}

func TestWhyInACase(t *testing.T) {
	hot := "110"
	cases := []rulecase.Case{{ID: "coil/hot", Facts: map[string]*string{"temperature_c": &hot}}}
	rule := book(t).Rules[0].ID
	why, err := WhyInCase(book(t), cases, "coil/hot", rule)
	require.NoError(t, err)
	require.NotEmpty(t, why.Parts)
	_, err = WhyInCase(book(t), cases, "coil/hut", rule)
	require.ErrorContains(t, err, `did you mean "coil/hot"?`)
}
