package transport

import (
	_ "embed"
	"maps"
	"slices"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

//go:embed examples.json
var exampleFile []byte

// example is one call and what it answered, lists cut short. In the order of the
// file they are the life of one job; a test makes the calls on a running service.
type example struct {
	Method string         `json:"method"`
	Words  string         `json:"words"`
	Params jsontext.Value `json:"params"`
	Result jsontext.Value `json:"result"`
}

func readExamples() ([]example, error) {
	var all []example
	err := json.Unmarshal(exampleFile, &all, json.RejectUnknownMembers(true))
	return all, err
}

// examplesOf writes a method's examples as OpenRPC's Example Pairing Objects.
func examplesOf(all []example, method string) ([]schema, error) {
	var out []schema
	for _, e := range all {
		if e.Method != method {
			continue
		}
		var given map[string]jsontext.Value
		if err := json.Unmarshal(e.Params, &given); err != nil {
			return nil, err
		}
		params := []schema{}
		for _, name := range slices.Sorted(maps.Keys(given)) {
			params = append(params, schema{"name": name, "value": given[name]})
		}
		out = append(out, schema{"name": e.Words, "params": params, "result": schema{"name": "result", "value": e.Result}})
	}
	return out, nil
}
