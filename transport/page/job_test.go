package page_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"coilside/engine/vehicle"
	"coilside/session"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// player is a technician in front of a window: does what the card says on a simulated
// vehicle and gives what came of it by the card's own controls.
type player struct {
	*window
	shop    *shop
	vehicle *vehicle.Vehicle
	job     string
	states  map[string]bool // that a picture was taken of
}

// settled is a card that waits for nothing.
const settled = `document.querySelector(".card[aria-busy=false]") && !document.querySelector(".card button:disabled")`

// shows waits until the window shows where the job stands, and gives it.
func (p *player) shows(t *testing.T) session.JobView {
	t.Helper()
	p.until(t, settled) // what was pressed last is answered
	view := p.shop.view(t, p.job)
	entries := 0
	gone := map[int]bool{}
	for _, e := range view.Log {
		for _, n := range e.Retracted {
			gone[n] = true
		}
	}
	for _, e := range view.Log {
		if e.Kind != "opened" && e.Kind != "retracted" && e.Kind != "closed" && !gone[e.Entry] {
			entries++
		}
	}
	p.until(t, fmt.Sprintf(`%s && document.querySelectorAll(".readings ol.entries:not(.back) > li").length === %d`, settled, entries))
	return view
}

// keep takes a picture of a state and looks for what shuts people out, the first time
// it is come to.
func (p *player) keep(t *testing.T, state string) {
	t.Helper()
	if p.states == nil || p.states[state] { // nil: none is kept
		return
	}
	p.states[state] = true
	p.until(t, `document.body.dataset.link !== "open" || !document.querySelector(".drawing") || document.querySelector(".drawing").childElementCount`)
	p.fits(t)
	p.shoot(t, state)
	p.audit(t, state)
	p.dark(t, true)
	p.shoot(t, state+"-dark")
	p.audit(t, state+", dark")
	p.dark(t, false)
}

// fits holds the window to its width: nothing is out of reach at the side.
func (w *window) fits(t *testing.T) {
	t.Helper()
	over := js[int](t, w, "document.documentElement.scrollWidth - document.documentElement.clientWidth")
	assert.LessOrEqual(t, over, 0, "wider than the window, in pixels")
}

// step does one thing that the card asks; false at the end.
func (p *player) step(t *testing.T) bool {
	t.Helper()
	view := p.shows(t)
	r := view.Reply
	switch {
	case view.State == "closed":
		p.keep(t, "closed")
		return false
	case r.Next != nil && r.Next.Accept != "" && r.Conclusion == nil:
		assert.Equal(t, 0, p.count(t, ".card .pad, .card [data-answer]"), "no answer before the caution is accepted")
		assert.Contains(t, p.text(t, ".card .hazard"), r.Next.Accept)
		p.keep(t, "caution")
		p.named(t, "All clear")
	case r.Conclusion != nil:
		p.keep(t, "found-"+r.Conclusion.Kind)
		p.mend(t, r.Conclusion.Suspects)
	case r.Next != nil:
		p.keep(t, "test-"+r.Next.Answers.Kind)
		p.answer(t, *r.Next)
	default:
		p.keep(t, "settled")
		p.named(t, "Close it as fixed")
	}
	return true
}

func (w *window) count(t *testing.T, selector string) int {
	t.Helper()
	return js[int](t, w, "document.querySelectorAll("+quoted(selector)+").length")
}

func (p *player) answer(t *testing.T, next session.Test) {
	t.Helper()
	a, err := p.vehicle.Answer(next.Measure, next.Setup)
	require.NoError(t, err)
	switch {
	case a.Over:
		p.named(t, "OL")
	case a.Number != nil:
		p.dial(t, *a.Number)
		p.press(t, ".card .enter")
	case a.MinMax != nil:
		for i, v := range a.MinMax {
			p.press(t, fmt.Sprintf(".card .field:nth-child(%d) input", i+1))
			p.dial(t, v)
		}
		p.press(t, ".card .enter")
	default:
		p.press(t, ".card [data-answer="+quoted(a.Choice)+"]")
	}
}

// dial enters a number on the pad, as a glove does.
func (p *player) dial(t *testing.T, v float64) {
	t.Helper()
	for _, key := range strings.TrimPrefix(strconv.FormatFloat(v, 'f', 2, 64), "-") {
		p.press(t, fmt.Sprintf(".card .pad [data-key=%q]", string(key)))
	}
	if v < 0 {
		p.press(t, `.card .pad [data-key="±"]`)
	}
}

// mend repairs what was found, one suspect after the other where there are several.
func (p *player) mend(t *testing.T, suspects []string) {
	t.Helper()
	suspect := p.nextToMend(t, suspects)
	if len(suspects) > 1 {
		js[bool](t, p.window, `document.querySelector('.which input[value="`+suspect+`"]').click(), true`)
	}
	p.press(t, ".card [data-answer="+p.repair(t, suspect)+"]")
}

// nextToMend is the first suspect that was not mended yet.
func (p *player) nextToMend(t *testing.T, suspects []string) string {
	t.Helper()
	tried := map[string]bool{}
	for _, e := range p.shop.view(t, p.job).Log {
		if e.Repaired != nil {
			tried[e.Repaired.Suspect] = true
		}
	}
	for _, s := range suspects {
		if !tried[s] {
			return s
		}
	}
	return suspects[0]
}

// repair mends the vehicle and gives what became of the complaint.
func (p *player) repair(t *testing.T, suspect string) string {
	t.Helper()
	_, err := p.vehicle.Repair(suspect)
	require.NoError(t, err)
	if p.vehicle.Complaint() == "" {
		return "gone"
	}
	return "still_there"
}

// play does steps until the job is closed, and looks at what came of it.
func (p *player) play(t *testing.T, at map[int]func()) {
	t.Helper()
	for n := range 60 {
		if act := at[n]; act != nil {
			act()
		}
		if !p.step(t) {
			view := p.shop.view(t, p.job)
			assert.Equal(t, "fixed", view.Outcome)
			assert.Empty(t, p.vehicle.Complaint(), "it is mended")
			return
		}
	}
	require.Fail(t, "the job did not end")
}

func newPlayer(t *testing.T, w *window, s *shop, job, fault string) *player {
	t.Helper()
	return &player{window: w, shop: s, vehicle: newVehicle(t, fault), job: job, states: map[string]bool{}}
}

// jobOf is the job a window shows.
func (w *window) jobOf(t *testing.T) string {
	t.Helper()
	w.until(t, `location.hash.startsWith("#/job/")`)
	return strings.TrimPrefix(js[string](t, w, "location.hash"), "#/job/")
}

// A whole job on the page, from the list of jobs to the record, on a phone and at a
// desk, with the connection lost in the middle.
func TestAWholeJobOnThePage(t *testing.T) {
	for _, s := range []size{phone, desk} {
		t.Run(s.name, func(t *testing.T) {
			b, shop := startBrowser(t), openShop(t)
			w := b.open(t, shop.url, s)
			p := newPlayer(t, w, shop, "", "load_ground.open")
			w.until(t, `document.querySelector(".jobs li")`)
			p.keep(t, "no-jobs")
			w.named(t, "New job")
			w.fillIn(t)
			p.keep(t, "form")
			w.named(t, "Open the job")
			p.job = w.jobOf(t)
			p.play(t, map[int]func(){3: func() { p.loseTheLine(t) }, 5: func() { p.takeOneBack(t) }})
			w.named(t, "The record")
			w.until(t, `document.querySelector(".record h2")`)
			p.keep(t, "record")
			w.run(t, goTo("#/"))
			w.until(t, `document.querySelector(".jobs li a")`)
			p.keep(t, "jobs")
		})
	}
}
