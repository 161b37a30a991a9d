package page_test

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
)

func goTo(hash string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void]("location.hash = " + quoted(hash))
}

// fillIn tells the form what is known of the fan.
func (w *window) fillIn(t *testing.T) {
	t.Helper()
	w.press(t, `input[name="label"]`)
	w.run(t, chromedp.KeyEvent("parcel van, radiator fan (invented)"))
	w.until(t, `document.querySelector('input[name=complaint]')`)
	for _, answer := range []string{"The load never runs", "12 volts", "Motor", "A fan, pump", "30, 85, 86, 87", "Only 87", "More, if you know it",
		"A plain switch", "Its ground", "The ignition"} {
		w.named(t, answer)
	}
}

// loseTheLine cuts the connection while an answer is entered: it is kept, said to be,
// and sent once the line is back; once.
func (p *player) loseTheLine(t *testing.T) {
	t.Helper()
	before := p.shows(t)
	p.shop.line.cut()
	p.until(t, `document.body.dataset.link === "lost" && !document.querySelector("#link").hidden`)
	p.step(t)
	p.until(t, `document.querySelector(".card .waits").textContent`)
	p.keep(t, "offline")
	assert.Equal(t, before.Seq, p.shop.view(t, p.job).Seq, "nothing can have come through")
	time.Sleep(time.Second)
	p.shop.line.mend()
	p.until(t, `document.body.dataset.link === "open" && `+settled)
	assert.Equal(t, before.Seq+1, p.shop.view(t, p.job).Seq, "stored once")
}

// takeOneBack takes the newest reading back, and looks at reasons on the way.
func (p *player) takeOneBack(t *testing.T) {
	t.Helper()
	before := p.shows(t)
	p.view(t, "Suspects")
	p.press(t, ".bars summary")
	p.until(t, `document.querySelector(".bars details[open] .reasons li, .bars details[open] .reasons p:not(.soft)")`)
	p.keep(t, "reasons")
	p.view(t, "Readings")
	p.named(t, "Take back")
	p.keep(t, "take-back")
	p.named(t, "Yes, take it back")
	p.until(t, `document.querySelector(".readings details:not([hidden])")`)
	p.view(t, "Now")
	after := p.shows(t)
	assert.Equal(t, before.Seq+1, after.Seq)
	assert.Equal(t, "retracted", after.Log[len(after.Log)-1].Kind)
	p.keep(t, "taken-back")
}

// view goes to a part of the job, where the window shows one at a time.
func (p *player) view(t *testing.T, name string) {
	t.Helper()
	if p.size.width < 1024 {
		p.named(t, name)
	}
}
