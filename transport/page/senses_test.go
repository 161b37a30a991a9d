package page_test

import (
	"crypto/sha256"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"coilside/rules"
	"coilside/session"
	"coilside/transport"

	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mouthAndEar stand in for the speech support that a browser without a screen or a
// microphone lacks: what is said is kept, what is heard is given.
const mouthAndEar = `
window.said = [];
Object.defineProperty(window, "speechSynthesis", {value: {speak: u => said.push(u.text), cancel() {}}});
window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
window.SpeechRecognition = class {
  static async available(o) { return o.processLocally ? "available" : "unavailable"; }
  start() { setTimeout(() => { this.onresult({results: [[{transcript: window.heard}]]}); this.onend(); }); }
  stop() {}
};`

// The page speaks the replies that are made for an ear, and sends what it hears as
// spoken, so that a number is read back before it is kept.
func TestSpeakingAndListening(t *testing.T) {
	b, shop := startBrowser(t), openShop(t)
	opened := shop.open(t, fan(false))
	w := newPlayer(t, b.open(t, shop.url, phone), shop, opened.Job, "coil.open")
	w.run(t, order(cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: mouthAndEar}),
		chromedp.Navigate(shop.url+"/#/job/"+opened.Job), chromedp.Reload())
	w.shows(t)
	w.press(t, "#speak")
	hear := func(text string) session.JobView {
		js[bool](t, w.window, "window.heard = "+quoted(text)+", true")
		w.named(t, "Listen")
		w.until(t, settled+` && document.querySelector(".log").innerText.includes(`+quoted(text)+`)`)
		return w.shows(t)
	}
	before := w.shows(t).Seq
	view := hear("twelve point six across the battery")
	require.NotNil(t, view.Reply.Question, view.Reply.Text)
	assert.Equal(t, before, view.Seq, "a number heard waits")
	assert.Equal(t, view.Reply.Question.Text, w.text(t, ".card h2"))
	view = hear("yes")
	assert.Equal(t, before+1, view.Seq)
	assert.InDelta(t, 12.6, *view.Log[len(view.Log)-1].Reading.Answer.Number, 1e-9)
	said := js[[]string](t, w.window, "window.said")
	require.GreaterOrEqual(t, len(said), 3, "%v", said)
	assert.Contains(t, said[1], "twelve point six volts")
	for _, s := range said {
		assert.NotRegexp(t, `\d V|Ω`, s, "said as people say it")
	}
	w.press(t, "#speak")
	assert.Equal(t, "false", js[string](t, w.window, `document.querySelector("#speak").getAttribute("aria-pressed")`))
}

// What takes over half a second is shown, with how far it is.
func TestWaitingIsShown(t *testing.T) {
	b, shop := startBrowser(t), openShop(t)
	opened := shop.open(t, fan(false))
	battery := rules.Measure{Mode: rules.VoltsDC, Red: "battery.positive", Black: "battery.negative"}
	for start := time.Now(); time.Since(start) < 8*time.Second; {
		volts := 12.5
		_, err := shop.jobs.Record(t.Context(), session.RecordRequest{Write: session.Write{Job: opened.Job}, Measure: &battery,
			Setup: &rules.Setup{Relay: "in", Key: "off", Command: "off"}, Answer: session.Answer{Number: &volts}})
		require.NoError(t, err)
		last := shop.view(t, opened.Job).Seq
		_, err = shop.jobs.Retract(t.Context(), session.RetractRequest{Write: session.Write{Job: opened.Job}, Entry: last})
		require.NoError(t, err)
	}
	shop.open(t, fan(false)) // the first is no longer in memory
	w := b.open(t, shop.url, phone)
	js[bool](t, w, `(busy => { new MutationObserver(() => busy.shown = (busy.shown ?? "") + busy.dataset.on + busy.textContent).observe(busy, {childList: true, attributes: true}); return true; })(document.querySelector("#busy"))`)
	w.run(t, goTo("#/job/"+opened.Job))
	w.until(t, settled)
	shown := js[string](t, w, `document.querySelector("#busy").shown`)
	assert.Contains(t, shown, "yesWorking for")
	assert.Regexp(t, `entries replayed: \d+ of \d+`, shown)
	w.until(t, `document.querySelector("#busy").dataset.on === "no"`)
}

// Where the service asks for a token, a browser is told how to come in; a link lets it
// in, the page and its connection both.
func TestComingInByALink(t *testing.T) {
	token := transport.NewToken()
	b, shop := startBrowser(t), openShop(t, func(o *transport.Options) { o.Tokens = transport.Tokens{{Hash: sha256.Sum256([]byte(token))}} })
	resp, body := get(t, shop.url+"/", nil)
	assert.Equal(t, http.StatusUnauthorized, resp.StatusCode)
	assert.Contains(t, body, "coilside link")
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, shop.url+"/link", nil)
	require.NoError(t, err)
	req.Header.Set("Authorization", "Bearer "+token)
	answer, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer answer.Body.Close()
	var link struct{ Link string }
	require.NoError(t, json.NewDecoder(answer.Body).Decode(&link))
	w := b.openAt(t, shop.url, link.Link, phone)
	w.until(t, `document.querySelector(".jobs li")`)
	assert.Equal(t, shop.url+"/", strings.TrimSuffix(js[string](t, w, "location.href"), "#/"))
	assert.Empty(t, js[string](t, w, "document.cookie"), "no script can read it")
	w.until(t, `document.body.dataset.link === "open"`)
}
