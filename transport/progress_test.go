package transport

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session"
	"coilside/session/rulecase"
)

// Who asks over the WebSocket what edited rules would change is told how far it is.
func TestProgressOfALongCall(t *testing.T) {
	often := progressEvery
	progressEvery = 0
	defer func() { progressEvery = often }()
	shop := fstest.MapFS{"ours.yaml": {Data: []byte("rules: [{id: ours, when: sealed_by_us, then: [{do: advise, say: Hm.}], because: x, source: practice}]\nfacts: [{id: sealed_by_us, kind: bool}]\n")}}
	r := startServer(t, func(o *Options) {
		book, err := shipped()
		require.NoError(t, err)
		yes := "dead"
		o.Service, err = session.New(session.Options{Book: book,
			Reload: func() (*rules.Book, error) {
				return rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()}, rules.Layer{Name: "shop", FS: shop})
			},
			Cases: func() ([]rulecase.Case, error) {
				return []rulecase.Case{{ID: "a", Facts: map[string]*string{"complaint": &yes}}, {ID: "b"}, {ID: "c"}}, nil
			}})
		require.NoError(t, err)
	})
	ws := dial(t, r)
	require.NoError(t, ws.WriteMessage(websocket.TextMessage, []byte(`{"jsonrpc":"2.0","method":"rules.impact","id":1}`)))
	_, first, err := ws.ReadMessage()
	require.NoError(t, err)
	require.Contains(t, string(first), `"method":"rules.progress"`)
	require.Contains(t, string(first), `"of":3`)
	for {
		_, got, err := ws.ReadMessage()
		require.NoError(t, err)
		if strings.Contains(string(got), `"id":1`) {
			require.Contains(t, string(got), `"cases":3`)
			return
		}
	}
}
