package rulecase_test

import (
	"encoding/json"
	"io/fs"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/rulesets"
	"coilside/session/rulecase"
)

func TestSchemaTakesEveryCaseFile(t *testing.T) {
	text, err := json.Marshal(rulecase.Schema())
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("cases.json", doc))
	schema, err := c.Compile("cases.json")
	require.NoError(t, err)
	names, err := fs.Glob(rulesets.Relay(), "cases/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	validate := func(data []byte) error {
		var v any
		require.NoError(t, yaml.Unmarshal(data, &v))
		text, err := json.Marshal(v)
		require.NoError(t, err)
		out, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
		require.NoError(t, err)
		return schema.Validate(out)
	}
	for _, name := range names {
		data, err := fs.ReadFile(rulesets.Relay(), name)
		require.NoError(t, err)
		assert.NoError(t, validate(data), name)
	}
	assert.Error(t, validate([]byte("cases: [{id: a, expect: {advise: [b]}}]")), "advise for advice")
}
