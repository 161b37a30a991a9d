package handbook_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
	"coilside/rulesets"
	"coilside/session"
	"coilside/session/handbook"
)

func bookOf(t *testing.T, layers ...rules.Layer) *rules.Book {
	t.Helper()
	book, err := rules.Load(append([]rules.Layer{{Name: "relay", FS: rulesets.Relay()}}, layers...)...)
	require.NoError(t, err)
	return book
}

// Everything a technician may change is on the page: nobody has to open a rule file to
// know of it.
func TestThePageHoldsTheWholeRulebook(t *testing.T) {
	book := bookOf(t)
	d, err := session.DrawWiring(t.Context(), book, session.CircuitSpec{Contact: "make", ControlSide: "ground"}, "one", "Usual")
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, handbook.Write(&out, book, []handbook.Picture{{Title: "Usual", SVG: d.SVG}}))
	page := out.String()
	for _, r := range book.Rules {
		assert.Contains(t, page, `<span class="id">`+r.ID+`</span>`)
	}
	for _, s := range book.Suspects {
		assert.Contains(t, page, `<span class="id">`+s.ID+`</span>`)
	}
	for _, x := range book.Tests {
		assert.Contains(t, page, `<span class="id">`+x.ID+`</span>`)
	}
	for _, p := range book.Parameters {
		assert.Contains(t, page, `<span class="id">`+p.ID+`</span>`)
	}
	assert.Contains(t, page, "<svg")
	assert.Contains(t, page, "[temperature at the relay] is above 85 °C or")
	assert.NotContains(t, page, "wet_place ==", "no expression is shown")
	wellFormed(t, page)
}

// wellFormed reads the page as XML but for the elements that HTML leaves open.
func wellFormed(t *testing.T, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else {
			require.NoError(t, err)
		}
	}
}

// What a shop writes is text on the page, whatever it looks like.
func TestWordsAreNotMarkup(t *testing.T) {
	shop := `
rules:
  - id: odd
    when: exposed and (load_amps > 2 or not known(driver))
    then: [{do: advise, say: "<script>alert(1)</script>"}]
    because: "a < b & c"
    source: practice
`
	book := bookOf(t, rules.Layer{Name: "shop", FS: fstest.MapFS{"shop.yaml": {Data: []byte(shop)}}})
	var out bytes.Buffer
	require.NoError(t, handbook.Write(&out, book, nil))
	assert.NotContains(t, out.String(), "<script>")
	assert.Contains(t, out.String(), "a &lt; b &amp; c")
	r, _ := book.Rule("odd")
	assert.Equal(t, "[whether water and dirt reach the relay] and ([rated current of the load] is above 2 or [what commands the coil] is not known)", book.Plainly(r.When))
}
