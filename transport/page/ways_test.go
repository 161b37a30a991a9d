package page_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"coilside/session"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// keys presses keys, as fingers do.
func (w *window) keys(t *testing.T, keys string) {
	t.Helper()
	w.run(t, chromedp.KeyEvent(keys))
}

// tab goes on with the Tab key until what is focused fits.
func (w *window) tab(t *testing.T, fits string) {
	t.Helper()
	for range 80 {
		if js[bool](t, w, `Boolean((e => `+fits+`)(document.activeElement))`) {
			return
		}
		w.keys(t, kb.Tab)
	}
	w.shoot(t, "no-way")
	require.Fail(t, "the Tab key leads to nothing that fits", fits)
}

func called(text string) string {
	return fmt.Sprintf(`e.matches("button, a, summary, input") && e.textContent.trim().startsWith(%s)`, quoted(text))
}

// A whole job with keys alone: Tab, Enter, Space, the arrows of a group, and typing.
// Each answer leaves the focus where the next one is given.
func TestAJobByKeyboardAlone(t *testing.T) {
	b, shop := startBrowser(t), openShop(t)
	w := b.open(t, shop.url, bench)
	p := newPlayer(t, w, shop, "", "feed_fuse.open")
	w.tab(t, called("Skip to the work"))
	w.tab(t, called("New job"))
	w.keys(t, kb.Enter)
	w.until(t, `document.querySelector('input[name=complaint]')`)
	w.tab(t, `e.name === "label"`)
	w.keys(t, "horse box, fan (invented)")
	w.tab(t, `e.name === "complaint"`)
	w.keys(t, " ") // the first: it never runs
	w.tab(t, `e.name === "circuit.system_volts"`)
	w.keys(t, kb.ArrowDown) // from "don't know", which is last, round to the first
	w.tab(t, called("Open the job"))
	w.keys(t, kb.Enter)
	p.job = w.jobOf(t)
	view := p.shows(t)
	assert.Equal(t, "dead", view.Complaint)
	assert.InDelta(t, 12, *view.Opening.Circuit.SystemVolts, 0)

	w.tab(t, called("Skip to the work"))
	w.keys(t, kb.Enter)
	assert.True(t, js[bool](t, w, `document.activeElement.matches(".card h2")`))
	for range 60 {
		if !p.typed(t) {
			assert.Equal(t, "fixed", shop.view(t, p.job).Outcome)
			assert.Empty(t, p.vehicle.Complaint())
			return
		}
	}
	require.Fail(t, "the job did not end")
}

// typed does one step with keys; false at the end.
func (p *player) typed(t *testing.T) bool {
	t.Helper()
	view := p.shows(t)
	r := view.Reply
	assert.True(t, js[bool](t, p.window, `document.querySelector(".card").contains(document.activeElement)`), "the focus is on the card")
	switch {
	case view.State == "closed":
		return false
	case r.Next != nil && r.Next.Accept != "" && r.Conclusion == nil:
		p.tab(t, called("All clear"))
	case r.Conclusion != nil:
		suspect := p.nextToMend(t, r.Conclusion.Suspects)
		if len(r.Conclusion.Suspects) > 1 {
			p.tab(t, `e.type === "radio"`)
			for range slices.Index(r.Conclusion.Suspects, suspect) {
				p.keys(t, kb.ArrowDown)
			}
		}
		p.tab(t, fmt.Sprintf("e.dataset.answer === %q", p.repair(t, suspect)))
	case r.Next != nil:
		return p.typeAnswer(t, *r.Next)
	default:
		p.tab(t, called("Close it as fixed"))
	}
	p.keys(t, kb.Enter)
	return true
}

func (p *player) typeAnswer(t *testing.T, next session.Test) bool {
	t.Helper()
	a, err := p.vehicle.Answer(next.Measure, next.Setup)
	require.NoError(t, err)
	switch {
	case a.MinMax != nil:
		p.tab(t, `e.matches(".meter input")`)
		p.keys(t, strconv.FormatFloat(a.MinMax[0], 'f', 2, 64)+kb.Enter+strconv.FormatFloat(a.MinMax[1], 'f', 2, 64))
	case a.Over:
		p.tab(t, `e.matches(".meter input")`)
		p.keys(t, "OL")
	case a.Number != nil:
		p.tab(t, `e.matches(".meter input")`)
		p.keys(t, strings.Replace(strconv.FormatFloat(*a.Number, 'f', 2, 64), ".", ",", 1))
	default:
		p.tab(t, fmt.Sprintf("e.dataset.answer === %q", a.Choice))
	}
	p.keys(t, kb.Enter)
	return true
}

// Two windows at one job show the same; what one is entering stays when the other
// changes the job, and an answer to a question that is past is not stored.
func TestTwoWindowsAtOneJob(t *testing.T) {
	b, shop := startBrowser(t), openShop(t)
	opened := shop.open(t, fan(false))
	one := newPlayer(t, b.open(t, shop.url, phone), shop, opened.Job, "coil.open")
	two := newPlayer(t, b.open(t, shop.url, desk), shop, opened.Job, "coil.open")
	two.vehicle = one.vehicle
	for _, w := range []*player{one, two} {
		w.run(t, goTo("#/job/"+opened.Job))
		w.shows(t)
	}
	two.press(t, ".say input")
	two.keys(t, "half a sentence")
	before := two.text(t, ".card h2")
	one.step(t)
	one.shows(t)
	two.shows(t)
	two.until(t, `document.querySelector(".card h2").innerText !== `+quoted(before))
	assert.Equal(t, one.text(t, ".card h2"), two.text(t, ".card h2"))
	two.until(t, `document.querySelector("#told").textContent.startsWith("The job moved on")`)
	assert.True(t, js[bool](t, two.window, `document.activeElement.matches(".say input") && document.activeElement.value === "half a sentence"`), "what is being typed is left alone")

	// Both answer the same: the one who comes second learns it, and it is not stored twice.
	seq := shop.view(t, opened.Job).Seq
	js[bool](t, two.window, `(s => { s.send = () => {}; return true; })(WebSocket.prototype)`) // its message is held up on the way
	two.step(t)
	one.step(t)
	one.shows(t)
	assert.Equal(t, seq+1, shop.view(t, opened.Job).Seq)
	shop.line.cut()
	two.until(t, `document.body.dataset.link === "lost"`)
	js[bool](t, two.window, `delete WebSocket.prototype.send, (f => { document.body.append(f); WebSocket.prototype.send = f.contentWindow.WebSocket.prototype.send; f.remove(); return true; })(document.createElement("iframe"))`)
	shop.line.mend()
	two.until(t, settled+` && document.body.innerText.includes("nothing was stored")`)
	assert.Equal(t, seq+1, shop.view(t, opened.Job).Seq)
	two.keep(t, "conflict")
	one.until(t, `document.body.dataset.link === "open"`)
	one.play(t, nil)
	two.until(t, `document.querySelector(".card").innerText.includes("The job is closed")`)
}

// What is not understood, and what must not be, is said at the card and changes
// nothing; questions are asked back with their choices; the reasons are a touch away.
func TestTalkingOnThePage(t *testing.T) {
	b, shop := startBrowser(t), openShop(t)
	opened := shop.open(t, fan(false))
	w := newPlayer(t, b.open(t, shop.url, phone), shop, opened.Job, "coil.open")
	w.run(t, goTo("#/job/"+opened.Job))
	say := func(text string) session.JobView {
		w.shows(t)
		w.press(t, ".say input")
		w.keys(t, text+kb.Enter)
		return w.shows(t)
	}
	view := say("300 millis on the ground, 12.6 at 30 relay out")
	require.NotNil(t, view.Reply.Question)
	assert.Equal(t, view.Reply.Question.Text, w.text(t, ".card[data-kind=question] h2"))
	view = say("no click")
	assert.Contains(t, w.text(t, ".log"), "no click")
	before := view.Seq
	view = say("the weather is fine")
	assert.Equal(t, before, view.Seq)
	w.keep(t, "not-understood")
	w.named(t, "Never mind")
	w.until(t, `!document.querySelector(".card[data-kind=question]") && `+settled)
	for _, part := range []string{"Why", "Others", "Skip"} {
		w.named(t, part)
		w.until(t, `document.querySelector(".more").childElementCount`)
		w.keep(t, "aside-"+strings.ToLower(part))
	}
	w.named(t, "I can't reach it")
	w.until(t, fmt.Sprintf(`%s && [...document.querySelectorAll(".readings .kind")].some(k => k.textContent === "Skipped")`, settled))
	view = say("4.7k at 30 to 87 in the box")
	w.until(t, inSight(".log .turn:last-child .warned"))
	w.keep(t, "refused")
	assert.NotContains(t, view.Log[len(view.Log)-1].Words, "4700")
	view = say("replaced it")
	require.NotEmpty(t, view.Reply.Question.Choices)
	w.keep(t, "question")
	w.press(t, ".card[data-kind=question] .choices button")
	w.until(t, settled+` && document.querySelector(".card h2").innerText !== `+quoted(view.Reply.Question.Text))
}

// inSight is the condition that an element's first line is on the screen and under nothing.
func inSight(selector string) string {
	return `(e => { const r = e?.getBoundingClientRect(); return Boolean(r) && e.contains(document.elementFromPoint(r.left + r.width / 2, r.top + 8)); })(document.querySelector(` + quoted(selector) + `))`
}

// A job beside diagnosis is opened from the same form and asked by the same card.
func TestAJobOfAnotherPurpose(t *testing.T) {
	b, shop := startBrowser(t), openShop(t)
	w := b.open(t, shop.url, phone)
	p := newPlayer(t, w, shop, "", "coil.open")
	w.named(t, "New job")
	w.named(t, "Tell a relay's terminals apart")
	w.until(t, `![...document.querySelectorAll("[data-field=complaint]")].some(e => e.checkVisibility())`)
	w.named(t, "Open the job")
	p.job = w.jobOf(t)
	view := p.shows(t)
	require.NotNil(t, view.Reply.Next)
	p.keep(t, "identify")
	w.press(t, ".card [data-answer]")
	after := p.shows(t)
	assert.Greater(t, after.Seq, view.Seq)
	assert.NotEqual(t, view.Reply.Next.Say, after.Reply.Next.Say)
	w.until(t, `document.querySelector(".card h2").innerText === `+quoted(after.Reply.Next.Say))
}
